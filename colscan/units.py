"""Units at the borders: fractions inside, percent in files and on screens; aware times everywhere."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

HOURS_PER_DAY = 24.0
BASELINE_HOURS = 36.0
_SHA256 = re.compile("[0-9a-fA-F]+")
YEARS = range(1900, 2200)
"""Those of a trial. A time beyond is a slip, and at the calendar's ends none can be told in another zone."""
CLOCKS_DIFFER = timedelta(days=1)
"""Clocks and zones of two devices may disagree by hours; one further ahead is a slip, or a wrong clock's."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def count_of(number: int, noun: str, many: str | None = None) -> str:
    """Return a number with its noun, which takes an s unless `many` says otherwise.

    >>> count_of(1, "mix", "mixes"), count_of(0, "bag")
    ('1 mix', '0 bags')
    """
    return f"{number} {noun if number == 1 else many or noun + 's'}"


def to_pct(fraction: float | None) -> float | None:
    """Percent of a fraction, None staying None.

    >>> to_pct(0.25)
    25.0
    """
    return None if fraction is None else 100.0 * fraction


def show_interval(pct: float | None, low_pct: float | None, high_pct: float | None) -> str:
    """A coverage with its interval as on screens, in percent; nothing for one that isn't known.

    >>> show_interval(62.0, 57.2, 67.9), show_interval(7.0, None, None)
    (' 62 (57-68)', '  7')
    """
    if pct is None:
        return ""
    interval = "" if low_pct is None or high_pct is None else f" ({low_pct:.0f}-{high_pct:.0f})"
    return f"{pct:3.0f}{interval}"


def to_fraction(percent: float | None) -> float | None:
    """Fraction of a percentage, None staying None.

    >>> to_fraction(25.0)
    0.25
    """
    return None if percent is None else percent / 100.0


def to_celsius(fahrenheit: float) -> float:
    """Degrees Celsius of degrees Fahrenheit.

    >>> to_celsius(212.0)
    100.0
    """
    return (fahrenheit - 32.0) / 1.8


def to_fahrenheit(celsius: float) -> float:
    """Degrees Fahrenheit of degrees Celsius.

    >>> to_fahrenheit(100.0)
    212.0
    """
    return 1.8 * celsius + 32.0


def days_between(start: datetime, end: datetime) -> float:
    """Elapsed days (hours / 24) from one aware time to another.

    >>> days_between(datetime(2026, 3, 2, 6, tzinfo=UTC), datetime(2026, 3, 3, 18, tzinfo=UTC))
    1.5
    """
    # In UTC: Python subtracts two times of one zone by the clock, an hour off where clocks changed between.
    elapsed = end.astimezone(UTC) - start.astimezone(UTC)
    return elapsed.total_seconds() / 3600.0 / HOURS_PER_DAY


def days_since(start: datetime, microseconds: NDArray[np.int64]) -> NDArray[np.float64]:
    """Elapsed days (hours / 24) from an aware time to times in microseconds since 1970.

    >>> import numpy as np
    >>> days_since(datetime(1970, 1, 2, tzinfo=UTC), np.array([0, 129_600_000_000])).tolist()
    [-1.0, 0.5]
    """
    elapsed: NDArray[np.float64] = (microseconds - in_microseconds(start)) / 1e6 / 3600.0 / HOURS_PER_DAY
    return elapsed


def in_microseconds(time: datetime) -> int:
    """An aware time as microseconds since 1970.

    >>> in_microseconds(datetime(1970, 1, 1, 1, tzinfo=UTC))
    3600000000
    """
    return (time - _EPOCH) // timedelta(microseconds=1)


def at_microseconds(microseconds: int) -> datetime:
    """A time in microseconds since 1970 as aware time, UTC.

    >>> at_microseconds(3_600_000_000).isoformat()
    '1970-01-01T01:00:00+00:00'
    """
    return _EPOCH + timedelta(microseconds=microseconds)


def with_offset(local: datetime, zone: tzinfo) -> datetime:
    """A local time with the offset that its zone had then, fixed.

    Python subtracts two times of one zone by their clocks' hands, and so loses the hour of a change to
    summer time; with plain offsets it doesn't.

    >>> from zoneinfo import ZoneInfo
    >>> with_offset(datetime(2026, 3, 9, 10), ZoneInfo("America/New_York")).isoformat()
    '2026-03-09T10:00:00-04:00'
    """
    return local.replace(tzinfo=timezone(local.replace(tzinfo=zone).utcoffset() or timedelta()))


def parse_time(text: str) -> datetime:
    """The time of an ISO 8601 text, aware when it has an offset.

    Raises
    ------
    ValueError
        When it is none, or of another age.
    """
    when = datetime.fromisoformat(text)
    if when.year in YEARS:
        return when
    msg = f"the year {when.year} is not from {YEARS[0]} to {YEARS[-1]}"
    raise ValueError(msg)


def parse_sha256(text: str) -> str:
    """The letters of a SHA-256, or its first ones: part of files' names, so nothing that leads elsewhere.

    Raises
    ------
    ValueError
        When anything else is among them.
    """
    if _SHA256.fullmatch(text):
        return text
    msg = f"{text!r} is no SHA-256"
    raise ValueError(msg)


def now() -> datetime:
    """The current time, UTC, whole seconds."""
    return datetime.now(UTC).replace(microsecond=0)
