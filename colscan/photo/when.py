"""When a photo was taken, and how surely that is known."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from colscan.errors import PhotoError
from colscan.flags import Flag
from colscan.units import with_offset

_ORIGINAL, _OFFSET_ORIGINAL = 0x9003, 0x9011
_DIGITIZED, _OFFSET_DIGITIZED = 0x9004, 0x9012
_STAMP_IN_NAME = re.compile(
    r"(?<!\d)(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)(?:T|_|-| |\.| at )(\d\d)[-_.:h]?(\d\d)[-_.:m]?(\d\d)"
)
# A file newer than this was just copied or downloaded: its time is the copy's, not the photo's.
_FRESH = timedelta(hours=1)
# Two clocks may differ by a zone; a photo dated later than that is from a wrong clock.
_AHEAD = timedelta(days=1)


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

    Raises
    ------
    PhotoError
        When no source gives a believable time.
    """
    said = Taken(at=option, source="option") if option else None
    taken = said or _from_exif(exif, zone) or _from_name(path.name, zone)
    taken = taken or _from_file(path, zone, not_before, now)
    if taken is None:
        why = "no date in the photo or its name, and the file's own time is no help"
        msg = f"{path.name}: nothing says when it was taken ({why})."
        raise PhotoError(
            msg, "Say it with --taken-at, for example --taken-at 2026-03-09T10:05, one photo at a time."
        )
    if taken.at > now + _AHEAD:
        return replace(taken, flags=(*taken.flags, Flag.TIME_AHEAD))
    return taken


def _from_exif(exif: Mapping[int, Any], zone: ZoneInfo) -> Taken | None:
    for stamp_tag, offset_tag in ((_ORIGINAL, _OFFSET_ORIGINAL), (_DIGITIZED, _OFFSET_DIGITIZED)):
        local = _exif_stamp(exif.get(stamp_tag))
        if local is not None:
            aware = _with_offset(local, exif.get(offset_tag))
            if aware is not None:
                return Taken(at=aware, source="exif-offset")
            return Taken(at=with_offset(local, zone), source="exif-trial-zone", flags=(Flag.ZONE_ASSUMED,))
    return None


def _exif_stamp(value: object) -> datetime | None:
    try:
        return datetime.strptime(str(value).strip("\0 ")[:19], "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None


def _with_offset(local: datetime, offset: object) -> datetime | None:
    try:
        zone = datetime.strptime(str(offset).strip("\0 "), "%z").tzinfo
    except ValueError:
        return None
    return local.replace(tzinfo=zone)


def _from_name(name: str, zone: ZoneInfo) -> Taken | None:
    for match in _STAMP_IN_NAME.finditer(name):
        try:
            local = datetime(*(int(part) for part in match.groups()))  # type: ignore[arg-type]
        except ValueError:
            continue
        return Taken(at=with_offset(local, zone), source="file-name", flags=(Flag.TIME_FROM_NAME,))
    return None


def _from_file(path: Path, zone: ZoneInfo, not_before: datetime, now: datetime) -> Taken | None:
    changed = with_offset(datetime.fromtimestamp(int(path.stat().st_mtime), tz=zone), zone)
    if not_before <= changed <= now - _FRESH:
        return Taken(at=changed, source="file-time", flags=(Flag.TIME_FROM_FILE,))
    return None
