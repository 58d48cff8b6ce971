"""When something was said to have happened: read, and held against the clock and a bag's day 0."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from colscan import units
from colscan.errors import TrialError
from colscan.trial.model import Bag, Trial
from colscan.units import CLOCKS_DIFFER


def parse_when(text: str | None, zone: ZoneInfo, option: str) -> datetime | None:
    """Return an aware time from an option's text; without an offset it is in the trial's zone.

    Raises
    ------
    TrialError
        When the text is no ISO 8601 time.
    """
    if text is None:
        return None
    try:
        when = units.parse_time(text)
    except ValueError:
        msg = f"{option} {text!r} is not a time."
        raise TrialError(msg, "Write it like 2026-03-09T10:05 or 2026-03-09T10:05:00-05:00.") from None
    return when if when.tzinfo else units.with_offset(when, zone)


def past_time(
    text: str | None, trial: Trial, option: str, *, future_limit: timedelta = CLOCKS_DIFFER
) -> datetime:
    """Return the time that an option or field gives, or now in the trial's zone.

    Parameters
    ----------
    text : str or None
        What was given.
    trial : Trial
        The plan, for its zone.
    option : str
        What the option or field is called.
    future_limit : timedelta
        How far ahead it may be.

    Raises
    ------
    TrialError
        When it is no time, or too far ahead.
    """
    now = units.now().astimezone(trial.zone)
    when = parse_when(text, trial.zone, option) or now
    if when > now + future_limit:
        msg = f"{option} {text} is in the future."
        raise TrialError(msg, f"It is now {now.isoformat()}; check the date.")
    return when


def photo_time(text: str | None, trial: Trial) -> datetime | None:
    """Return when a photo was taken as --taken-at says; None when it isn't given.

    Raises
    ------
    TrialError
        When it is no time, or too far ahead.
    """
    return None if text is None else past_time(text, trial, "--taken-at")


def time_said(
    text: str | None,
    trial: Trial,
    bag: Bag | None,
    option: str = "--at",
    *,
    future_limit: timedelta = CLOCKS_DIFFER,
) -> datetime:
    """Return the time that an option or field gives, or now in the trial's zone.

    Parameters
    ----------
    text : str or None
        What was given.
    trial : Trial
        The plan, for its zone.
    bag : Bag or None
        What is said can't be from before this bag was inoculated.
    option : str
        What the option or field is called.
    future_limit : timedelta
        How far ahead it may be.

    Raises
    ------
    TrialError
        When it is no time, before day 0, or too far ahead.
    """
    when = past_time(text, trial, option, future_limit=future_limit)
    if bag is not None and when < bag.inoculated_at:
        msg = f"{when.isoformat()} is before bag {bag.bag} was inoculated ({bag.inoculated_at.isoformat()})."
        raise TrialError(msg, f"Correct {option}, or inoculated_at in bags.csv.")
    return when
