"""Appends are exact, idempotent, and all or nothing, whatever breaks meanwhile."""

import errno
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from filelock import FileLock

from colscan.errors import LedgerError
from colscan.ledger import append_photo, append_row, files, read_ledger
from colscan.ledger.columns import EventRow, HarvestRow, PhotoRow, ScoreRow, SuspectRow, VerdictRow
from colscan.ledger.marks import MARK_FILE
from colscan.tables import format_header, format_rows

FILES = ("suspects.csv", "scores.csv", "photos.csv")
SHORT = {"photo": "x.jpg", "photo_sha256": "5e1d07c2"}  # each byte costs a run of the test
AT = datetime(2026, 3, 9, 10, 5, tzinfo=UTC)
SHAKEN = EventRow(at=AT, scope="bag", name="B01", what="shaken", detail='"hard",\nto loosen it')
Rows = tuple[PhotoRow, list[ScoreRow], list[SuspectRow]]
Snapshot = Callable[[Path], dict[str, bytes]]


@pytest.fixture
def short_rows(find_rows) -> Rows:
    """One bag with one patch, in few bytes."""
    photo, scores, suspects = find_rows(4)
    return replace(photo, **SHORT), [replace(scores[0], **SHORT)], [replace(suspects[0], **SHORT)]


@pytest.fixture
def quick_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Don't wait for the disk, where a test appends a thousand times and checks no durability."""
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)


def test_exact_bytes(tmp_path: Path, find_rows, ledger_bytes: Snapshot) -> None:
    """The first photo makes the three files: header and rows in the order of the declaration."""
    assert append_photo(tmp_path, *find_rows(3))
    sha = find_rows(3)[0].photo_sha256
    said = f"IMG_3.jpg,{sha},2026-03-05T06:00:00-05:00"
    end = "colscan-1,2026-04-01T00:00:00+00:00"
    assert ledger_bytes(tmp_path) == {
        "photos.csv": (
            "photo,photo_sha256,taken_at,taken_at_from,shelf,camera,width_px,height_px,bags_found,mm_per_px,"
            "smallest_spot_mm,problems,bags_elsewhere,burst,method,scanned_at\n"
            f"{said},exif-offset,,,1600,1200,2,0.5123,,,,,{end}\n"
        ).encode(),
        "scores.csv": (
            "photo,photo_sha256,taken_at,bag,segment,coverage_pct,coverage_low_pct,coverage_high_pct,density_pct,"
            "unseen_pct,suspects,suspect_area_pct,mm_per_px,outline,flags,identified_by,method,scanned_at\n"
            f"{said},B01,0,20,15,25,,,1,,,,,card,{end}\n"
            f"{said},B02,0,20,15,25,,,0,,,,,card,{end}\n"
        ).encode(),
        "suspects.csv": (
            "photo,photo_sha256,taken_at,bag,patch,kind,area_mm2,area_pct,x_px,y_px,x_mm,y_mm,outline,strength,"
            "first_seen_at,growth_mm2_per_day,flags,method\n"
            f"{said},B01,p1,green,40,0.5,10,20,-3,4,,0.75,,,,colscan-1\n"
        ).encode(),
    }


def test_what_people_say_has_exact_bytes(tmp_path: Path, ledger_bytes: Snapshot) -> None:
    """Verdicts, events and harvests are appended in the order of the declaration, several rows at once."""
    append_row(tmp_path, VerdictRow(at=AT, bag="B01", call="unsure", by="-me"))
    append_row(tmp_path, HarvestRow(at=AT, bag="B01", flush=1, fresh_g=512.5))
    append_row(tmp_path, SHAKEN, EventRow(at=AT, scope="room", what="power-cut"))
    at = "2026-03-09T10:05:00+00:00"
    assert ledger_bytes(tmp_path) == {
        "events.csv": (
            "at,scope,name,what,detail\n"
            f'{at},bag,B01,shaken,"""hard"",\nto loosen it"\n'
            f"{at},room,,power-cut,\n"
        ).encode(),
        "harvests.csv": f"at,bag,flush,fresh_g,saleable_g,note\n{at},B01,1,512.5,,\n".encode(),
        "verdicts.csv": (
            "at,bag,patch,photo_sha256,call,where,found_by,action,blind,by,note\n"
            f"{at},B01,,,unsure,,,,,'-me,\n"
        ).encode(),
    }


def test_same_bytes_and_method_are_recorded_once(tmp_path: Path, find_rows, ledger_bytes: Snapshot) -> None:
    """A photo that is there already is passed over, and not a byte changes; a new method adds its rows."""
    append_photo(tmp_path, *find_rows(3))
    before = ledger_bytes(tmp_path)
    assert append_photo(tmp_path, *find_rows(3)) is False
    assert ledger_bytes(tmp_path) == before
    assert append_photo(tmp_path, *find_rows(3, method="colscan-2"))
    assert len((tmp_path / "scores.csv").read_bytes().splitlines()) == 5


def test_photo_without_bags(tmp_path: Path, find_rows, ledger_bytes: Snapshot) -> None:
    """A photo in which nothing was found is recorded by its own row; the other files hold their headers."""
    photo, _, _ = find_rows(3)
    assert append_photo(tmp_path, photo, (), ())
    files = ledger_bytes(tmp_path)
    assert files["scores.csv"] == format_header(ScoreRow)
    assert files["suspects.csv"] == format_header(SuspectRow)
    assert len(files["photos.csv"].splitlines()) == 2


def test_rows_of_another_photo_are_refused(tmp_path: Path, find_rows, ledger_bytes: Snapshot) -> None:
    """Scores under another photo's mark would never count: a fault of the caller."""
    with pytest.raises(ValueError, match="another photo"):
        append_photo(tmp_path, find_rows(3)[0], find_rows(4)[1], ())
    assert ledger_bytes(tmp_path) == {}


def test_appends_in_the_files_own_order(tmp_path: Path) -> None:
    """After an edit in a spreadsheet (order, extra column, byte order mark, CRLF) cells find their column."""
    path = tmp_path / "events.csv"
    head = "\ufeffwhat,mine,at,scope,name,detail\r\nmoved,7,2026-03-08T10:05:00Z,room,,\r\n".encode()
    path.write_bytes(head)
    append_row(tmp_path, SHAKEN)
    assert path.read_bytes() == head + (
        b'shaken,,2026-03-09T10:05:00+00:00,bag,B01,"""hard"",\nto loosen it"\r\n'
    )
    assert [event.what for event in read_ledger(tmp_path).events] == ["moved", "shaken"]


def test_a_missing_column_is_missed_only_for_a_value(tmp_path: Path, ledger_bytes: Snapshot) -> None:
    """A column that the grower took out is an error when a value would be lost, and none otherwise."""
    (tmp_path / "events.csv").write_text("at,scope,name,what\n")
    append_row(tmp_path, EventRow(at=AT, scope="room", what="power-cut"))
    before = ledger_bytes(tmp_path)
    with pytest.raises(LedgerError, match=r"events.csv:1: column 'detail' is missing"):
        append_row(tmp_path, SHAKEN)
    assert ledger_bytes(tmp_path) == before


def test_what_could_not_be_read_again_is_not_written(tmp_path: Path, ledger_bytes: Snapshot) -> None:
    """A value outside its declaration is refused before a byte is written."""
    for row in (
        HarvestRow(at=AT, bag="B01", flush=0, fresh_g=1.0),
        HarvestRow(at=AT.replace(tzinfo=None), bag="B01", flush=1, fresh_g=1.0),
        HarvestRow(at=AT, bag="B01", flush=1, fresh_g=float("nan")),
        HarvestRow(at=AT, bag="", flush=1, fresh_g=1.0),
        HarvestRow(at=AT, bag="B01", flush=1, fresh_g=1.0, note="x" * 200_000),
    ):
        with pytest.raises(LedgerError, match=r"A row for harvests.csv can't be written"):
            append_row(tmp_path, row)
    assert ledger_bytes(tmp_path) == {}


def test_every_torn_photo_heals(
    tmp_path: Path, find_rows, short_rows: Rows, ledger_bytes: Snapshot, quick_disk: None
) -> None:
    """A photo cut short at any byte doesn't count, and scanned again it gives the bytes of a clean run."""
    append_photo(tmp_path, *find_rows(3))
    base = ledger_bytes(tmp_path)
    known_whole = (tmp_path / MARK_FILE).read_bytes()
    times = {name: (tmp_path / name).stat().st_mtime_ns for name in FILES}
    append_photo(tmp_path, *short_rows)
    clean = ledger_bytes(tmp_path)
    written = [(name, clean[name][len(base[name]) :]) for name in FILES]
    total = sum(len(data) for _, data in written)
    for length in range(total + 1):
        left = length
        for name, data in written:
            (tmp_path / name).write_bytes(base[name] + data[:left])
            if not data[:left]:
                os.utime(tmp_path / name, ns=(times[name], times[name]))
            left = max(0, left - len(data))
        (tmp_path / MARK_FILE).write_bytes(known_whole)
        committed = length >= total - 1  # the last byte is the line end alone
        assert len(read_ledger(tmp_path).photos) == 1 + committed, length
        assert append_photo(tmp_path, *short_rows) is not committed, length
        assert ledger_bytes(tmp_path) == clean, length


def test_every_torn_first_photo_heals(
    tmp_path: Path, short_rows: Rows, ledger_bytes: Snapshot, quick_disk: None
) -> None:
    """The same for the photo that makes the files: a torn header is written anew."""
    append_photo(tmp_path, *short_rows)
    clean = ledger_bytes(tmp_path)
    for length in range(sum(map(len, clean.values())) - 1):
        left = length
        for name in FILES:
            (tmp_path / name).unlink()
            if left > 0:
                (tmp_path / name).write_bytes(clean[name][:left])
            left -= len(clean[name])
        assert read_ledger(tmp_path).photos == ()
        assert append_photo(tmp_path, *short_rows) is True
        assert ledger_bytes(tmp_path) == clean, length


def test_every_torn_saying_heals(tmp_path: Path, ledger_bytes: Snapshot, quick_disk: None) -> None:
    """An event cut short at any byte is gone, or whole but for its text's end, once the next is appended."""
    room = EventRow(at=AT, scope="room", what="power-cut")
    append_row(tmp_path, room)
    path = tmp_path / "events.csv"
    base = path.read_bytes()
    whole = format_rows([SHAKEN])
    for length in range(len(whole) + 1):
        path.write_bytes(base + whole[:length])
        append_row(tmp_path, room)
        first, *torn, last = read_ledger(tmp_path).events
        assert (first.what, last.what) == ("power-cut", "power-cut"), length
        assert path.read_bytes().startswith(base), length
        for event in torn:
            assert (event.at, event.name, event.what) == (AT, "B01", "shaken"), length
            assert (SHAKEN.detail or "").startswith(event.detail or ""), length


def test_last_line_typed_by_hand_is_kept(tmp_path: Path) -> None:
    """An editor that leaves the last line without line end costs no row."""
    path = tmp_path / "harvests.csv"
    path.write_text("at,bag,flush,fresh_g,saleable_g,note\n2026-03-30T08:00:00-05:00,B01,1,500,,by hand")
    append_row(tmp_path, HarvestRow(at=AT, bag="B02", flush=1, fresh_g=400.0))
    assert {row.note for row in read_ledger(tmp_path).harvests} == {"by hand", None}


def test_quote_opened_by_hand_stops_the_writer(tmp_path: Path, ledger_bytes: Snapshot) -> None:
    """A stray quote that swallows whole rows isn't taken for a torn end: the line is named, nothing cut."""
    lines = [
        "at,scope,name,what,detail",
        *['2026-03-08T10:05:00Z,room,,other,"odd'],
        "2026-03-08T11:05:00Z,room,,moved,",
    ]
    (tmp_path / "events.csv").write_text("\n".join(lines) + "\n")
    before = ledger_bytes(tmp_path)
    with pytest.raises(LedgerError, match=r"events.csv:2: is not CSV"):
        append_row(tmp_path, SHAKEN)
    with pytest.raises(LedgerError, match=r"events.csv:2: is not CSV"):
        read_ledger(tmp_path)
    assert ledger_bytes(tmp_path) == before


class _Fault:
    """Stand-in for a function of `os` that fails at its n-th call."""

    def __init__(
        self, monkeypatch: pytest.MonkeyPatch, name: str, at_call: int, error: BaseException
    ) -> None:
        self._real, self._left, self._error = getattr(os, name), at_call, error
        monkeypatch.setattr(os, name, self)

    def __call__(self, *arguments: object) -> object:
        self._left -= 1
        if self._left == -1:
            raise self._error
        return self._real(*arguments)


@pytest.mark.parametrize("name", ["write", "fsync"])
@pytest.mark.parametrize("at_call", [0, 1, 2])
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EDQUOT, errno.EIO])
def test_failing_disk(
    tmp_path: Path,
    find_rows,
    ledger_bytes: Snapshot,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    at_call: int,
    code: int,
) -> None:
    """Whichever write fails, the files are as before, the error says what to do, the next try succeeds."""
    append_photo(tmp_path, *find_rows(3))
    before = ledger_bytes(tmp_path)
    with monkeypatch.context() as patch:
        _Fault(patch, name, at_call, OSError(code, os.strerror(code)))
        with pytest.raises(LedgerError, match="Check the disk" if code == errno.EIO else "the disk is full"):
            append_photo(tmp_path, *find_rows(4))
    assert ledger_bytes(tmp_path) == before
    assert append_photo(tmp_path, *find_rows(4))
    assert len(read_ledger(tmp_path).scores) == 4


def test_full_disk_at_the_first_photo_leaves_no_files(
    tmp_path: Path, find_rows, ledger_bytes: Snapshot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Files that a failed append made are gone again."""
    _Fault(monkeypatch, "write", 2, OSError(errno.ENOSPC, "full"))
    with pytest.raises(LedgerError, match="the disk is full"):
        append_photo(tmp_path, *find_rows(3))
    assert ledger_bytes(tmp_path) == {}


def test_short_write_is_a_full_disk(
    tmp_path: Path, ledger_bytes: Snapshot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A write that takes only some of the bytes is undone."""
    append_row(tmp_path, SHAKEN)
    before = ledger_bytes(tmp_path)
    real = os.write
    monkeypatch.setattr(os, "write", lambda descriptor, data: real(descriptor, data[:10]))
    with pytest.raises(LedgerError, match="the disk is full"):
        append_row(tmp_path, SHAKEN)
    assert ledger_bytes(tmp_path) == before


@pytest.mark.parametrize("at_call", [0, 1, 2])
def test_crash_between_files_heals(
    tmp_path: Path, find_rows, ledger_bytes: Snapshot, monkeypatch: pytest.MonkeyPatch, at_call: int
) -> None:
    """A process that dies between two files, and undoes nothing, leaves nothing that counts or stays."""
    append_photo(tmp_path, *find_rows(3))
    with monkeypatch.context() as patch:
        _Fault(patch, "write", at_call, KeyboardInterrupt())
        patch.setattr(files, "_cut_back", lambda path, size: None)
        with pytest.raises(KeyboardInterrupt):
            append_photo(tmp_path, *find_rows(4))
    assert len(read_ledger(tmp_path).scores) == 2
    append_photo(tmp_path, *find_rows(5))
    assert b"IMG_4.jpg" not in b"".join(ledger_bytes(tmp_path).values())
    append_photo(tmp_path, *find_rows(4))
    assert len(read_ledger(tmp_path).suspects) == 3


def test_ctrl_c_leaves_the_files_as_before(
    tmp_path: Path, find_rows, ledger_bytes: Snapshot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped half-way through a photo, what was written of it is undone."""
    append_photo(tmp_path, *find_rows(3))
    before = ledger_bytes(tmp_path)
    _Fault(monkeypatch, "fsync", 1, KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt):
        append_photo(tmp_path, *find_rows(4))
    assert ledger_bytes(tmp_path) == before


@pytest.mark.parametrize("code", [errno.EACCES, errno.EROFS])
def test_read_only_folder(
    tmp_path: Path, find_rows, ledger_bytes: Snapshot, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    """A folder that can't be written is an error that says so (simulated: the tests may run as root)."""
    append_photo(tmp_path, *find_rows(3))
    before = ledger_bytes(tmp_path)
    real = os.open

    def refuse(path, flags, *rest, **options):
        if flags & (os.O_WRONLY | os.O_RDWR):
            raise OSError(code, os.strerror(code), str(path))
        return real(path, flags, *rest, **options)

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(LedgerError, match="can't be written") as caught:
        append_photo(tmp_path, *find_rows(4))
    assert "Make the folder writable" in caught.value.hint
    assert ledger_bytes(tmp_path) == before
    assert len(read_ledger(tmp_path).photos) == 1


def test_missing_folder_is_not_made(tmp_path: Path) -> None:
    """A mistyped folder is an error, and no folder comes of it."""
    with pytest.raises(LedgerError, match="no such folder"):
        append_row(tmp_path / "typo", SHAKEN)
    assert list(tmp_path.iterdir()) == []


def test_held_lock_is_named(tmp_path: Path, ledger_bytes: Snapshot, monkeypatch: pytest.MonkeyPatch) -> None:
    """A writer that waits too long for another one says for which lock."""
    monkeypatch.setattr(files, "LOCK_TIMEOUT_S", 0.05)
    with (
        FileLock(tmp_path / files.LOCK_FILE),
        pytest.raises(LedgerError, match=r"\.colscan\.lock has been held"),
    ):
        append_row(tmp_path, SHAKEN)
    assert ledger_bytes(tmp_path) == {}


def test_lock_survives_a_cleared_cache() -> None:
    """The lock isn't under cache/, which may be deleted at any time."""
    assert Path(files.LOCK_FILE).parent == Path()


def test_photo_taken_out_by_hand_is_scanned_anew(tmp_path: Path, find_rows) -> None:
    """Rows whose photo's row was taken out are dropped; other lines stay as they are, extras included."""
    append_photo(tmp_path, *find_rows(3))
    append_photo(tmp_path, *find_rows(4))
    scores = tmp_path / "scores.csv"
    mine = [line + b",mine" for line in scores.read_bytes().splitlines()]
    scores.write_bytes(b"\r\n".join(mine) + b"\r\n")
    photos = tmp_path / "photos.csv"
    photos.write_bytes(
        b"".join(line for line in photos.read_bytes().splitlines(True) if b"IMG_3" not in line)
    )
    assert append_photo(tmp_path, *find_rows(3, coverage=30.0))
    assert scores.read_bytes().splitlines()[:3] == [mine[0], *mine[3:]]
    assert sorted(row.coverage_pct for row in read_ledger(tmp_path).scores) == [20, 20, 30, 30]
    assert not list(tmp_path.glob(".*.part"))


def test_failed_replacement_leaves_the_old_file(
    tmp_path: Path, find_rows, ledger_bytes: Snapshot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that is full while rows are dropped costs nothing."""
    append_photo(tmp_path, *find_rows(3))
    append_photo(tmp_path, *find_rows(4))
    photos = tmp_path / "photos.csv"
    photos.write_bytes(b"".join(photos.read_bytes().splitlines(True)[:2]))
    before = ledger_bytes(tmp_path)
    _Fault(monkeypatch, "write", 0, OSError(errno.ENOSPC, "full"))
    with pytest.raises(LedgerError, match="the disk is full"):
        append_photo(tmp_path, *find_rows(5))
    assert ledger_bytes(tmp_path) == before
    assert not list(tmp_path.glob(".*.part"))


def test_lost_photos_file_stops_the_writer(tmp_path: Path, find_rows, ledger_bytes: Snapshot) -> None:
    """Scores of several photos aren't all dropped because photos.csv was lost: no crash leaves that."""
    append_photo(tmp_path, *find_rows(3))
    append_photo(tmp_path, *find_rows(4))
    (tmp_path / "photos.csv").unlink()
    before = ledger_bytes(tmp_path)
    with pytest.raises(LedgerError, match=r"holds rows of 2 photos, and photos.csv knows none"):
        append_photo(tmp_path, *find_rows(5))
    assert ledger_bytes(tmp_path) == before


def test_appending_reads_no_scores(tmp_path: Path, find_rows, monkeypatch: pytest.MonkeyPatch) -> None:
    """The usual append reads no file whole; a lost cache costs one look at the rest."""
    append_photo(tmp_path, *find_rows(3))
    read: list[str] = []
    real = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda path: read.append(path.name) or real(path))
    append_photo(tmp_path, *find_rows(4))
    assert read == [MARK_FILE.name]
    (tmp_path / MARK_FILE).unlink()
    append_photo(tmp_path, *find_rows(5))
    assert "scores.csv" in read
    read.clear()
    append_photo(tmp_path, *find_rows(6))
    assert read == [MARK_FILE.name]


def test_unwritable_cache_costs_no_photo(tmp_path: Path, find_rows) -> None:
    """Where the cache can't be made, photos are recorded all the same."""
    (tmp_path / "cache").touch()
    assert append_photo(tmp_path, *find_rows(3))
    assert append_photo(tmp_path, *find_rows(4))
    assert len(read_ledger(tmp_path).photos) == 2


WRITER = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from colscan.ledger import append_photo, append_row
from colscan.ledger.columns import EventRow, PhotoRow, ScoreRow

at = datetime(2026, 3, 9, tzinfo=UTC)
for i in range(50):
    same = dict(photo="x.jpg", photo_sha256=f"{sys.argv[2]}f{i}", taken_at=at, method="m", scanned_at=at)
    photo = PhotoRow(taken_at_from="option", width_px=1, height_px=1, bags_found=3, **same)
    scores = [ScoreRow(bag=bag, identified_by="card", **same) for bag in ("a", "b", "c")]
    assert append_photo(Path(sys.argv[1]), photo, scores, ())
    append_row(Path(sys.argv[1]), EventRow(at=at, scope="bag", name=sys.argv[2], what="moved"))
"""


def test_four_processes_lose_nothing(tmp_path: Path) -> None:
    """Four processes that append 50 photos and 50 events each at the same time lose no row."""
    writers = [subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path), str(n)]) for n in range(4)]
    assert [writer.wait(timeout=60) for writer in writers] == [0, 0, 0, 0]
    ledger = read_ledger(tmp_path)
    assert (len(ledger.photos), len(ledger.scores), len(ledger.events)) == (200, 600, 200)
    assert len((tmp_path / "scores.csv").read_bytes().splitlines()) == 601


def test_row_types_know_their_files() -> None:
    """Headers of the scan's three files name different columns first to last (guards a swapped FILE)."""
    heads = {row_type.FILE: format_header(row_type) for row_type in (PhotoRow, ScoreRow, SuspectRow)}
    assert set(heads) == set(FILES)
    assert len(set(heads.values())) == 3
