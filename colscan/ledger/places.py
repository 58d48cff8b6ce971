"""Where a bag stood, and so which events were also its own: a bag that is moved takes its history with it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from colscan.ledger.columns import EventRow
from colscan.trial.model import Bag


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A shelf (None for one not known) and since when a bag stands on it."""

    since: datetime
    shelf: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BagEvents:
    """What happened to one bag, in order of time, and where it stood, the planned shelf first."""

    events: tuple[EventRow, ...]
    stays: tuple[Stay, ...]

    @property
    def shelf(self) -> str | None:
        """The shelf on which all that left it."""
        return self.stays[-1].shelf


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
    stays = [Stay(since=bag.inoculated_at, shelf=bag.shelf)]
    for event in sorted(events, key=lambda event: event.at):
        shelf = stays[-1].shelf
        place = {"bag": bag.bag, "shelf": shelf, "room": None}[event.scope]
        if event.name != place or (event.scope == "shelf" and shelf is None):
            continue
        own.append(event)
        if event.what == "moved" and event.detail in shelves:
            stays.append(Stay(since=event.at, shelf=event.detail))
    return BagEvents(events=tuple(own), stays=tuple(stays))
