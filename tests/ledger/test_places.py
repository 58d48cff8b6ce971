"""Where a bag stood, and what of a shelf's events was its own."""

from datetime import UTC, datetime

import pytest

from colscan.ledger import events_of
from colscan.ledger.columns import EventRow
from colscan.trial.model import Bag

BAG = Bag(
    bag="B01",
    strain="S",
    supplement="none",
    supplement_pct=0,
    shelf="A",
    inoculated_at=datetime(2026, 3, 1, tzinfo=UTC),
)
SHELVES = frozenset("AB")


def event(day: int, what: str, scope: str, name: str | None, detail: str | None = None) -> EventRow:
    """An event on a day of March."""
    at = datetime(2026, 3, day, tzinfo=UTC)
    return EventRow(at=at, scope=scope, name=name, what=what, detail=detail)


@pytest.mark.parametrize(
    ("move", "kept", "shelf"),
    [
        (event(5, "moved", "bag", "B01", "B"), [3, 5, 8, 9], "B"),
        (event(5, "moved", "shelf", "A", "B"), [3, 5, 8, 9], "B"),
        (event(5, "moved", "bag", "B02", "B"), [3, 7, 9], "A"),
        (event(5, "moved", "shelf", "B", "A"), [3, 7, 9], "A"),
        (event(5, "moved", "bag", "B01", "one tier up"), [3, 5, 7, 9], "A"),
        (event(5, "other", "bag", "B01", "B"), [3, 5, 7, 9], "A"),
    ],
)
def test_a_shelfs_events_are_those_of_the_bags_on_it(move: EventRow, kept: list[int], shelf: str) -> None:
    """Those of the old shelf from before the move, those of the new one from after it, the room's always."""
    events = [
        event(8, "shaken", "shelf", "B"),
        event(7, "shaken", "shelf", "A"),
        move,
        event(3, "turned", "shelf", "A"),
        event(4, "turned", "shelf", "B"),
        event(9, "power-cut", "room", None),
        event(6, "shaken", "bag", "B02"),
    ]
    found = events_of(BAG, events, shelves=SHELVES)
    assert [row.at.day for row in found.events] == kept
    assert found.shelf == shelf
    assert [(stay.since.day, stay.shelf) for stay in found.stays] == [
        (1, "A"),
        *([(5, "B")] * (shelf == "B")),
    ]
