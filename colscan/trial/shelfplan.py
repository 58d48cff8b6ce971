"""Where the plan puts each bag: shelves, tiers from the top, places from the left."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from colscan.trial.mixes import natural_key
from colscan.trial.model import Bag, Shelf, Trial

_PLACE = re.compile(
    r"(?:tier\s*(?P<tier>[0-9]{1,3})[\s,]*)?(?:place\s*)?(?P<place>[0-9]{1,3})", re.IGNORECASE
)
MOST_PLACES = 100
"""On a tier, and tiers on a shelf (as in trial.toml). A higher number is a name, nothing to count to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfPlan:
    """One shelf as it is seen from the front.

    Parameters
    ----------
    name : str
        The shelf's.
    tiers : tuple of tuple of (Bag or None)
        From the top; each from the left, None where no bag is planned. All tiers are as long.
    cards : tuple of tuple of int
        Tags of the fixed cards on each tier's edge.
    loose : tuple of Bag
        Bags of this shelf whose place isn't known, or is taken by another.
    """

    name: str
    tiers: tuple[tuple[Bag | None, ...], ...]
    cards: tuple[tuple[int, ...], ...]
    loose: tuple[Bag, ...]


def plan_shelves(trial: Trial) -> tuple[tuple[ShelfPlan, ...], tuple[Bag, ...]]:
    """Return each shelf that has bags, in trial.toml's order and then by name, and the bags without a shelf.

    Parameters
    ----------
    trial : Trial
        The plan; a bag's position reads `tier 2 place 5`, or `5` on a shelf with one tier.
    """
    known = {shelf.name: shelf for shelf in trial.shelves}
    others = sorted(trial.shelf_names - set(known), key=natural_key)
    plans = []
    for name in (*known, *others):
        if own := [bag for bag in trial.bags if bag.shelf == name]:
            plans.append(_plan_shelf(known.get(name, Shelf(name=name)), own))
    return tuple(plans), tuple(bag for bag in trial.bags if not bag.shelf)


def _plan_shelf(shelf: Shelf, bags: Sequence[Bag]) -> ShelfPlan:
    placed: dict[tuple[int, int], Bag] = {}
    loose = []
    for bag in bags:
        place = _read_place(bag.position or "", shelf)
        if place is None or place in placed:
            loose.append(bag)
        else:
            placed[place] = bag
    tiers = max([shelf.tiers, *(tier for tier, _ in placed)])
    places = max((place for _, place in placed), default=0)
    return ShelfPlan(
        name=shelf.name,
        tiers=tuple(
            tuple(placed.get((tier, place)) for place in range(1, places + 1)) for tier in range(1, tiers + 1)
        ),
        cards=_spread(shelf.cards, tiers),
        loose=tuple(loose),
    )


def _read_place(position: str, shelf: Shelf) -> tuple[int, int] | None:
    """Tier and place, both from 1; None where the text says neither, or no tier on a shelf of several."""
    match = _PLACE.fullmatch(position.strip())
    if match is None or (match["tier"] is None and shelf.tiers > 1):
        return None
    tier, place = int(match["tier"] or 1), int(match["place"])
    in_range = 1 <= tier <= MOST_PLACES and 1 <= place <= MOST_PLACES
    return (tier, place) if in_range else None


def _spread(cards: Sequence[int], tiers: int) -> tuple[tuple[int, ...], ...]:
    """Cards over tiers, as evenly as it goes: one alone in the middle, the lowest tag at the top."""
    at = [int((number + 0.5) * tiers / len(cards)) for number in range(len(cards))]
    return tuple(
        tuple(card for card, own in zip(cards, at, strict=True) if own == tier) for tier in range(tiers)
    )
