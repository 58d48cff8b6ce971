"""What a person says of a bag or a patch, checked and into the ledger: for the command and for the page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from pathlib import Path

from colscan.errors import TrialError
from colscan.growth.departure import gone_for_good
from colscan.growth.model import BagRecord
from colscan.growth.patches import standing_discards
from colscan.hints import as_typed, suggest_near
from colscan.ledger import Ledger, append_row
from colscan.ledger.columns import VerdictRow
from colscan.trial.model import Bag, Trial


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """The call as written, and of others on the same bag or patch what still counts.

    `later` is a later call; `discarded` the earlier one by which the bag stays discarded.
    """

    row: VerdictRow
    later: VerdictRow | None
    discarded: VerdictRow | None


def known_bag(trial: Trial, code: str) -> Bag:
    """Return the bag of a code.

    Raises
    ------
    TrialError
        When the trial has none; names the nearest code.
    """
    bag = trial.bag(code)
    if bag is None:
        near = suggest_near(code, [bag.bag for bag in trial.bags])
        msg = f"Bag {code!r} is not in the trial {trial.name}."
        raise TrialError(msg, f"{near}bags.csv has all {len(trial.bags)} codes.")
    return bag


def check_there(record: BagRecord, at: datetime, zone: tzinfo) -> None:
    """Refuse what is said to have happened to a bag after it was discarded or retired.

    Parameters
    ----------
    record : BagRecord
        What stands about the bag.
    at : datetime
        When it is said to have happened.
    zone : tzinfo
        The trial's.

    Raises
    ------
    TrialError
        When the bag was gone by then; says since when.
    """
    gone = gone_for_good(record)
    if gone is None or at <= gone.at:
        return
    bag, when = record.bag.bag, f"{gone.at.astimezone(zone):%Y-%m-%d %H:%M}"
    called = any(call.at == gone.at for call in record.discards)
    undo = "take back the call that says so" if called else "delete that event's line in events.csv"
    msg = f"Bag {bag} was {gone.what} on {when}; nothing is written."
    raise TrialError(
        msg, f"What was before that needs its own time. If the bag is still there, first {undo}."
    )


def record_call(trial_dir: Path, trial: Trial, ledger: Ledger, row: VerdictRow) -> Recorded:
    """Return a call as it was appended to verdicts.csv: one on a patch names the photo it is about.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    row : VerdictRow
        What is said. The photo that was looked at must show the patch; when it isn't named it is the newest
        one up to that time.

    Raises
    ------
    TrialError
        When the trial has no such bag, the bag no such patch, the photo doesn't show it, or nothing is said
        that could be withdrawn.
    LedgerError
        When it can't be written.
    """
    known_bag(trial, row.bag)
    if row.patch is not None:
        row = replace(row, photo_sha256=_photo_of_patch(ledger, row))
    earlier, later = _other_calls(ledger, row)
    if row.call == "withdrawn" and (earlier is None or earlier.call == "withdrawn"):
        msg = f"Nothing is said of {describe_target(row)} that could be withdrawn."
        folder, bag = as_typed(trial_dir), as_typed(row.bag)
        raise TrialError(msg, f"`colscan history {folder} {bag}` shows what is said of the bag.")
    append_row(trial_dir, row)
    said = sorted([*(one for one in ledger.verdicts if one.bag == row.bag), row], key=lambda one: one.at)
    gone = [one for one in standing_discards(said) if one.patch == row.patch and one.action != row.action]
    return Recorded(row=row, later=later, discarded=gone[0] if gone else None)


def describe_target(row: VerdictRow) -> str:
    """Return what a call is on, in words."""
    return f"bag {row.bag}, patch {row.patch}" if row.patch else f"bag {row.bag}"


def describe_call(row: VerdictRow, zone: tzinfo) -> str:
    """Return a call in words: on what, all that was said, by whom, and when in a time zone."""
    said = [row.call, row.action, row.where]
    words = ", ".join(word for word in said if word) + (f" (“{row.note}”)" if row.note else "")
    by = f", by {row.by}" if row.by else ""
    return f"{describe_target(row)}: {words}{by}, {row.at.astimezone(zone):%Y-%m-%d %H:%M}"


def name_call(row: VerdictRow | None) -> str:
    """Return which call on its bag or patch a row is, for a form to say it back; empty for none."""
    return f"{row.call} {row.at.isoformat()}" if row else ""


def check_seen(row: VerdictRow, standing: VerdictRow | None, *, seen: str, zone: tzinfo) -> None:
    """Refuse a call that would end another one that whoever says it hasn't seen.

    Parameters
    ----------
    row : VerdictRow
        What is said. That the same stands meanwhile is no reason to refuse it, but to take it back is.
    standing : VerdictRow or None
        What stands on its bag or patch.
    seen : str
        What stood there when the page was made, by `name_call`.
    zone : tzinfo
        The trial's.

    Raises
    ------
    TrialError
        When another call stands meanwhile; says which.
    """
    if standing is None or name_call(standing) == seen:
        return
    if (row.call, row.action, row.where) == (standing.call, standing.action, standing.where):
        return
    msg = f"Another call stands meanwhile: {describe_call(standing, zone)}. Nothing is written."
    raise TrialError(msg, "Go back, reload the page to see it, and say what is to stand.")


def _photo_of_patch(ledger: Ledger, row: VerdictRow) -> str | None:
    """The photo that a call is about: the one it names, else the newest up to its time with the patch."""
    sightings = [other for other in ledger.suspects if other.bag == row.bag]
    names = sorted({other.patch for other in sightings})
    if row.patch not in names:
        known = f"Its patches: {', '.join(names)}." if names else "No patch of it is recorded."
        msg = f"Bag {row.bag} has no patch {row.patch!r}."
        raise TrialError(msg, f"{known} Without a patch, the call is on the whole bag.")
    seen = [other for other in sightings if other.patch == row.patch]
    if row.photo_sha256 is None:
        until = [other for other in seen if other.taken_at <= row.at]
        return until[-1].photo_sha256 if until else None
    if row.photo_sha256 not in {other.photo_sha256 for other in seen}:
        msg = f"Photo {row.photo_sha256[:8]!r} doesn't show {describe_target(row)}."
        raise TrialError(msg, "Go back, reload the page, and look at the patch once more.")
    return row.photo_sha256


def _other_calls(ledger: Ledger, row: VerdictRow) -> tuple[VerdictRow | None, VerdictRow | None]:
    """The call before this one on the same bag or patch, and the one that counts after it."""
    calls = [other for other in ledger.verdicts if (other.bag, other.patch) == (row.bag, row.patch)]
    earlier = [other for other in calls if other.at <= row.at]
    later = [other for other in calls if other.at > row.at]
    return earlier[-1] if earlier else None, later[-1] if later else None
