"""What surrounds a lost bag: its neighbours, the bags it shares a batch with, and what losses share."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

import numpy as np

from colscan.errors import TrialError
from colscan.growth.judge import judge_bags
from colscan.growth.model import BagRecord, BagStatus
from colscan.growth.records import records_of
from colscan.growth.risk.followed import Fate, FollowedBag, follow
from colscan.growth.risk.model import LossSource
from colscan.growth.risk.sources import SHARED, SHARED_BATCH, chance_of_gathering, find_sources
from colscan.ledger import Ledger
from colscan.ledger.columns import ScoreRow
from colscan.trial.model import Bag, Trial
from colscan.trial.shelfplan import plan_shelves

PATTERN_CHANCE = 0.10
"""A pattern is stated when chance alone would show one, in any of what is looked at, less often than this.

It asks for a look at other bags, which costs little; a bad heat run that goes unseen costs the next one.
"""
SIDES = ("left", "right", "above", "below")


class PlacedBy(StrEnum):
    """What tells who stands beside whom."""

    PLAN = "the plan"
    PHOTO = "the latest photo"


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """The bag next to another on one side (`left`, `right`, `above`, `below`), as seen from the front."""

    side: str
    status: BagStatus


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """The other bags of a heat run, mix or spawn lot.

    Parameters
    ----------
    kind, name : str
        `heat run`, `mix` or `spawn lot`, and which.
    statuses : tuple of BagStatus
        Its other bags, in the plan's order.
    """

    kind: str
    name: str
    statuses: tuple[BagStatus, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What surrounds a lost bag.

    Parameters
    ----------
    bag : str
        Its code.
    placed_by : PlacedBy or None
        What tells its neighbours; None where nothing does.
    neighbours : tuple of Neighbour
        At most one on each side.
    batches : tuple of Batch
        What it shares with others; those that bags.csv names.
    losses : int
        Bags of the trial that were lost, this one included.
    pattern : str
        What the losses share, or that nothing stands out; a sentence or more.
    """

    bag: str
    placed_by: PlacedBy | None
    neighbours: tuple[Neighbour, ...]
    batches: tuple[Batch, ...]
    losses: int
    pattern: str


def surroundings(trial: Trial, ledger: Ledger, bag: str, now: datetime) -> Surroundings:
    """Return what surrounds a bag that is, or is to be, called contaminated.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    bag : str
        The bag's code; it counts as lost, whether the ledger has the verdict yet or not.
    now : datetime
        Today, aware: what the other bags' states depend on.

    Raises
    ------
    TrialError
        When the trial has no such bag.
    """
    own = trial.bag(bag)
    if own is None:
        msg = f"There is no bag {bag!r} in the trial {trial.name}."
        raise TrialError(msg, "Its bags stand in bags.csv.")
    statuses = {status.bag: status for status in judge_bags(trial, ledger, now)}
    placed_by, beside = _find_neighbours(trial, ledger, own)
    fates = _fates(trial, ledger, bag)
    return Surroundings(
        bag=bag,
        placed_by=placed_by,
        neighbours=tuple(
            Neighbour(side=side, status=statuses[beside[side]]) for side in SIDES if side in beside
        ),
        batches=_batches(trial, own, statuses),
        losses=sum(one.fate is Fate.LOST for one in fates),
        pattern=_say_pattern(fates, own),
    )


def _batches(trial: Trial, own: Bag, statuses: Mapping[str, BagStatus]) -> tuple[Batch, ...]:
    batches = []
    for kind, field in SHARED_BATCH:
        if name := getattr(own, field):
            others = [bag.bag for bag in trial.bags if getattr(bag, field) == name and bag.bag != own.bag]
            batches.append(Batch(kind=kind, name=name, statuses=tuple(statuses[code] for code in others)))
    return tuple(batches)


def _find_neighbours(trial: Trial, ledger: Ledger, own: Bag) -> tuple[PlacedBy | None, dict[str, str]]:
    """Return what tells the neighbours, and their codes by side."""
    records = {record.bag.bag: record for record in records_of(trial, ledger)}
    if not _was_moved(records[own.bag]):
        planned = _neighbours_by_plan(trial, own, moved={c for c, r in records.items() if _was_moved(r)})
        if planned is not None:
            return PlacedBy.PLAN, planned
    latest = next((row for row in reversed(records[own.bag].scores) if row.outline), None)
    if latest is None or _was_moved(records[own.bag], since=latest.taken_at):
        return None, {}
    others = [
        row
        for row in ledger.scores
        if row.photo_sha256 == latest.photo_sha256
        and row.outline
        and row.bag in records
        and not _was_moved(records[row.bag], since=row.taken_at)
    ]
    return PlacedBy.PHOTO, _neighbours_in_photo(latest, others)


def _was_moved(record: BagRecord, *, since: datetime | None = None) -> bool:
    return any(
        event.what == "moved" and event.scope == "bag" and (since is None or event.at >= since)
        for event in record.events
    )


def _neighbours_by_plan(trial: Trial, own: Bag, *, moved: set[str]) -> dict[str, str] | None:
    """Return the nearest bag each way, beyond empty places too; None for a bag without a place."""
    for shelf in plan_shelves(trial)[0]:
        at = {
            (row, column): bag.bag
            for row, tier in enumerate(shelf.tiers)
            for column, bag in enumerate(tier)
            if bag is not None and (bag.bag == own.bag or bag.bag not in moved)
        }
        here = next((place for place, code in at.items() if code == own.bag), None)
        if here is None:
            continue
        row, column = here
        ways = {
            "left": [(row, c) for c in range(column - 1, -1, -1)],
            "right": [(row, c) for c in range(column + 1, len(shelf.tiers[row]))],
            "above": [(r, column) for r in range(row - 1, -1, -1)],
            "below": [(r, column) for r in range(row + 1, len(shelf.tiers))],
        }
        nearest = {side: next((at[p] for p in places if p in at), None) for side, places in ways.items()}
        return {side: code for side, code in nearest.items() if code is not None}
    return None


def _neighbours_in_photo(own: ScoreRow, others: Sequence[ScoreRow]) -> dict[str, str]:
    """Return the bag whose face's middle is nearest each way, within 45 degrees of it."""
    here = _middle_px(own)
    nearest: dict[str, tuple[float, str]] = {}
    for row in others:
        if row.bag == own.bag:
            continue
        right, down = _middle_px(row) - here
        side = ("right" if right > 0 else "left") if abs(right) > abs(down) else "below"
        if side == "below" and down < 0:
            side = "above"
        found = (math.hypot(right, down), row.bag)
        nearest[side] = min(nearest.get(side, found), found)
    return {side: code for side, (_, code) in nearest.items()}


def _middle_px(row: ScoreRow) -> np.ndarray:
    corners = np.array(row.outline)
    return np.asarray((corners.min(axis=0) + corners.max(axis=0)) / 2)


def _fates(trial: Trial, ledger: Ledger, bag: str) -> list[FollowedBag]:
    """Return every spawned bag as lost or not lost so far: what is still growing counts as not lost."""
    fates = []
    for own in follow(trial, ledger, horizon=math.inf, name=trial.name):
        lost = own.fate is Fate.LOST or own.bag.bag == bag
        fates.append(replace(own, fate=Fate.LOST if lost else Fate.CLEAN))
    return fates


def _say_pattern(fates: Sequence[FollowedBag], own: Bag) -> str:
    """Return what of the bag's own groups holds more losses than chance would give it."""
    groups = _groups(fates, own)
    losses = sum(one.fate is Fate.LOST for one in fates)
    lost = "1 loss" if losses == 1 else f"{losses} losses"
    if losses < 2:
        return f"No pattern in {lost}."
    if not groups:
        return f"No pattern in {lost}: bags.csv names no run, mix, lot, shelf or tier that differs."
    # That its groups hold the bag itself is no chance: they are looked at because it was lost.
    others = [one for one in fates if one.bag.bag != own.bag]
    said = []
    for members, sources in groups.items():
        # The more groups are looked at, the easier one of them stands out (Bonferroni).
        chance = len(groups) * chance_of_gathering(others, members)
        if chance < PATTERN_CHANCE:
            said.append((chance, _say_source(sources, losses=losses, bags=len(fates))))
    return " ".join(text for _, text in sorted(said)) or f"No pattern in {lost}."


def _groups(fates: Sequence[FollowedBag], own: Bag) -> dict[frozenset[str], list[LossSource]]:
    """Return the sources of losses that the bag belongs to; those that hold the same bags are one."""
    counts = {(source.kind, source.name): source for source in find_sources(fates)}
    groups: dict[frozenset[str], list[LossSource]] = {}
    for kind, field in SHARED:
        name = getattr(own, field)
        if (kind, name) in counts:
            members = frozenset(one.bag.bag for one in fates if getattr(one.bag, field) == name)
            groups.setdefault(members, []).append(counts[kind, name])
    return groups


def _say_source(sources: Sequence[LossSource], *, losses: int, bags: int) -> str:
    names = [f"{source.kind} {source.name}" for source in sources]
    same = f" (the same bags as {' and '.join(names[1:])})" if names[1:] else ""
    one = sources[0]
    return f"{one.lost} of {losses} losses from {names[0]}{same}, which holds {one.followed} of {bags} bags."
