"""A trial as it is wished for, drawn for a folder and said in words: for the command and for the page."""

from __future__ import annotations

import secrets
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from colscan.errors import LedgerError, TrialError
from colscan.trial.layout import EXAMPLE_SUPPLEMENT
from colscan.trial.model import LAST_BAG_TAG, PLAN_FILE, Bag, Shelf
from colscan.units import count_of

if TYPE_CHECKING:
    from colscan.trial import NewTrial

# Short enough to type again from a note.
_SEEDS = 1_000_000
_MOST = LAST_BAG_TAG + 1
RANGES: dict[str, tuple[int, int]] = {
    "replicates": (1, _MOST),
    "first_tag": (0, LAST_BAG_TAG),
    "heat_runs": (1, 99),
    "vessel": (1, _MOST),
    "blanks": (0, 2),
    "mix_capacity": (1, _MOST),
    "tiers": (1, 100),
}
"""Least and most of each whole number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What somebody wants to plan: the options of `colscan plan`, or the fields of the page.

    Parameters
    ----------
    strains : tuple of str
        Codes.
    levels_pct : tuple of float
        Levels in percent; empty only without a supplement.
    replicates : int
        Bags of each strain at each level.
    vessel : int or None
        Bags that one heat run holds.
    accept_pct : float or None
        Share of bags that may be lost.
    seed : int or None
        Of the draw; None draws one.
    name, zone, question, base, supplement, inoculated_at, first_tag, heat_runs, blanks, mix_capacity
        As in `About`, `Layout` and `Scheme`; `heat_runs` None for two, or as many as the vessel needs.
    shelves, spawn_lots
        As in `Scheme`.
    """

    strains: tuple[str, ...]
    replicates: int
    levels_pct: tuple[float, ...] = ()
    supplement: str = EXAMPLE_SUPPLEMENT
    base: str | None = None
    name: str | None = None
    zone: str | None = None
    question: str | None = None
    accept_pct: float | None = None
    inoculated_at: str | None = None
    first_tag: int | None = None
    heat_runs: int | None = None
    vessel: int | None = None
    blanks: int = 0
    mix_capacity: int | None = None
    shelves: tuple[Shelf, ...] = ()
    spawn_lots: tuple[tuple[str, str], ...] = ()
    seed: int | None = None


def new_seed() -> int:
    """Return a seed that nobody chose."""
    return secrets.randbelow(_SEEDS)


def draw_wishes(folder: Path, wishes: Wishes) -> NewTrial:
    """Return the trial that is wished for, drawn for a folder; writes nothing.

    Parameters
    ----------
    folder : Path
        Where it will go.
    wishes : Wishes
        What is wanted.

    Raises
    ------
    TrialError
        When something in it can't be, or the folder holds records.
    LedgerError
        When the folder's records can't be read.
    """
    from colscan.trial import About, Layout, Scheme, draw_plan

    if not wishes.strains:
        msg = "no --strain is given"
        raise TrialError(msg, "Give a code such as PO-3.")
    if not wishes.levels_pct and wishes.supplement != "none":
        msg = "no --level is given"
        raise TrialError(msg, "Give each level in percent, or --supplement none.")
    refuse_recorded(folder)
    layout = Layout(
        strains=wishes.strains,
        supplement=wishes.supplement,
        levels_pct=wishes.levels_pct or (0.0,),
        replicates=wishes.replicates,
        inoculated_at=wishes.inoculated_at,
        first_tag=wishes.first_tag,
    )
    bags = len(layout.strains) * len(layout.levels_pct) * layout.replicates
    scheme = Scheme(
        seed=new_seed() if wishes.seed is None else wishes.seed,
        heat_runs=_choose_runs(bags, wishes),
        blanks_per_run=wishes.blanks,
        mix_capacity=wishes.mix_capacity,
        shelves=wishes.shelves,
        spawn_lots=wishes.spawn_lots,
    )
    about = About(
        name=wishes.name,
        time_zone=wishes.zone,
        question=wishes.question,
        base=wishes.base,
        contamination_risk=_to_risk(wishes.accept_pct),
    )
    return draw_plan(folder, layout, scheme, about)


def refuse_recorded(folder: Path) -> None:
    """Refuse a folder whose ledger holds anything: it is about the bags as they are (`TrialError`)."""
    from colscan.ledger import read_ledger

    if not folder.is_dir():
        return
    ledger = read_ledger(folder)
    for what in (
        "scores", "photos", "verdicts", "events", "harvests", "batches", "heat_runs", "temperatures",
        "estimates",
    ):  # fmt: skip
        if rows := getattr(ledger, what):
            msg = f"{folder} holds a trial with records ({what}: {len(rows)}): its plan stays as it is"
            raise TrialError(msg, "Plan the next trial in a folder of its own.")


def holds_trial(folder: Path) -> bool:
    """Return whether a folder holds a trial; False where one can be begun, there or not there yet.

    Parameters
    ----------
    folder : Path
        A trial's folder; or one with other files, which stay as they are.

    Raises
    ------
    TrialError
        When neither can be: a file, a farm, a folder with the bag list or the records of a lost plan.
    LedgerError
        When it can't be looked into.
    """
    from colscan.trial import check_free, find_trials

    try:
        if (folder / PLAN_FILE).exists():
            return True
        check_free(folder)
    except OSError as error:
        msg = f"{folder}: can't be looked into ({error.strerror})"
        raise LedgerError(msg, "Check its permissions.") from error
    if trials := find_trials(folder):
        names = ", ".join(path.name for path in trials)
        msg = f"{folder} is no trial, but holds some: {names}"
        raise TrialError(msg, f"Give one of them, like {trials[0]}; or a new name for another one.")
    refuse_recorded(folder)
    return False


def say_plan(made: NewTrial) -> tuple[str, ...]:
    """Return what was drawn: a line for each heat run with its mixes in their order, one for each tier."""
    bags = made.trial.bags
    return (*_say_runs(bags), *_say_tiers(bags))


def count_bags(made: NewTrial) -> str:
    """Return how many bags there are, and how many of them are blanks."""
    bags = made.trial.bags
    return f"{count_of(len(bags), 'bag')}, {sum(bag.role == 'blank' for bag in bags)} of them blanks"


def _choose_runs(bags: int, wishes: Wishes) -> int:
    """Return the number of heat runs: as asked, or two, or as many as the vessel needs."""
    runs, capacity, blanks = wishes.heat_runs, wishes.vessel, wishes.blanks
    if capacity is None:
        chosen = runs or 2
    else:
        if capacity <= blanks:
            msg = f"--vessel {capacity} leaves no room beside {blanks} blanks"
            raise TrialError(msg, "Leave --blanks out, or give the bags that one heat run holds.")
        needed = -(-bags // (capacity - blanks))
        if runs and runs < needed:
            msg = f"{bags} bags need {needed} heat runs of {capacity}, blanks included; --heat-runs is {runs}"
            raise TrialError(msg, "Give more heat runs, or plan fewer bags.")
        chosen = runs or max(2, needed)
    return min(chosen, bags)


def _to_risk(accept_pct: float | None) -> float | None:
    if accept_pct is None:
        return None
    if not 0.1 <= accept_pct <= 99.9:
        msg = f"--accept {accept_pct:g} is no share of bags from 0.1 to 99.9 %"
        raise TrialError(msg, "Write it in percent, like 20 for one bag in five.")
    return round(accept_pct / 100, 6)


def _say_runs(bags: tuple[Bag, ...]) -> list[str]:
    lines = []
    for run in dict.fromkeys(bag.heat_run for bag in bags):
        own = [bag for bag in bags if bag.heat_run == run]
        mixes = Counter((bag.mix_batch or "", bag.treatment) for bag in own)
        said = ", ".join(f"{mix} {treatment} x {count}" for (mix, treatment), count in sorted(mixes.items()))
        lines.append(f"heat run {run}: {count_of(len(own), 'bag')} ({said})")
    return lines


def _say_tiers(bags: tuple[Bag, ...]) -> list[str]:
    groups = {bag.group for bag in bags if bag.group is not None}
    lines = []
    for group in sorted(groups, key=lambda name: int(name[1:])):
        own = [bag for bag in bags if bag.group == group]
        tier = (own[0].position or "").rpartition(" place ")[0]
        kinds = Counter(bag.treatment if bag.role == "trial" else "blank" for bag in own)
        said = ", ".join(f"{kind} x {count}" for kind, count in sorted(kinds.items()))
        lines.append(f"{own[0].shelf}, {tier}: {count_of(len(own), 'bag')} ({said})")
    return lines
