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
    return EventBook(events, shelves=shelves).of(bag)


class EventBook:
    """Events sorted out by what they happened to, for asking of one bag after the other.

    Parameters
    ----------
    events : iterable of EventRow
        Of all bags, in any order.
    shelves : frozenset of str
        The shelves' names.
    """

    def __init__(self, events: Iterable[EventRow], *, shelves: frozenset[str]) -> None:
        self._shelves = shelves
        self._places: dict[tuple[str, str | None], list[tuple[int, EventRow]]] = {}
        self._on_shelves: list[tuple[int, EventRow]] = []
        for place, event in enumerate(sorted(events, key=lambda event: event.at)):
            self._places.setdefault((event.scope, event.name), []).append((place, event))
            if event.scope == "shelf":
                self._on_shelves.append((place, event))

    def of(self, bag: Bag) -> BagEvents:
        """Return what happened to a bag, as `events_of`."""
        places = (("bag", bag.bag), ("room", None), ("shelf", bag.shelf))
        near = [numbered for place in places for numbered in self._places.get(place, ())]
        if any(event.what == "moved" for _, event in near):
            # It may have stood on any shelf since.
            near = [numbered for numbered in near if numbered[1].scope != "shelf"] + self._on_shelves
        return self._follow(bag, [event for _, event in sorted(near, key=lambda numbered: numbered[0])])

    def _follow(self, bag: Bag, events: Iterable[EventRow]) -> BagEvents:
        own: list[EventRow] = []
        stays = [Stay(since=bag.inoculated_at, shelf=bag.shelf)]
        for event in events:
            shelf = stays[-1].shelf
            place = {"bag": bag.bag, "shelf": shelf, "room": None}[event.scope]
            if event.name != place or (event.scope == "shelf" and shelf is None):
                continue
            own.append(event)
            if event.what == "moved" and event.detail in self._shelves:
                stays.append(Stay(since=event.at, shelf=event.detail))
        return BagEvents(events=tuple(own), stays=tuple(stays))
