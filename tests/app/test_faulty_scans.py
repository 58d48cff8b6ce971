"""Scans that are killed, held up, crowded, robbed of their cache: in the end the rows are the same."""

from __future__ import annotations

import random
import shutil
import signal
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import kills
import pytest
from held_files import holding
from kills import Bench, differences, scan_again, start_scan, timeless
from pages import browser, send

from colscan.app.batch import originals
from colscan.app.batch import scan as batch_scan
from colscan.app.batch.outcomes import Rejected
from colscan.app.cli.main import main
from colscan.trial import load_trial

SEED = 7
Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """Two photos of two bags, measured once: nearly all of a scan's time."""
    return kills.set_up(tmp_path_factory.mktemp("bench"), days=(0, 3), measure=False)


@pytest.fixture
def folder(bench: Bench, tmp_path: Path) -> Path:
    """The bench's trial, just begun."""
    return Path(shutil.copytree(bench.begun, tmp_path / "hornbeam"))


def test_killed_scans(bench: Bench, tmp_path: Path) -> None:
    """At five moments, drawn by lot; `tests/bench/kills.py` tries as many as asked for."""
    lot = random.Random(SEED)
    for number in range(5):
        _, wrong = kills.kill_once(bench, tmp_path / f"kill{number}", lot, by_call=number != 0)
        assert wrong == [], number


def test_what_killed_scans_left_is_taken_away(
    bench: Bench, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a copy of a photo that is scanned again at once; others when they are old."""
    scan_again(bench, folder, bench.photos[0])
    (kept,) = (folder / "photos").iterdir()
    places = [folder, folder / "photos", folder / "cache", folder / "cache" / "evidence"]
    young = [place / ".x.4711.part" for place in places]
    own = kept.with_name(f"{kept.name}.4711.part")
    for path in (*young, own):
        path.write_bytes(b"half")
    (folder / "photos.csv").unlink()  # killed before the photo was recorded
    scan_again(bench, folder)
    assert not own.exists()
    assert all(path.exists() for path in young), "somebody may be writing them"
    monkeypatch.setattr(originals, "LEFT_OVER_S", -60.0)
    scan_again(bench, folder)
    assert not list(folder.rglob("*.part"))


def test_a_scan_goes_on_while_a_file_is_held(
    bench: Bench, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """Both photos are kept aside, the second remembers the first; scanned again they are appended."""
    with holding(monkeypatch, "scores.csv"):
        for photo in bench.photos:
            scan_again(bench, folder, photo)
        said = capsys.readouterr().err
        assert "rows wait in waiting/, as another program holds scores.csv or writing there is" in said
        assert not (folder / "photos.csv").exists()
        scan_again(bench, folder, bench.photos[0])
        assert "scanned before, passed over" in capsys.readouterr().err
        assert main(["status", str(folder)]) == 0
        assert "rows wait in waiting/" in capsys.readouterr().err
        assert main(["check", str(folder)]) == 4
        assert "rows wait in waiting/" in " ".join(capsys.readouterr().out.split())
    assert main(["scan", str(folder), bench.photos[1], "--dry-run", "--jobs", "1"]) == 0
    assert not (folder / "photos.csv").exists()
    scan_again(bench, folder, bench.photos[1])
    assert "waiting" not in capsys.readouterr().err.splitlines()[-1]
    assert differences(bench, folder) == []


def test_a_clock_that_jumps(bench: Bench, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A computer's clock that goes back a day at each photo changes nothing but when rows were written."""
    days = count()
    clock = datetime(2026, 4, 9, tzinfo=UTC)
    monkeypatch.setattr(batch_scan, "now", lambda: clock - timedelta(days=next(days)))
    for photo in bench.photos:
        scan_again(bench, folder, photo)
    assert differences(bench, folder) == []


def test_two_scans_and_a_review_at_once(bench: Bench, folder: Path) -> None:
    """Each records its photo while calls are sent from a page: all rows are there, and none is torn."""
    page = browser(folder)
    scans = [start_scan(folder, [photo], bench.measured) for photo in bench.photos]
    sent = 0
    while any(scan.poll() is None for scan in scans):
        call = {"call": "contaminated", "action": "watched", "where": "seam", "note": str(sent)}
        answer = send(page, "/verdict", bag="B05", patch="", then="/bag", **call)
        assert answer.status_code == 303
        sent += 1
    assert [scan.communicate() and scan.returncode for scan in scans] == [0, 0]
    assert sent > 1
    assert [row["note"] for row in timeless(folder / "verdicts.csv")] == [str(i) for i in range(sent)]
    assert len(timeless(folder / "photos.csv")) == 2
    assert len(timeless(folder / "scores.csv")) == len(bench.rows["scores.csv"])
    assert main(["check", str(folder)]) == 0


def test_a_scan_waits_for_another(
    bench: Bench, folder: Path, tmp_path: Path, other_scan: Callable[..., list[str]]
) -> None:
    """Begun before the other one's first photo, it remembers that photo: the rows are those of one scan."""
    told = other_scan(folder, lambda: list(first))
    no_photo = tmp_path / "text.jpg"
    no_photo.write_bytes(b"not a photo")
    options = batch_scan.ScanOptions()
    first = batch_scan._scan_in_turn(folder, load_trial(folder), [no_photo, Path(bench.photos[0])], options)
    assert isinstance(next(first), Rejected)  # it has read the ledger
    assert main(["scan", str(folder), bench.photos[1], "--dry-run", "--jobs", "1"]) == 0
    assert told == []
    scan_again(bench, folder, bench.photos[1])
    assert told == ["hornbeam: waiting for another scan of this trial to end"]
    assert differences(bench, folder) == []


@pytest.mark.parametrize("how", ["closed", "failed"])
def test_a_scan_that_ends_early_lets_others_in(
    bench: Bench, folder: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    """Closed after its first photo, or stopped by ctrl-C in the midst of it."""
    photos = [Path(photo) for photo in bench.photos]
    outcomes = batch_scan.scan_photos(folder, load_trial(folder), photos, batch_scan.ScanOptions())
    if how == "closed":
        next(outcomes)
        outcomes.close()  # type: ignore[attr-defined]
    else:
        with monkeypatch.context() as patch:
            patch.setattr(batch_scan, "append_photo", lambda *_: signal.raise_signal(signal.SIGINT))
            with pytest.raises(KeyboardInterrupt):
                next(outcomes)
    scan_again(bench, folder)
    assert differences(bench, folder) == []


# ---- cache/


def flip(path: Path) -> None:
    """One byte in the middle is another."""
    raw = bytearray(path.read_bytes())
    raw[len(raw) // 2] ^= 0x20
    path.write_bytes(raw)


def cut(path: Path) -> None:
    """Half of it is gone."""
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def empty(path: Path) -> None:
    """Nothing is left of it."""
    path.write_bytes(b"")


def remove(path: Path) -> None:
    """It is gone."""
    path.unlink()


def make_folder(path: Path) -> None:
    """A folder stands in its place."""
    path.unlink()
    path.mkdir()


def make_unreadable(path: Path) -> None:
    """It can't be opened, nor what would be written to it: permissions don't bind root, a loop does."""
    path.unlink()
    path.symlink_to(path.name)


DAMAGES = (flip, cut, empty, remove, make_folder, make_unreadable)


@pytest.fixture(scope="module")
def half(bench: Bench, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bench's trial with its first photo scanned."""
    folder = Path(shutil.copytree(bench.begun, tmp_path_factory.mktemp("half") / "hornbeam"))
    for _ in range(2):  # the second one looks at it to tell copies
        scan_again(bench, folder, bench.photos[0])
    return folder


@pytest.mark.parametrize("damage", DAMAGES, ids=[damage.__name__ for damage in DAMAGES])
def test_a_damaged_cache_changes_no_number(
    bench: Bench, half: Path, tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    """Each kind of file in turn, then all of them, between two photos."""
    if damage is make_unreadable and sys.platform == "win32":
        pytest.skip("links need a privilege")
    kept = sorted(path.relative_to(half) for path in (half / "cache").rglob("*") if path.is_file())
    assert [path.parts[1] for path in kept] == ["baselines.bin", "evidence", "ledger-whole.json"]
    for number, damaged in enumerate([*([path] for path in kept), kept]):
        folder = Path(shutil.copytree(half, tmp_path / f"trial{number}"))
        for path in damaged:
            damage(folder / path)
        scan_again(bench, folder, bench.photos[1])
        assert differences(bench, folder) == [], damaged


def test_a_cache_that_is_no_folder(bench: Bench, half: Path, tmp_path: Path) -> None:
    """Deleted whole, or a file in its place: the same rows."""
    for number, replace in enumerate((lambda path: None, Path.touch)):
        folder = Path(shutil.copytree(half, tmp_path / f"trial{number}"))
        shutil.rmtree(folder / "cache")
        replace(folder / "cache")
        scan_again(bench, folder, bench.photos[1])
        assert differences(bench, folder) == []
