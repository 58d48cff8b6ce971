"""A ledger that is read again and again: the same as one read anew, whatever changes."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from colscan.errors import LedgerError
from colscan.ledger import LedgerReader, read_ledger

PHOTO = "photo,photo_sha256,taken_at,taken_at_from,width_px,height_px,bags_found,method,scanned_at\n"
SCORE = "photo,photo_sha256,taken_at,bag,segment,coverage_pct,identified_by,method,scanned_at\n"
EVENT = "at,scope,name,what,detail\n"


def photo_line(day: int) -> str:
    """A line of photos.csv."""
    at = f"2026-03-0{day}T08:00:00+00:00"
    return f"d{day}.jpg,{day:064x},{at},exif-offset,4000,3000,1,m-1,{at}\n"


def score_line(day: int, pct: float) -> str:
    """A line of scores.csv."""
    at = f"2026-03-0{day}T08:00:00+00:00"
    return f"d{day}.jpg,{day:064x},{at},B01,0,{pct},card,m-1,{at}\n"


def event_line(day: int) -> str:
    """A line of events.csv."""
    return f"2026-03-0{day}T09:00:00+00:00,bag,B01,shaken,\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A ledger of one photo and one event."""
    (tmp_path / "photos.csv").write_text(PHOTO + photo_line(2), "utf-8")
    (tmp_path / "scores.csv").write_text(SCORE + score_line(2, 10), "utf-8")
    (tmp_path / "suspects.csv").touch()
    (tmp_path / "events.csv").write_text(EVENT + event_line(2), "utf-8")
    return tmp_path


def append(path: Path, line: str) -> None:
    """Add a line to a file."""
    with path.open("a", encoding="utf-8") as file:
        file.write(line)


def test_the_same_object_while_nothing_changes(folder: Path) -> None:
    """Who holds it can tell by `is`."""
    reader = LedgerReader(folder)
    assert reader.read() is reader.read()
    assert reader.read() == read_ledger(folder)


def test_each_change_is_seen(folder: Path) -> None:
    """An append, an edit of the same size, a file put in its place and one taken away."""
    reader = LedgerReader(folder)
    before = reader.read()
    append(folder / "events.csv", event_line(3))
    assert reader.read() == read_ledger(folder)
    assert len(reader.read().events) == 2
    assert reader.read().scores is before.scores
    path = folder / "scores.csv"
    path.write_text(SCORE + score_line(2, 20), "utf-8")
    assert reader.read().scores[0].coverage_pct == 20
    kept = path.stat()
    other = folder / "other.csv"
    other.write_text(SCORE + score_line(2, 30), "utf-8")
    os.utime(other, ns=(kept.st_atime_ns, kept.st_mtime_ns))
    other.replace(path)
    assert reader.read().scores[0].coverage_pct == 30
    (folder / "events.csv").unlink()
    assert reader.read().events == ()


def test_a_photo_that_was_read_while_another_file_was_broken(folder: Path) -> None:
    """What was read before the error counts once the error is mended."""
    reader = LedgerReader(folder)
    reader.read()
    events = (folder / "events.csv").read_text("utf-8")
    (folder / "events.csv").write_text("at,scope\n", "utf-8")
    append(folder / "scores.csv", score_line(3, 40))
    append(folder / "photos.csv", photo_line(3))
    for _ in range(2):
        with pytest.raises(LedgerError, match=r"events\.csv:1"):
            reader.read()
    (folder / "events.csv").write_text(events, "utf-8")
    assert reader.read() == read_ledger(folder)
    assert len(reader.read().scores) == 2


def test_scores_without_their_mark_wait_for_it(folder: Path) -> None:
    """Scores are written before their photo's row: they count from then on."""
    reader = LedgerReader(folder)
    append(folder / "scores.csv", score_line(3, 40))
    assert len(reader.read().scores) == 1
    append(folder / "photos.csv", photo_line(3))
    assert len(reader.read().scores) == 2
