"""Time zones: checked by name, told from the system, or from the offsets in a bag list."""

from __future__ import annotations

import contextlib
import difflib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

LOCALTIME = Path("/etc/localtime")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenZone:
    """The zone a trial begins with, and where it is from, in words."""

    name: str
    because: str


def check_zone(name: str) -> str:
    """Return the name of an IANA zone.

    Raises
    ------
    ValueError
        When this machine knows no zone of that name.
    """
    if _is_zone(name):
        return name
    folded = {zone.casefold(): zone for zone in available_timezones()}
    near = difflib.get_close_matches(name.casefold(), folded, n=1)
    guess = f"; did you mean {folded[near[0]]!r}?" if near else ""
    msg = f"{name!r} is not a known time zone like 'America/New_York'{guess}"
    raise ValueError(msg)


def choose_zone(given: str | None, times: Sequence[datetime]) -> ChosenZone:
    """Return the zone a trial begins with: the given one, the system's, the bag list's, or UTC.

    The offsets that the bag list's times carry outweigh a system whose clock shows another one:
    a rented server in UTC says nothing about where the bags stand.

    Parameters
    ----------
    given : str or None
        A zone that `check_zone` accepts.
    times : sequence of datetime
        The bag list's aware times.
    """
    if given is not None:
        return ChosenZone(name=given, because="as given")
    system = system_zone()
    if system and all(t.astimezone(ZoneInfo(system)).utcoffset() == t.utcoffset() for t in times):
        return ChosenZone(name=system, because="this machine's; give --zone for another")
    fixed = _zone_of_offset({t.utcoffset() for t in times})
    if fixed:
        because = "the bag list's offset, without summer time; give --zone with a place's name for that"
        return ChosenZone(name=fixed, because=because)
    if system:
        because = "this machine's, though the bag list carries other offsets; give --zone for another"
        return ChosenZone(name=system, because=because)
    return ChosenZone(name="UTC", because="this machine doesn't say its own; give --zone for another")


def system_zone() -> str | None:
    """Return the IANA name of this machine's zone, from TZ or the link /etc/localtime, or None."""
    from_environment = os.environ.get("TZ", "").removeprefix(":")
    names = [from_environment.rpartition("zoneinfo/")[2]]
    with contextlib.suppress(OSError):  # without a link there the name can't be told
        names.append(str(LOCALTIME.readlink()).rpartition("zoneinfo/")[2])
    return next((name for name in names if name and _is_zone(name)), None)


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _zone_of_offset(offsets: set[timedelta | None]) -> str | None:
    """Return the zone with this one offset all year, or None when there are several or none fits."""
    if len(offsets) != 1:
        return None
    hours = (offsets.pop() or timedelta()) / timedelta(hours=1)
    # The sign is turned round in these names: Etc/GMT+5 is five hours behind UTC.
    name = "UTC" if hours == 0 else f"Etc/GMT{-hours:+.0f}"
    fits = _is_zone(name) and datetime.now(UTC).astimezone(ZoneInfo(name)).utcoffset() == timedelta(
        hours=hours
    )
    return name if fits else None
