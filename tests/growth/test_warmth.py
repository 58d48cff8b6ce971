"""Degree-days of the air around a bag: which log counts, and when there is none. Values by hand."""

from __future__ import annotations

import pytest
from hornbeam import at_day, event, make_bag, make_trial

from colscan.growth.warmth import degree_days
from colscan.ledger import Ledger
from colscan.ledger.columns import EventRow, TemperatureRow

BAG = make_bag("B1", shelf="A")
TRIAL = make_trial(BAG, make_bag("B2", shelf="B"))


def _log(place: str, *readings: tuple[float, float]) -> tuple[TemperatureRow, ...]:
    return tuple(TemperatureRow(at=at_day(day), place=place, celsius=celsius) for day, celsius in readings)


def _sum(*logs: tuple[TemperatureRow, ...], until: float, events: tuple[EventRow, ...] = ()) -> float | None:
    rows = tuple(sorted((row for log in logs for row in log), key=lambda row: row.at))
    return degree_days(TRIAL, Ledger(temperatures=rows, events=events), BAG, until)


def test_trapezoids_under_the_readings() -> None:
    """20, 22, 18 C on days 0, 1, 2: 21 + 20 = 41 C d; up to day 1.5 it is 21 + (22 + 20) / 4 = 31.5."""
    room = _log("room", (0, 20), (1, 22), (2, 18))
    assert _sum(room, until=2.0) == pytest.approx(41.0)
    assert _sum(room, until=1.5) == pytest.approx(31.5)
    assert _sum(room, until=0.0) == 0.0


def test_below_the_base_counts_nothing() -> None:
    """Frost takes no warmth away that was there before: 10 and -10 C are a triangle of 2.5 C d in half a day.

    With readings at day 0, 0.5, 1 of 10, 0, -10.
    """
    assert _sum(_log("room", (0, 10), (0.5, 0), (1, -10)), until=1.0) == pytest.approx(2.5)


def test_the_shelf_comes_before_the_room_and_the_bag_never() -> None:
    """A shelf's own log counts; without one the room's; what the bag's inside shows is an outcome."""
    room, inside = _log("room", (0, 20), (1, 20)), _log("B1", (0, 30), (1, 30))
    assert _sum(room, inside, until=1.0) == pytest.approx(20.0)
    assert _sum(room, inside, _log("A", (0, 24), (1, 24)), until=1.0) == pytest.approx(24.0)
    assert _sum(room, _log("B", (0, 24), (1, 24)), until=1.0) == pytest.approx(20.0)
    assert _sum(inside, until=1.0) is None


def test_a_moved_bag_takes_its_air_along() -> None:
    """A day at 24 C on shelf A, then a day at 18 C on shelf B."""
    moved = EventRow(at=at_day(1), scope="bag", name="B1", what="moved", detail="B")
    logs = _log("A", (0, 24), (1, 24), (2, 24)), _log("B", (0, 18), (1, 18), (2, 18))
    assert _sum(*logs, until=2.0, events=(moved,)) == pytest.approx(42.0)
    assert _sum(*logs, until=0.5, events=(moved,)) == pytest.approx(12.0)
    assert _sum(*logs, until=2.0, events=(event("shaken", 1, "B1"),)) == pytest.approx(48.0)


@pytest.mark.parametrize(
    ("days", "until", "known"),
    [
        ((0, 1, 2), 2.0, True),
        ((0, 1.5, 2), 2.0, False),
        ((0, 1, 2.5), 2.0, False),
        ((0.5, 1), 1.5, True),
        ((1.2, 2), 2.0, False),
        ((0, 1), 2.2, False),
        ((-3, 0, 1), 1.0, True),
        ((0, 1, 4), 1.0, True),
        ((0.1, 1), 0.0, True),
        ((0.1, 1), 0.05, True),
        ((1.1, 2), 0.05, False),
        ((3, 4), 1.0, False),
    ],
)
def test_gaps(days, until, known) -> None:
    """A gap of over a day that reaches into the time, at its ends too, leaves it unknown; others don't."""
    total = _sum(_log("room", *((day, 20.0) for day in days)), until=until)
    assert total == (pytest.approx(20.0 * until) if known else None)


def test_readings_that_cannot_be_are_no_readings() -> None:
    """A sensor at fault (85 C) leaves a gap, and Fahrenheit counts as what it is: 68 F are 20 C."""
    rows = (
        TemperatureRow(at=at_day(0), place="room", fahrenheit=68.0),
        TemperatureRow(at=at_day(0.5), place="room", celsius=85.0),
        TemperatureRow(at=at_day(1), place="room", fahrenheit=68.0),
    )
    assert _sum(rows, until=1.0) == pytest.approx(20.0)
    assert _sum(rows[1:2], until=1.0) is None
