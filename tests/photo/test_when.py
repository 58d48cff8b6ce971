"""When a photo was taken: EXIF, then its name, then its file, and never a guess in silence."""

import os
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from colscan.errors import PhotoError
from colscan.flags import Flag
from colscan.photo.when import Taken, resolve_taken_at

ZONE = ZoneInfo("America/New_York")
FIRST = datetime(2026, 3, 2, 11, tzinfo=UTC)
NOW = datetime(2026, 4, 1, tzinfo=UTC)
ORIGINAL, OFFSET = 0x9003, 0x9011


def resolve(path: Path, exif: dict[int, object], option: datetime | None = None) -> Taken:
    """The time of a photo of a trial begun on 2 March, looked at on 1 April."""
    return resolve_taken_at(path, exif, zone=ZONE, not_before=FIRST, now=NOW, option=option)


def photo(folder: Path, name: str, changed: datetime = NOW) -> Path:
    """An empty file of a name, last changed at a time."""
    path = folder / name
    path.touch()
    os.utime(path, (changed.timestamp(), changed.timestamp()))
    return path


def test_exif_with_offset(tmp_path: Path) -> None:
    """A time with offset is taken as it stands."""
    taken = resolve(photo(tmp_path, "a.jpg"), {ORIGINAL: "2026:03:09 10:07:20", OFFSET: "+03:00"})
    assert taken == Taken(
        at=datetime(2026, 3, 9, 10, 7, 20, tzinfo=timezone(timedelta(hours=3))), source="exif-offset"
    )


def test_exif_without_offset_takes_the_trials_zone(tmp_path: Path) -> None:
    """Before and after the clocks change, the trial's zone gives the offset of that day, and a flag."""
    winter = resolve(photo(tmp_path, "a.jpg"), {ORIGINAL: "2026:03:07 10:00:00"})
    summer = resolve(photo(tmp_path, "a.jpg"), {ORIGINAL: "2026:03:09 10:00:00"})
    assert (winter.at.isoformat(), summer.at.isoformat()) == (
        "2026-03-07T10:00:00-05:00",
        "2026-03-09T10:00:00-04:00",
    )
    assert winter.flags == (Flag.ZONE_ASSUMED,)
    assert winter.source == "exif-trial-zone"


@pytest.mark.parametrize("stamp", ["0000:00:00 00:00:00", "    :  :     :  :  ", "yesterday", "", None])
def test_an_empty_exif_date_is_none(tmp_path: Path, stamp: object) -> None:
    """A camera that doesn't know the date leaves it to the file's name."""
    taken = resolve(photo(tmp_path, "IMG_20260309_100720.jpg"), {ORIGINAL: stamp})
    assert taken.source == "file-name"


@pytest.mark.parametrize(
    "name",
    [
        "IMG_20260309_100720.jpg",
        "20260309_100720123.jpg",
        "2026-03-09 10.07.20.jpg",
        "shelf 2026-03-09 at 10.07.20.jpeg",
        "2026-03-09T100720-4f0c11aa.jpg",
    ],
)
def test_dates_in_names(tmp_path: Path, name: str) -> None:
    """Names as phones and messengers write them give the time, and a flag."""
    taken = resolve(photo(tmp_path, name), {})
    assert taken.at.isoformat() == "2026-03-09T10:07:20-04:00"
    assert taken.flags == (Flag.TIME_FROM_NAME,)


@pytest.mark.parametrize(
    "name", ["IMG_20261399_996199.jpg", "shelf-3.jpg", "IMG-20260309-0001.jpg", "0123456789.jpg"]
)
def test_names_without_a_time_fall_to_the_file(tmp_path: Path, name: str) -> None:
    """A number that is no date and time is not read as one; the file's time is used, and flagged."""
    changed = datetime(2026, 3, 20, 8, tzinfo=UTC)
    taken = resolve(photo(tmp_path, name, changed), {})
    assert (taken.at, taken.source, taken.flags) == (changed, "file-time", (Flag.TIME_FROM_FILE,))


@pytest.mark.parametrize("changed", [NOW - timedelta(minutes=5), FIRST - timedelta(days=1)])
def test_an_unbelievable_file_time_is_refused(tmp_path: Path, changed: datetime) -> None:
    """A fresh copy, or a file older than the trial, says nothing: the user must."""
    with pytest.raises(PhotoError, match="nothing says when it was taken") as refused:
        resolve(photo(tmp_path, "shelf.jpg", changed), {})
    assert "--taken-at" in refused.value.hint


def test_the_option_wins(tmp_path: Path) -> None:
    """What the user says goes over the photo's own date."""
    said = datetime(2026, 3, 10, 9, tzinfo=ZONE)
    taken = resolve(photo(tmp_path, "IMG_20260309_100720.jpg"), {ORIGINAL: "2026:03:09 10:00:00"}, said)
    assert taken == Taken(at=said, source="option")


@pytest.mark.parametrize(
    ("stamp", "at", "doubtful"),
    [
        ("2026:03:08 01:59:00", "2026-03-08T01:59:00-05:00", False),
        ("2026:03:08 02:30:00", "2026-03-08T02:30:00-05:00", True),
        ("2026:03:08 03:01:00", "2026-03-08T03:01:00-04:00", False),
        ("2025:11:02 00:30:00", "2025-11-02T00:30:00-04:00", False),
        ("2025:11:02 01:30:00", "2025-11-02T01:30:00-04:00", True),
        ("2025:11:02 02:30:00", "2025-11-02T02:30:00-05:00", False),
    ],
)
def test_the_hour_in_which_clocks_change(tmp_path: Path, stamp: str, at: str, doubtful: bool) -> None:
    """A time that the zone has twice or not at all is flagged; those around it have their own offset."""
    taken = resolve(photo(tmp_path, "a.jpg"), {ORIGINAL: stamp})
    assert taken.at.isoformat() == at
    assert taken.flags == ((Flag.ZONE_ASSUMED, Flag.CLOCK_CHANGE) if doubtful else (Flag.ZONE_ASSUMED,))
    said = resolve(photo(tmp_path, "a.jpg"), {ORIGINAL: stamp, OFFSET: "-04:00"})
    assert said.flags == ()


@pytest.mark.parametrize(
    ("name", "at"),
    [
        ("shelf 2026-03-09 at 6.07.20 PM.jpeg", "2026-03-09T18:07:20-04:00"),
        ("shelf 2026-03-09 at 12.07.20 AM.jpeg", "2026-03-09T00:07:20-04:00"),
        ("photo_2026-03-09_10-07-20.jpg", "2026-03-09T10:07:20-04:00"),
        ("PXL_20260309_140720123.jpg", "2026-03-09T14:07:20+00:00"),
    ],
)
def test_names_by_half_days_and_in_utc(tmp_path: Path, name: str, at: str) -> None:
    """Half days are read, and names that are known to be in UTC."""
    taken = resolve(photo(tmp_path, name), {})
    assert taken.at.isoformat() == at
    assert taken.flags == (Flag.TIME_FROM_NAME,)


def test_a_date_in_the_maker_note(tmp_path: Path) -> None:
    """A trail camera's own date is read; another maker's note, a short or impossible one is passed over."""
    note = (
        bytes.fromhex("01f1") + bytes(20) + b"".join(n.to_bytes(2, "little") for n in (5, 7, 10, 3, 9, 2026))
    )
    path = photo(tmp_path, "IMG_20260310_080000.jpg")
    assert resolve(path, {0x927C: note}).at.isoformat() == "2026-03-09T10:07:05-04:00"
    for other in (b"XX" + note[2:], note[:30], note[:28] + b"\x63" + note[29:], "text"):
        assert resolve(path, {0x927C: other}).source == "file-name"


@pytest.mark.parametrize("year", [1, 1899, 2200, 9999])
def test_years_of_another_age_are_no_date(tmp_path: Path, year: int) -> None:
    """A time at the calendar's ends can't be told in another zone; the name counts then."""
    path = photo(tmp_path, "IMG_20260310_080000.jpg")
    stamp = f"{year:04}:01:01 00:00:00"
    assert resolve(path, {ORIGINAL: stamp, OFFSET: "+14:00"}).source == "file-name"
    note = (
        bytes.fromhex("01f1") + bytes(20) + b"".join(n.to_bytes(2, "little") for n in (5, 7, 10, 1, 1, year))
    )
    assert resolve(path, {0x927C: note}).source == "file-name"


def test_a_file_time_that_no_calendar_has(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk may hold the year 60000: it is no help, and no fault."""
    path = photo(tmp_path, "shelf.jpg")
    monkeypatch.setattr(Path, "stat", lambda _: os.stat_result((0,) * 8 + (2_000_000_000_000, 0)))
    with pytest.raises(PhotoError, match="nothing says when it was taken"):
        resolve(path, {})
