"""When a photo was taken, and how surely that is known."""

from __future__ import annotations

import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from colscan.errors import UndatedError
from colscan.flags import Flag
from colscan.units import CLOCKS_DIFFER, YEARS, with_offset

_ORIGINAL, _OFFSET_ORIGINAL = 0x9003, 0x9011
_DIGITIZED, _OFFSET_DIGITIZED = 0x9004, 0x9012
_STAMP_IN_NAME = re.compile(
    r"(?<!\d)(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)(?:T|_|-| |\.| at )(\d\d|(?<=at )\d)[-_.:h]?(\d\d)[-_.:m]?(\d\d)"
    r"(?:\s?([AP])\.?M\b)?",
    re.IGNORECASE,
)
# Some phones write UTC into their photos' names, and say so by how these begin.
_UTC_NAMES = ("PXL_",)
# Trail cameras, as used for time series, leave the date out of EXIF and keep it in their maker note: one
# that begins with this number has it as second, minute, hour, month, day, year in 16-bit numbers from byte
# 22 on (layout as in ExifTool's tables of such notes).
_MAKER_NOTE, _DATED_NOTE, _NOTE_DATE = 0x927C, 0xF101, struct.Struct("<22x6H")
# A file newer than this was just copied or downloaded: its time is the copy's, not the photo's.
_FRESH = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """When a photo was taken and where that time is from."""

    at: datetime
    source: str
    flags: tuple[Flag, ...] = ()


def resolve_taken_at(
    path: Path,
    exif: Mapping[int, Any],
    *,
    zone: ZoneInfo,
    not_before: datetime,
    now: datetime,
    option: datetime | None,
    name: str | None = None,
) -> Taken:
    """When a photo was taken: the option, else EXIF, else the file's name, else the file's time.

    Parameters
    ----------
    path : Path
        The photo.
    exif : mapping
        Its Exif sub-directory, by tag number.
    zone : ZoneInfo
        The trial's zone, for times without an offset.
    not_before : datetime
        The trial's first inoculation; an older file time is not believed.
    now : datetime
        The present; a file time within the last hour is that of a copy.
    option : datetime or None
        What the user said.
    name : str, optional
        What the photo was called where it is from; without it, as the file is called.

    Raises
    ------
    UndatedError
        When no source gives a believable time.
    """
    name = name or path.name
    said = Taken(at=option, source="option") if option else None
    taken = said or _from_exif(exif, zone) or _from_maker_note(exif, zone) or _from_name(name, zone)
    taken = taken or _from_file(path, zone, not_before, now)
    if taken is None:
        why = "no date in the photo or its name, and the file's own time is no help"
        msg = f"{name}: nothing says when it was taken ({why})."
        raise UndatedError(
            msg, "Say it with --taken-at, for example --taken-at 2026-03-09T10:05, one photo at a time."
        )
    if taken.at > now + CLOCKS_DIFFER:
        return replace(taken, flags=(*taken.flags, Flag.TIME_AHEAD))
    return taken


def _from_exif(exif: Mapping[int, Any], zone: ZoneInfo) -> Taken | None:
    for stamp_tag, offset_tag in ((_ORIGINAL, _OFFSET_ORIGINAL), (_DIGITIZED, _OFFSET_DIGITIZED)):
        local = _exif_stamp(exif.get(stamp_tag))
        if local is not None:
            aware = _with_offset(local, exif.get(offset_tag))
            if aware is not None:
                return Taken(at=aware, source="exif-offset")
            return _in_zone(local, zone, source="exif-trial-zone", flag=Flag.ZONE_ASSUMED)
    return None


def _from_maker_note(exif: Mapping[int, Any], zone: ZoneInfo) -> Taken | None:
    note = exif.get(_MAKER_NOTE)
    if not isinstance(note, bytes) or len(note) < _NOTE_DATE.size:
        return None
    if int.from_bytes(note[:2], "little") != _DATED_NOTE:
        return None
    second, minute, hour, month, day, year = _NOTE_DATE.unpack_from(note)
    try:
        local = datetime(year, month, day, hour, minute, second)
    except ValueError:
        return None
    if year not in YEARS:
        return None
    return _in_zone(local, zone, source="exif-trial-zone", flag=Flag.ZONE_ASSUMED)


def _in_zone(local: datetime, zone: ZoneInfo, *, source: str, flag: Flag) -> Taken:
    """A clock's time in a zone; flagged where the clocks change and it comes twice or not at all."""
    sure = local.replace(tzinfo=zone, fold=0).utcoffset() == local.replace(tzinfo=zone, fold=1).utcoffset()
    return Taken(
        at=with_offset(local, zone), source=source, flags=(flag,) if sure else (flag, Flag.CLOCK_CHANGE)
    )


def _exif_stamp(value: object) -> datetime | None:
    try:
        stamp = datetime.strptime(str(value).strip("\0 ")[:19], "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    return stamp if stamp.year in YEARS else None


def _with_offset(local: datetime, offset: object) -> datetime | None:
    try:
        zone = datetime.strptime(str(offset).strip("\0 "), "%z").tzinfo
    except ValueError:
        return None
    return local.replace(tzinfo=zone)


def _from_name(name: str, zone: ZoneInfo) -> Taken | None:
    for match in _STAMP_IN_NAME.finditer(name):
        *parts, half = match.groups()
        year, month, day, hour, minute, second = map(int, parts)
        if half:
            hour = hour % 12 + (12 if half in "Pp" else 0)
        try:
            local = datetime(year, month, day, hour, minute, second)
        except ValueError:
            continue
        written_in = ZoneInfo("UTC") if name.startswith(_UTC_NAMES) else zone
        return _in_zone(local, written_in, source="file-name", flag=Flag.TIME_FROM_NAME)
    return None


def _from_file(path: Path, zone: ZoneInfo, not_before: datetime, now: datetime) -> Taken | None:
    try:
        changed = with_offset(datetime.fromtimestamp(int(path.stat().st_mtime), tz=zone), zone)
    except (OSError, ValueError, OverflowError):  # some disks hold times that no calendar has
        return None
    if not_before <= changed <= now - _FRESH:
        return Taken(at=changed, source="file-time", flags=(Flag.TIME_FROM_FILE,))
    return None
