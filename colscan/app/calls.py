"""What a person says of a bag or a patch, checked and into the ledger: for the command and for the page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from colscan.errors import TrialError
from colscan.hints import as_typed, suggest_near
from colscan.ledger import Ledger, append_row
from colscan.ledger.columns import VerdictRow
from colscan.trial.model import Bag, Trial


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """The call as written, and the later one on the same bag or patch that still counts, if there is one."""

    row: VerdictRow
    later: VerdictRow | None


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
        What is said; its photo is looked up here.

    Raises
    ------
    TrialError
        When the trial has no such bag, the bag no such patch, or nothing is said that could be withdrawn.
    LedgerError
        When it can't be written.
    """
    known_bag(trial, row.bag)
    if row.patch is not None:
        row = replace(row, photo_sha256=_photo_of_patch(ledger, row.bag, row.patch, when=row.at))
    earlier, later = _other_calls(ledger, row)
    if row.call == "withdrawn" and (earlier is None or earlier.call == "withdrawn"):
        msg = f"Nothing is said of {describe_target(row)} that could be withdrawn."
        folder, bag = as_typed(trial_dir), as_typed(row.bag)
        raise TrialError(msg, f"`colscan history {folder} {bag}` shows what is said of the bag.")
    append_row(trial_dir, row)
    return Recorded(row=row, later=later)


def describe_target(row: VerdictRow) -> str:
    """Return what a call is on, in words."""
    return f"bag {row.bag}, patch {row.patch}" if row.patch else f"bag {row.bag}"


def _photo_of_patch(ledger: Ledger, bag: str, patch: str, *, when: datetime) -> str | None:
    """The newest photo up to a time in which the patch was seen: the one that the verdict is about."""
    sightings = [row for row in ledger.suspects if row.bag == bag]
    names = sorted({row.patch for row in sightings})
    if patch not in names:
        known = f"Its patches: {', '.join(names)}." if names else "No patch of it is recorded."
        msg = f"Bag {bag} has no patch {patch!r}."
        raise TrialError(msg, f"{known} Without a patch, the call is on the whole bag.")
    seen = [row for row in sightings if row.patch == patch and row.taken_at <= when]
    return seen[-1].photo_sha256 if seen else None


def _other_calls(ledger: Ledger, row: VerdictRow) -> tuple[VerdictRow | None, VerdictRow | None]:
    """The call before this one on the same bag or patch, and the one that counts after it."""
    calls = [other for other in ledger.verdicts if (other.bag, other.patch) == (row.bag, row.patch)]
    earlier = [other for other in calls if other.at <= row.at]
    later = [other for other in calls if other.at > row.at]
    return earlier[-1] if earlier else None, later[-1] if later else None
