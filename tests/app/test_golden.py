"""Numbers move when the method's name does, and only then; threads and processes don't move them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import golden
import pytest
from demo_trial import corner
from golden import Measured, Rows

from colscan.app.demo import PLAN
from colscan.score import METHOD

AGAIN = "run python tests/golden.py to make it anew"
KEY = ("demo", "a.jpg", "B01")


def hold(rows: Rows, name: str) -> None:
    """Hold what a scan says of a set of photos against the file."""
    method, kept = golden.read_golden()
    assert method == METHOD, f"tests/fixtures/golden.csv is of {method}, the method is {METHOD}: {AGAIN}"
    of_set = {key: row for key, row in kept.items() if key[0] == name}
    assert of_set.keys() == rows.keys()
    assert golden.moved(of_set, rows) == {}, "scores moved: raise METHOD in colscan/score/__init__.py"


def test_bundled_photos_score_as_ever() -> None:
    """All numbers of the demo within 0.01 point, suspects and flags the same."""
    hold(golden.scan_demo(), golden.DEMO)
    hold(golden.scan_sent(), golden.SENT)


@pytest.mark.skipif("COLSCAN_GOLDEN" not in os.environ, reason="takes a minute: set COLSCAN_GOLDEN=1 for it")
@pytest.mark.parametrize("series", golden.RENDERED)
def test_rendered_photos_score_as_ever(bench: Path, series: str) -> None:
    """The same of the rendered photos."""
    hold(golden.scan_rendered(series, bench), series)


def row(coverage_pct: float, suspects: str = "0") -> Measured:
    """What is said of one bag."""
    return Measured((coverage_pct, None), (suspects, ""))


@pytest.mark.parametrize(
    ("method", "new", "refused"),
    [
        ("m-1", row(50.009), None),
        ("m-1", row(50.02), "raise METHOD"),
        ("m-1", row(50.0, suspects="1"), "raise METHOD"),
        ("m-2", row(50.02), None),
        ("m-2", row(50.009), "leave METHOD as it was"),
    ],
)
def test_the_file_is_made_anew_when_the_method_says_so(
    method: str, new: Measured, refused: str | None
) -> None:
    """Neither without another name for numbers that moved, nor with another one for those that didn't."""
    why = golden.refusal("m-1", {KEY: row(50.0)}, method, {KEY: new})
    assert (refused or "") in (why or "")
    assert (why is None) == (refused is None)


SCAN = """
import json, multiprocessing, sys
from pathlib import Path
import golden
if __name__ == "__main__":
    multiprocessing.set_start_method("spawn")
    out, bags, jobs, *photos = sys.argv[1:]
    rows = golden.scan_set("demo", Path(bags), [Path(photo) for photo in photos], int(jobs))
    Path(out).write_text(json.dumps([[*key, row.numbers, row.words] for key, row in rows.items()]))
"""


def scan(folder: Path, photos: list[Path], threads: int, jobs: int) -> dict[tuple[str, ...], Measured]:
    """What another Python says, with so many threads in each of so many processes."""
    script, out = folder / "scan_set.py", folder / f"{threads}-{jobs}.json"
    script.write_text(SCAN, encoding="utf-8")
    limits = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM")
    path = os.pathsep.join(entry for entry in sys.path if entry)
    environment = os.environ | dict.fromkeys(limits, str(threads)) | {"PYTHONPATH": path}
    command = [sys.executable, script, out, PLAN[1], str(jobs), *photos]
    subprocess.run(command, check=True, env=environment)
    rows = json.loads(out.read_text(encoding="utf-8"))
    return {tuple(key): Measured(tuple(numbers), tuple(words)) for *key, numbers, words in rows}


def test_threads_and_processes_move_no_number(tmp_path: Path) -> None:
    """One thread in one process, and two in each of two that start afresh: equal within 0.01 point."""
    photos = [corner(day, tmp_path) for day in (0, 6)]
    one, two = (scan(tmp_path, photos, number, number) for number in (1, 2))
    assert one.keys() == two.keys()
    assert len(one) == 4
    assert golden.moved(one, two) == {}
