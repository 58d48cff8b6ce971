"""Where a bag stood, and so which events were also its own: a bag that is moved takes its history with it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from colscan.ledger.columns import EventRow
from colscan.trial.model import Bag


@dataclass(frozen=True, slots=True, kw_only=True)
class BagEvents:
    """What happened to one bag, in order of time, and the shelf on which that left it."""

    events: tuple[EventRow, ...]
    shelf: str | None


def events_of(bag: Bag, events: Iterable[EventRow], *, shelves: frozenset[str]) -> BagEvents:
    """Return what happened to a bag: to itself, to the room, or to the shelf on which it stood by then.

    That is its planned shelf, until `moved` names another one as its detail; other details move nothing.

    Parameters
    ----------
    bag : Bag
        The bag.
    events : iterable of EventRow
        Of all bags, in any order.
    shelves : frozenset of str
        The shelves' names.
    """
    own: list[EventRow] = []
    shelf = bag.shelf
    for event in sorted(events, key=lambda event: event.at):
        place = {"bag": bag.bag, "shelf": shelf, "room": None}[event.scope]
        if event.name != place or (event.scope == "shelf" and shelf is None):
            continue
        own.append(event)
        if event.what == "moved" and event.detail in shelves:
            shelf = event.detail
    return BagEvents(events=tuple(own), shelf=shelf)
