"""`colscan rescan`: kept photos scored anew beside their older rows, and what that moved."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import fmean

import numpy as np
import pytest
from demo_trial import begin, corner
from PIL import Image

from colscan.app.batch import baseline_cache, bursts, evidence_cache, rows, scan
from colscan.app.batch.rescan import plan_rescan, rescan_photos
from colscan.app.cli.main import main
from colscan.ledger import read_ledger, read_scans
from colscan.score import METHOD, network
from colscan.trial import load_trial

Unchanged = Callable[[Path], Callable[[], bool]]
Capture = pytest.CaptureFixture[str]
ORIGINAL = 0x9003
FILES = ("photos.csv", "scores.csv", "suspects.csv")


@contextmanager
def older(name: str = "older-1", less_sure: float = 0.4) -> Iterator[None]:
    """Another method: its own name, and a network that takes less for grown over."""
    squash = network._squash
    with pytest.MonkeyPatch.context() as patched:
        for module in (rows, bursts, evidence_cache, baseline_cache):
            patched.setattr(module, "METHOD", name)
        patched.setattr(network, "_squash", lambda x: squash(x - np.float32(less_sure)))
        yield


def scan_all(folder: Path, photos: tuple[Path, ...]) -> None:
    """Scan photos in one process."""
    assert main(["scan", str(folder), "--jobs", "1", *map(str, photos)]) == 0


def rescan(folder: Path, *options: str) -> int:
    """The exit code of a rescan in one process."""
    return main(["rescan", str(folder), "--jobs", "1", *options])


def lines(folder: Path, name: str, method: str = METHOD) -> list[dict[str, str]]:
    """A method's rows of a file of the scan, without when they were written."""
    with (folder / name).open(newline="", encoding="utf-8") as file:
        found = [row for row in csv.DictReader(file) if row["method"] == method]
    return [{key: cell for key, cell in row.items() if key != "scanned_at"} for row in found]


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    """Two bags on day 0, twice within minutes on day 6, and on day 9."""
    folder = tmp_path_factory.mktemp("photos")
    first, once, late = (corner(day, folder) for day in (0, 6, 9))
    with Image.open(once) as image:
        exif = image.getexif()
        moved = np.roll(np.asarray(image), 9, axis=1)
    exif.get_ifd(0x8769)[ORIGINAL] = "2026:03:08 10:21:00"
    noise = np.random.default_rng(1).integers(0, 3, moved.shape, np.uint8)
    again = folder / "again.png"
    Image.fromarray(np.clip(moved, 0, 250) + noise).save(again, exif=exif, compress_level=1)
    return first, once, again, late


@pytest.fixture(scope="module")
def _by_older(tmp_path_factory: pytest.TempPathFactory, photos: tuple[Path, ...]) -> Path:
    folder = begin(tmp_path_factory.mktemp("older") / "hornbeam")
    with older():
        scan_all(folder, photos)
    return folder


@pytest.fixture
def by_older(_by_older: Path, tmp_path: Path) -> Path:
    """A trial whose photos another method scored; each test has its own copy."""
    return Path(shutil.copytree(_by_older, tmp_path / "hornbeam"))


@pytest.fixture(scope="module")
def anew(tmp_path_factory: pytest.TempPathFactory, photos: tuple[Path, ...]) -> Path:
    """A trial of the same photos that no other method ever saw."""
    folder = begin(tmp_path_factory.mktemp("anew") / "hornbeam")
    scan_all(folder, photos)
    return folder


def test_rows_are_those_of_a_new_trial_beside_the_old_ones(
    by_older: Path, anew: Path, unchanged: Unchanged, capsys: Capture
) -> None:
    """Old rows stay to the byte, new ones follow in order of time, and they count; then there is no work."""
    before = {name: (by_older / name).read_bytes() for name in FILES}
    assert rescan(by_older) == 0
    for name in FILES:
        assert (by_older / name).read_bytes().startswith(before[name])
        assert lines(by_older, name) == lines(anew, name)
    assert len(lines(by_older, "photos.csv", "older-1")) == len(lines(by_older, "photos.csv")) == 4
    assert {row.method for row in read_ledger(by_older).scores} == {METHOD}
    assert main(["check", str(by_older)]) == 0
    same = unchanged(by_older)
    capsys.readouterr()
    assert rescan(by_older) == 0
    said = capsys.readouterr()
    assert f"Nothing to do: 4 photos, all scored by {METHOD}." in said.err
    assert said.out == ""
    assert rescan(by_older, "--format", "json") == 0
    assert json.loads(capsys.readouterr().out)["rows"] == []
    assert rescan(by_older, "--format", "csv") == 0
    assert capsys.readouterr().out.startswith("bag,scores,")
    assert same()


def test_the_summary_says_what_moved(by_older: Path, unchanged: Unchanged, capsys: Capture) -> None:
    """A dry run writes nothing and says what the run then does; the figures are those of the rows."""
    same = unchanged(by_older)
    assert rescan(by_older, "--dry-run", "--format", "json") == 0
    dry = capsys.readouterr()
    assert same()
    assert "4 photos scored, nothing written" in dry.err
    assert rescan(by_older, "--format", "json") == 0
    said = capsys.readouterr()
    assert said.out == dry.out
    bags = {row["bag"]: row for row in json.loads(said.out)["rows"]}
    for bag in ("B05", "B06"):
        old, new = (
            {
                row["photo"]: float(row["coverage_pct"])
                for row in lines(by_older, "scores.csv", method)
                if row["bag"] == bag
            }
            for method in ("older-1", METHOD)
        )
        moved = [new[name] - old[name] for name in old.keys() & new.keys()]
        assert bags[bag]["scores"] == len(moved) >= 3
        assert bags[bag]["coverage_mean_points"] == pytest.approx(fmean(moved), abs=1e-4)
        assert bags[bag]["coverage_largest_points"] == pytest.approx(max(moved, key=abs), abs=1e-4)
    assert any(abs(row["coverage_largest_points"] or 0) > 1 for row in bags.values())
    assert bags["B01"]["scores"] == 0
    assert bags["B01"]["coverage_mean_points"] is None
    assert f"{METHOD}: 4 photos scored anew; the rows of older-1 stay beside." in said.err


def test_stopped_within_a_burst_it_goes_on(
    by_older: Path, anew: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """After two photos, the second combined with the third: the rows of both runs are those of one."""
    append, written = scan.append_photo, []

    def stopping(*arguments: object) -> bool:
        if len(written) == 2:
            raise KeyboardInterrupt
        written.append(arguments)
        return append(*arguments)  # type: ignore[arg-type]

    with monkeypatch.context() as patched:
        patched.setattr(scan, "append_photo", stopping)
        assert rescan(by_older) == 130
    assert len(lines(by_older, "photos.csv")) == 2
    assert main(["status", str(by_older)]) == 0
    assert f"Photos are scored by older-1 and {METHOD}" in capsys.readouterr().err
    assert rescan(by_older) == 0
    for name in FILES:
        assert lines(by_older, name) == lines(anew, name)


def test_it_waits_for_another_scan(
    by_older: Path, anew: Path, other_scan: Callable[..., list[str]], capsys: Capture
) -> None:
    """What that one has recorded until then isn't scored once more; a dry run waits for nobody."""

    def work() -> None:
        plan = plan_rescan(by_older, read_ledger(by_older), read_scans(by_older))
        assert len(list(rescan_photos(by_older, load_trial(by_older), plan, jobs=1, dry_run=False))) == 4

    told = other_scan(by_older, work)
    assert rescan(by_older, "--dry-run") == 0
    assert told == []
    assert rescan(by_older) == 0
    assert told == ["hornbeam: waiting for another scan of this trial to end"]
    assert "Nothing to do: 4 photos" in capsys.readouterr().err
    for name in FILES:
        assert lines(by_older, name) == lines(anew, name)


def test_originals_that_are_gone_or_changed_are_named(by_older: Path, capsys: Capture) -> None:
    """Their older rows count as before; the others are scored anew: 5, and 3 when there are no others."""
    first, *_, last = sorted((by_older / "photos").iterdir())
    first.unlink()
    last.write_bytes(last.read_bytes() + b"0")
    assert rescan(by_older) == 5
    said = capsys.readouterr().err
    assert f"corner-d00.png: its original, {first.with_suffix('.*')}, is gone" in said
    assert f"corner-d09.png: its original, {last}, is no longer what was scanned" in said
    assert "2 photos could not be scored anew and count as before." in said
    by_photo = {row.photo: row.method for row in read_ledger(by_older).scores}
    assert {name for name, method in by_photo.items() if method == "older-1"} == {
        "corner-d00.png",
        "corner-d09.png",
    }


def test_without_any_original(by_older: Path, unchanged: Unchanged) -> None:
    """No photo can be scored anew: 3, and nothing is written."""
    shutil.rmtree(by_older / "photos")
    same = unchanged(by_older)
    assert rescan(by_older) == 3
    assert same()


def test_verdicts_keep_their_patches(by_older: Path, anew: Path) -> None:
    """A patch that is found at an older one's place has its name."""
    found = lines(by_older, "suspects.csv", "older-1")
    assert found, "the older method should see a patch"
    path = by_older / "suspects.csv"
    bag, patch = found[0]["bag"], found[0]["patch"]
    renamed = path.read_text(encoding="utf-8").replace(f",{bag},{patch},", f",{bag},p7,")
    path.write_text(renamed, encoding="utf-8")
    assert main(["verdict", str(by_older), bag, "harmless", "--patch", "p7"]) == 0
    assert rescan(by_older) == 0
    names = [(row["photo"], row["bag"], row["patch"]) for row in lines(by_older, "suspects.csv")]
    told = {(bag, patch): "p7"}
    assert names == [
        (row["photo"], row["bag"], told.get((row["bag"], row["patch"]), row["patch"]))
        for row in lines(anew, "suspects.csv")
    ]


def test_scan_leaves_older_rows_alone(
    by_older: Path, photos: tuple[Path, ...], unchanged: Unchanged, capsys: Capture
) -> None:
    """A photo that another method scored is passed over by `scan`: history moves by `rescan` alone."""
    same = unchanged(by_older)
    scan_all(by_older, photos)
    assert "4 photos passed over" in capsys.readouterr().err
    assert same()


def test_a_trial_without_photos(trial: Path, capsys: Capture) -> None:
    """It says what to do first."""
    assert rescan(trial) == 0
    assert "No photo yet. Next: colscan scan" in capsys.readouterr().err
