"""A large ledger, read by column: the same rows as read whole, whatever the cache holds."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from large_trial import Size, photo_lines, photo_rows, write_large_trial

from colscan.errors import LedgerError
from colscan.flags import Flag
from colscan.growth import curves_of, judge_bags
from colscan.ledger import Ledger, LedgerReader, append_photo, kept, places_holding, read_ledger, rows_at
from colscan.ledger.marks import MARK_FILE
from colscan.ledger.stored import StoredRows
from colscan.tables import format_rows
from colscan.trial import load_trial
from colscan.units import now

SIZE = Size(bags=8, photos=130, bags_a_photo=4)
Edit = Callable[[Path], None]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial of 1,040 scores."""
    folder = tmp_path_factory.mktemp("large") / "hornbeam"
    write_large_trial(folder, SIZE)
    return folder


@pytest.fixture
def folder(written: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it that counts as large and is in the cache."""
    monkeypatch.setattr(kept, "LARGE_BYTES", 0)
    copy = tmp_path / "hornbeam"
    copy.mkdir()
    for path in written.iterdir():
        (copy / path.name).write_bytes(path.read_bytes())
    assert isinstance(read_ledger(copy).scores, StoredRows)
    assert (copy / kept.COLUMNS_FILE).exists()
    return copy


@pytest.mark.parametrize("name", ["scores.csv", "suspects.csv"])
def test_photos_whose_scores_are_gone_are_refused(folder: Path, name: str) -> None:
    """Whether the ledger is then still large or not, and whoever has read it before."""
    reader = LedgerReader(folder)
    reader.read()
    (folder / name).unlink()
    for read in (reader.read, lambda: read_ledger(folder)):
        with pytest.raises(LedgerError, match=f"{name} is missing, and photos.csv has 260 rows"):
            read()


def read_whole(folder: Path) -> Ledger:
    """The ledger as a small one is read."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kept, "LARGE_BYTES", 1 << 40)
        return read_ledger(folder)


def assert_same(folder: Path) -> None:
    """By column and whole the ledger says the same, and so do the figures that are made of it."""
    large, whole = read_ledger(folder), read_whole(folder)
    assert large == whole
    trial, at = load_trial(folder), now()
    assert judge_bags(trial, read_ledger(folder), at) == judge_bags(trial, whole, at)
    for one, other in zip(curves_of(trial, large), curves_of(trial, whole), strict=True):
        assert one.series.days.tolist() == other.series.days.tolist()
        assert str(one.series.coverage) == str(other.series.coverage)
        assert one.series.segment.tolist() == other.series.segment.tolist()
        assert one.onsets == other.onsets


def replace_once(path: Path, old: bytes, new: bytes) -> None:
    """Edit a file by hand, in place."""
    raw = path.read_bytes()
    assert old in raw
    path.write_bytes(raw.replace(old, new, 1))


def test_lines_are_rows() -> None:
    """The trial's quickly written lines are those that the ledger writes."""
    for number in range(0, SIZE.photos * SIZE.groups, 17):
        photo, scores, suspects = photo_rows(number, SIZE)
        assert photo_lines(number, SIZE) == (format_rows([photo]), format_rows(scores), format_rows(suspects))


def test_rows_and_words_by_place(folder: Path) -> None:
    """Rows at some places, and the places of rows with a flag, are those of rows read whole."""
    replace_once(folder / "scores.csv", b",,card,", b",blurred fell,card,")
    replace_once(folder / "scores.csv", b",,card,", b",fell,card,")
    large, whole = read_ledger(folder), read_whole(folder)
    places = places_holding(large.scores, "flags", Flag.FELL)
    assert places == places_holding(whole.scores, "flags", Flag.FELL)
    assert len(places) == 2
    assert places_holding(large.scores, "flags", Flag.GLARE) == []
    assert rows_at(large.scores, [*places, 7]) == [whole.scores[place] for place in (*places, 7)]


def test_kept_columns_are_aligned(folder: Path) -> None:
    """Whatever their lengths: numpy takes several times as long over others."""
    assert append_photo(folder, *photo_rows(SIZE.photos * SIZE.groups, SIZE))  # an odd number of photos
    (folder / kept.COLUMNS_FILE).unlink()
    read_ledger(folder)
    arrays = [array for table in kept.read_columns(folder).tables.values() for array in table.arrays()]
    assert any(array.nbytes % 8 for array in arrays)
    assert all(array.flags.aligned for array in arrays)


def test_large_is_as_whole(folder: Path) -> None:
    """Rows, their order, statuses and curves are the same."""
    assert_same(folder)


def damages() -> Iterator[tuple[str, Edit]]:
    """Ways in which the cache is lost."""
    yield "deleted", lambda path: path.unlink()
    yield "empty", lambda path: path.write_bytes(b"")
    for part in (3, 5000):
        yield f"cut at {part}", lambda path, part=part: path.write_bytes(path.read_bytes()[:part])
    for place in (0, 900, -9000):
        yield f"flipped at {place}", lambda path, place=place: flip(path, place)
    yield "other text", lambda path: path.write_text('{"files": [], "since": 3}\n')


def flip(path: Path, place: int) -> None:
    """Change one byte."""
    raw = bytearray(path.read_bytes())
    raw[place % len(raw)] ^= 0x41
    path.write_bytes(bytes(raw))


@pytest.mark.parametrize("cached", [kept.COLUMNS_FILE, MARK_FILE], ids=str)
def test_damaged_cache_changes_nothing(folder: Path, cached: Path) -> None:
    """Each file of the cache may be lost, cut or changed: the same rows come out, and photos are appended."""
    append_photo(folder, *photo_rows(SIZE.photos * SIZE.groups, SIZE))
    read_ledger(folder)
    whole = read_whole(folder)
    good = (folder / cached).read_bytes()
    for number, (what, damage) in enumerate(damages(), 1):
        (folder / cached).write_bytes(good)
        damage(folder / cached)
        assert read_ledger(folder) == whole, what
        if what in ("deleted", "other text"):
            assert append_photo(folder, *photo_rows(SIZE.photos * SIZE.groups + number, SIZE))
            whole = read_whole(folder)
            assert read_ledger(folder) == whole, what
            good = (folder / cached).read_bytes()


def test_cache_of_another_ledger(folder: Path, written: Path) -> None:
    """The columns of another trial aren't taken, though its files are as long."""
    other = (folder / kept.COLUMNS_FILE).read_bytes()
    replace_once(folder / "scores.csv", b",97.", b",96.")
    assert_same(folder)
    (folder / kept.COLUMNS_FILE).write_bytes(other)
    assert_same(folder)


EDITS: dict[str, Edit] = {
    "a figure of the same length": lambda f: replace_once(f / "scores.csv", b",97.", b",91."),
    "a figure of another length": lambda f: replace_once(f / "scores.csv", b",0.5,", b",0.52,"),
    "a quoted name": lambda f: replace_once(f / "scores.csv", b"d000004.jpg", b'"d4, again.jpg"'),
    "letters beyond ASCII": lambda f: replace_once(f / "photos.csv", b"d000004.jpg", "día.jpg".encode()),
    "blanks in cells": lambda f: replace_once(f / "scores.csv", b",97.", b", 97."),
    "line ends of another system": lambda f: (f / "scores.csv").write_bytes(
        (f / "scores.csv").read_bytes().replace(b"\n", b"\r\n")
    ),
    "a blank line": lambda f: replace_once(f / "suspects.csv", b"\n", b"\n\n"),
    "no line end": lambda f: (f / "scores.csv").write_bytes((f / "scores.csv").read_bytes()[:-1]),
    "a torn row": lambda f: (f / "scores.csv").write_bytes((f / "scores.csv").read_bytes()[:-70]),
    "a photo withdrawn": lambda f: (f / "photos.csv").write_bytes(
        b"".join((f / "photos.csv").read_bytes().splitlines(keepends=True)[:-9])
    ),
    "no suspects": lambda f: (f / "suspects.csv").write_bytes(
        (f / "suspects.csv").read_bytes().splitlines(keepends=True)[0]
    ),
    "an extra column": lambda f: (f / "photos.csv").write_bytes(
        b"".join(line + b",x\n" for line in (f / "photos.csv").read_bytes().splitlines())
    ),
}


@pytest.mark.parametrize("what", EDITS)
def test_hand_edit_is_noticed(folder: Path, what: str) -> None:
    """After an edit by hand the rows are those of the edited file; with the old time set, too."""
    before = {path: path.stat().st_mtime_ns for path in folder.glob("*.csv")}
    EDITS[what](folder)
    for path, at in before.items():
        if path.exists():
            os.utime(path, ns=(at, at))
    assert_same(folder)


def test_edit_then_append(folder: Path) -> None:
    """An edit between two photos is noticed, though the files have grown as usual since."""
    append_photo(folder, *photo_rows(SIZE.photos * SIZE.groups, SIZE))
    assert_same(folder)
    replace_once(folder / "scores.csv", b",97.", b",91.")
    assert append_photo(folder, *photo_rows(SIZE.photos * SIZE.groups + 1, SIZE))
    assert_same(folder)


def test_appended_photos_are_read_on(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was appended since the cache was made is read alone, and by one reader again and again."""
    reader, begun = LedgerReader(folder), []
    reader.read()
    real = kept.read_table
    monkeypatch.setattr(kept, "read_table", lambda p, t, w: begun.append(t.covered) or real(p, t, w))
    # The first append takes its word from the columns: nothing is read whole for it.
    for number in range(3):
        assert append_photo(folder, *photo_rows(SIZE.photos * SIZE.groups + number, SIZE))
        assert not append_photo(folder, *photo_rows(SIZE.photos * SIZE.groups + number, SIZE))
        ledger = reader.read()
        assert reader.read() is ledger
        assert ledger == read_whole(folder)
    assert begun
    assert min(begun) > 0


def test_newer_method_counts(folder: Path) -> None:
    """Of a photo scanned again by a newer method the new rows count; suspects of the old one don't."""
    photo, scores, suspects = photo_rows(130, SIZE)
    method, at = "later-9", now()
    again = [replace(row, method=method, scanned_at=at) for row in scores[::2]]
    assert suspects
    assert append_photo(folder, replace(photo, method=method, scanned_at=at), again, [])
    assert_same(folder)


def test_wrong_cell_is_told_with_its_line(folder: Path) -> None:
    """A cell that is no number is told as a small ledger tells it."""
    replace_once(folder / "scores.csv", b",97.", b",9x.")
    with pytest.raises(LedgerError) as large:
        read_ledger(folder)
    with pytest.raises(LedgerError) as whole:
        read_whole(folder)
    assert str(large.value) == str(whole.value)


def told(read: Callable[[Path], Ledger], folder: Path) -> Ledger | str:
    """What is read, or why nothing is."""
    try:
        return read(folder)
    except LedgerError as error:
        return str(error)


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("photo_sha256", "../" + "a" * 61),
        ("photo_sha256", "g" * 64),
        ("photo_sha256", "a" * 63),
        ("taken_at", "0001-03-02T11:00:00+00:00"),
        ("taken_at", "2300-03-02T11:00:00+00:00"),
        ("taken_at", "2026-02-30T11:00:00+00:00"),
        ("taken_at", "2026-03-02T11:00:00+25:00"),
        ("taken_at", "2026-03-02T11:00:00"),
        ("coverage_pct", "nan"),
        ("coverage_pct", "1e400"),
        ("coverage_pct", "-5"),
        ("segment", "0.5"),
        ("flags", "no-such-flag"),
        ("bag", '"a,b"'),
        ("bag", "B\0"),
    ],
)
def test_odd_cells_are_read_or_refused_as_in_a_small_ledger(folder: Path, column: str, cell: str) -> None:
    """Paths for hashes, times out of the calendar, numbers that are none: the same row, or the same words."""
    path = folder / "scores.csv"
    head, *lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    cells = lines[40].split(",")
    cells[head.split(",").index(column)] = cell
    path.write_text("".join([head, *lines[:40], ",".join(cells), *lines[41:]]), encoding="utf-8")
    assert told(read_ledger, folder) == told(read_whole, folder)


def test_rows_of_a_changed_file_are_refused(folder: Path) -> None:
    """Rows that are asked for after their file was changed are no silent mixture."""
    scores = read_ledger(folder).scores
    lines = (folder / "scores.csv").read_bytes().splitlines(keepends=True)
    (folder / "scores.csv").write_bytes(b"".join(lines[:1] + lines[2:]))
    with pytest.raises(LedgerError, match="changed while it was read"):
        tuple(scores)
