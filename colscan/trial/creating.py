"""A new trial's folder from a layout or from a grower's bag list; checked before it is written."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from colscan.errors import LedgerError, TrialError
from colscan.hints import as_typed
from colscan.tables import format_header, format_rows
from colscan.trial.baglist import (
    CompletedList,
    complete_list,
    derive_strains,
    derive_treatments,
    parse_bags,
    read_aware_times,
)
from colscan.trial.keys import parse_time
from colscan.trial.layout import FIRST_TAG, Layout, lay_out_bags
from colscan.trial.model import PLAN_FILE, Bag, Trial
from colscan.trial.problems import read_plan_file
from colscan.trial.reading import parse_plan
from colscan.trial.siblings import LiveTag, find_live_tags
from colscan.trial.writing import format_plan, write_files
from colscan.trial.zones import ChosenZone, check_zone, choose_zone
from colscan.units import now


@dataclass(frozen=True, slots=True, kw_only=True)
class NewTrial:
    """A trial that was just made, and what was assumed for it.

    Parameters
    ----------
    trial : Trial
        As `load_trial` gives it.
    notes : tuple of str
        What the grower should know: the zone taken, times completed, tags passed over.
    """

    trial: Trial
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Draft:
    """bags.csv to be: its bytes, the name that messages give it, and what was assumed."""

    raw: bytes
    source: str
    notes: tuple[str, ...] = ()
    example: bool = False
    is_there: bool = False


def create_trial(
    folder: Path,
    bags: Layout | Path,
    *,
    name: str | None = None,
    time_zone: str | None = None,
    base: str | None = None,
) -> NewTrial:
    """Return the trial made in a folder: its trial.toml and bags.csv.

    Files that are there already are never touched. A bags.csv in the folder is refused, unless it is
    itself the list to begin from: then it stays as it is, and only trial.toml is added.

    Parameters
    ----------
    folder : Path
        Where the trial goes; made if need be.
    bags : Layout or Path
        What to lay out, or a CSV file with the columns of bags.csv. Its further columns, its order
        and its blank lines are kept; times without an offset are taken in the trial's zone.
    name : str or None
        The trial's name; None for the folder's.
    time_zone : str or None
        IANA name; None for this machine's, the bag list's, or UTC.
    base : str or None
        What the levels are percentages of; None for the main substrate as weighed.

    Raises
    ------
    TrialError
        When the folder holds a trial, or the bags or options are wrong. Nothing is written then.
    LedgerError
        When the folder can't be written to. Nothing is left behind then.
    """
    own_list = check_place(folder, bags)
    live = find_live_tags(folder)
    zone = _choose_zone(time_zone, bags)
    if isinstance(bags, Path):
        draft = _draft_from_list(bags, ZoneInfo(zone.name), is_there=own_list)
    else:
        draft = _draft_from_layout(bags, ZoneInfo(zone.name), live)
    rows = parse_bags(draft.raw, draft.source, plan=None)
    shared = check_siblings(rows, live)
    plan = Trial(
        name=choose_name(name, folder),
        time_zone=zone.name,
        strains=derive_strains(rows),
        treatments=derive_treatments(rows, base=base),
    )
    text = format_plan(plan, example=draft.example).encode("utf-8")
    # Read back before it is written: what load_trial would refuse must not come about.
    plan = parse_plan(text, PLAN_FILE)
    trial = dataclasses.replace(plan, bags=parse_bags(draft.raw, draft.source, plan=plan))
    # trial.toml comes last: with it the folder is a trial.
    write_files(folder, ({} if draft.is_there else {Bag.FILE: draft.raw}) | {PLAN_FILE: text})
    return NewTrial(trial=trial, notes=(f"time zone: {zone.name} ({zone.because})", *draft.notes, *shared))


def check_place(folder: Path, bags: Layout | Path) -> bool:
    """Return whether the bag list is the bags.csv that stands in the folder; refuse what is in the way."""
    own = folder / Bag.FILE
    try:
        is_file = folder.exists() and not folder.is_dir()
        holds_trial, holds_bags = (folder / PLAN_FILE).exists(), own.exists()
        is_own = holds_bags and isinstance(bags, Path) and bags.exists() and own.samefile(bags)
    except OSError as error:
        msg = f"{folder}: can't be looked into ({error.strerror})"
        raise LedgerError(msg, "Check its permissions.") from error
    if is_file:
        msg = f"{folder} is a file"
        raise TrialError(msg, "Give the name of a folder for the trial.")
    if holds_trial:
        msg = f"{folder} holds a trial already ({folder / PLAN_FILE})"
        raise TrialError(msg, "Change that file in an editor, or give another folder.")
    if holds_bags and not is_own:
        msg = f"{own} is there already, and is never overwritten"
        raise TrialError(msg, f"Begin from it with --bags {as_typed(own)}, or give another folder.")
    return is_own


def choose_name(name: str | None, folder: Path) -> str:
    """Return the trial's name: the given one, or the folder's; a blank one is refused (`TrialError`)."""
    if name is None:
        return folder.resolve().name
    if not name.strip():
        msg = "--name is blank"
        raise TrialError(msg, "Write a name, or leave --name out: the folder's name serves.")
    return name


def checked_zone(name: str) -> str:
    """Return the name of a zone that an option gave; one that is not known is refused (`TrialError`)."""
    try:
        return check_zone(name)
    except ValueError as error:
        msg = f"--zone {error}"
        raise TrialError(msg, "Write an IANA name: continent or ocean, slash, city.") from None


def _choose_zone(given: str | None, bags: Layout | Path) -> ChosenZone:
    zone = None if given is None else checked_zone(given)
    return choose_zone(zone, read_aware_times(read_plan_file(bags)) if isinstance(bags, Path) else ())


def format_files(trial: Trial) -> tuple[Trial, dict[str, bytes]]:
    """Return a trial as it will be read, and its files by name; trial.toml comes last and makes it one.

    Raises
    ------
    TrialError
        When `load_trial` would refuse it.
    """
    text, rows = format_plan(trial, example=False).encode(), format_header(Bag) + format_rows(trial.bags)
    plan = parse_plan(text, PLAN_FILE)
    read = dataclasses.replace(plan, bags=parse_bags(rows, Bag.FILE, plan=plan))
    return read, {Bag.FILE: rows, PLAN_FILE: text}


def _draft_from_list(path: Path, zone: ZoneInfo, *, is_there: bool) -> _Draft:
    raw = read_plan_file(path)
    completed = complete_list(raw, zone)
    if is_there:
        _check_complete(completed, path)
        return _Draft(raw=raw, source=str(path), is_there=True)
    notes = []
    if completed.zoned:
        notes.append(f"{_count_times(completed.zoned)} had no offset from UTC: taken in {zone.key}")
    if completed.dated:
        notes.append(f"{completed.dated} of them had no time of day: taken as 00:00; correct it in bags.csv")
    return _Draft(raw=completed.raw, source=str(path), notes=tuple(notes))


def _check_complete(completed: CompletedList, path: Path) -> None:
    """Refuse a list in the trial's own folder, which is never written to, if it needs completing."""
    if not completed.zoned:
        return
    msg = (
        f"{path}: {_count_times(completed.zoned)} without an offset from UTC, and a list in the trial's"
        " own folder stays as it is"
    )
    hint = "Move the list elsewhere and begin from it there, where offsets are filled in; or add them, like "
    raise TrialError(msg, hint + "2026-03-02T06:00:00-05:00.")


def _count_times(number: int) -> str:
    return "1 inoculation time" if number == 1 else f"{number} inoculation times"


def _draft_from_layout(layout: Layout, zone: ZoneInfo, live: Sequence[LiveTag]) -> _Draft:
    taken = {tag.tag for tag in live}
    inoculated_at = read_inoculated_at(layout.inoculated_at, zone)
    bags = lay_out_bags(layout, inoculated_at, taken=taken)
    notes = []
    if layout.is_example:
        notes.append(f"strains and bags are an example: change them to yours, in {PLAN_FILE} and {Bag.FILE}")
    if layout.inoculated_at is None:
        notes.append(f"inoculated_at: {inoculated_at.isoformat()} (today; put the hour into bags.csv)")
    passed_over = taken & set(range(FIRST_TAG, max(bag.tag or 0 for bag in bags)))
    if layout.first_tag is None and passed_over:
        were = "was" if len(passed_over) == 1 else "were"
        notes.append(f"tags: {len(passed_over)} in use in the trials beside this one {were} passed over")
    raw = format_header(Bag) + format_rows(bags)
    return _Draft(raw=raw, source=Bag.FILE, notes=tuple(notes), example=layout.is_example)


def read_inoculated_at(text: str | None, zone: ZoneInfo) -> datetime:
    """Return day 0 as it was given, or today's beginning; what is no time is refused (`TrialError`)."""
    if text is None:
        # The day's beginning, not this moment: photos taken earlier today must not precede day 0.
        return now().astimezone(zone).replace(hour=0, minute=0, second=0)
    try:
        return parse_time(text, zone)
    except ValueError as error:
        msg = f"--inoculated-at {error}"
        raise TrialError(msg, "Write it like 2026-03-02T06:00 or 2026-03-02T06:00:00-05:00.") from None


def check_siblings(bags: Sequence[Bag], live: Sequence[LiveTag]) -> tuple[str, ...]:
    """Return what to say of bags that a sibling lists too; a tag on another bag there is refused.

    The same code, tag and day 0 in both is one bag in two trials, e.g. begun anew under other
    limits: its tag still means that one bag.
    """
    by_tag = {bag.tag: bag for bag in bags}
    both = [(by_tag[other.tag], other) for other in live if other.tag in by_tag]
    clashes = [
        (b, other) for b, other in both if (b.bag, b.inoculated_at) != (other.bag, other.inoculated_at)
    ]
    if clashes:
        bag, other = clashes[0]
        others = len({in_use.tag for _, in_use in clashes}) - 1  # a tag may be in use in several trials
        more = f" (and {others} more tag{'s' if others > 1 else ''} like it)" if others else ""
        msg = f"tag {other.tag} of bag {bag.bag} is in use on {other}{more}"
        hint = f"Use other cards, or set ended_at in {other.folder / PLAN_FILE} if that trial is over."
        raise TrialError(msg, hint)
    trials = sorted({other.trial for _, other in both})
    return (f"the same bags stand in: {', '.join(trials)} (same code, tag and day 0)",) if both else ()
