"""When bags of a treatment came to a milestone, and what had become of all of them by each day."""

from __future__ import annotations

import math

import pytest
from hornbeam import make_bag

from colscan.growth.compare.times import days_of, headline, times_at
from colscan.growth.outcomes import Milestone, Outcome, Span

NOT_YET = math.inf


def _bag(code: str, came: float | None, *, seen: float = 20.0, lost: float | None = None, **other) -> Outcome:
    """A bag photographed daily: full in the night before the day `came`, lost in that before `lost`."""
    until = seen if lost is None else lost
    span = (
        Span(after_days=until, by_days=NOT_YET) if came is None else Span(after_days=came - 1, by_days=came)
    )
    return Outcome(
        bag=make_bag(code, **{"heat_run": "H1", **other}),
        half=span,
        ninety=span,
        full=span,
        lost=None if lost is None else Span(after_days=lost - 1, by_days=lost),
        followed_days=until,
        left=None,
        harvested_days=None,
    )


TEN = (
    *(_bag(f"B{i}", 10.0 + i) for i in range(7)),
    _bag("B7", None, lost=6.0, heat_run="H2"),
    _bag("B8", None, lost=19.0),
    _bag("B9", None),
)


def test_all_bags_spawned_count() -> None:
    """Of ten 7 came, 2 were lost, 1 runs: half of all ten had come on day 14, though of eight on day 13."""
    times = times_at(TEN, "PO-3", Milestone.FULL)
    assert (times.bags, times.came, times.lost, times.running, times.left) == (10, 7, 2, 1, 0)
    assert (times.treatment, times.heat_runs) == ("bran 4 %", 2)
    assert times.median == Span(after_days=13.0, by_days=14.0)
    assert [round(step.share, 6) for step in times.steps] == [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7]
    assert times.steps[-1].by_days == 16.0


def test_the_median_s_interval_are_order_statistics() -> None:
    """Of ten bags the 2nd and the 9th bound the median at 90 % (binomial: 1 of 10 or fewer has p 0.011)."""
    times = times_at(TEN, "PO-3", Milestone.FULL)
    assert (times.earliest_days, times.latest_days) == (10.0, NOT_YET)
    known = times_at([_bag(f"B{i}", 10.0 + i) for i in range(10)], "PO-3", Milestone.FULL)
    assert (known.earliest_days, known.latest_days) == (10.0, 18.0)


def test_few_bags_bound_no_median() -> None:
    """Four of four lie on one side of the median with 1/16, more than 5 %; five with 1/32."""
    four = times_at([_bag(f"B{i}", 10.0 + i) for i in range(4)], "PO-3", Milestone.HALF)
    assert (four.earliest_days, four.latest_days) == (0.0, NOT_YET)
    five = times_at([_bag(f"B{i}", 10.0 + i) for i in range(5)], "PO-3", Milestone.HALF)
    assert (five.earliest_days, five.latest_days) == (9.0, 14.0)


def test_lost_bags_never_come() -> None:
    """With more than half lost there is no median, however long one waits."""
    times = times_at(
        [_bag("B1", 12.0), *(_bag(f"L{i}", None, lost=6.0) for i in range(3))], "S", Milestone.HALF
    )
    assert not times.median.came
    assert times.running == 0


def test_the_median_in_degree_days() -> None:
    """As the days, of spans that a log gives; None when it doesn't give all."""
    bags = [_bag(f"B{i}", 10.0 + i) for i in range(3)]
    warmth = [Span(after_days=200.0 + 20 * i, by_days=220.0 + 20 * i) for i in range(3)]
    times = times_at(bags, "S", Milestone.HALF, warmth=warmth)
    assert times.median_degree_days == Span(after_days=220.0, by_days=240.0)
    assert times_at(bags, "S", Milestone.HALF, warmth=[*warmth[:2], None]).median_degree_days is None


@pytest.mark.parametrize(
    ("day", "expected"), [(9, (0, 1, 9, 0)), (13, (4, 1, 5, 0)), (18, (7, 1, 2, 0)), (20, (7, 2, 1, 0))]
)
def test_what_had_become_of_all_bags(day: int, expected: tuple[int, int, int, int]) -> None:
    """Full, lost, running, gone add up to the bags spawned on every day."""
    days = days_of(TEN, "PO-3", 20.0)
    assert [count.day for count in days] == [float(d) for d in range(21)]
    count = days[day]
    assert (count.full, count.lost, count.running, count.gone) == expected
    assert all(c.full + c.lost + c.running + c.gone == c.bags == 10 for c in days)


def test_full_and_then_lost_is_lost() -> None:
    """A full bag that gives way later is no full one."""
    days = days_of([_bag("B1", 10.0, lost=15.0), _bag("B2", None)], "S", 20.0)
    assert (days[12].full, days[12].lost) == (1, 0)
    assert (days[16].full, days[16].lost) == (0, 1)


def test_a_bag_that_is_not_seen_any_more_is_gone() -> None:
    """Three days after its last photo; until then it was missed by one."""
    days = days_of([_bag("B1", None, seen=12.0), _bag("B2", None)], "S", 20.0)
    assert [days[day].gone for day in (12, 15, 16)] == [0, 0, 1]


def test_what_is_settled_is_known_to_the_end() -> None:
    """Bags that are all full or lost by day 10 are so on day 20, too: they don't set an earlier day."""
    done = [_bag("B1", 10.0, seen=10.0, level=8.0), _bag("B2", None, lost=6.0, level=8.0)]
    days = (*days_of(TEN, "S", 20.0), *days_of(done, "S", 20.0))
    (_, own) = headline(days, "S")
    assert (own.day, own.full, own.lost) == (20.0, 1, 1)


def test_the_headline_is_of_a_day_that_all_have_come_to() -> None:
    """Treatments whose bags are younger set the day."""
    young = [_bag("B1", None, seen=9.0, level=8.0), _bag("B2", None, seen=8.0, level=8.0)]
    days = (*days_of(TEN, "S", 20.0), *days_of(young, "S", 20.0), *days_of(young, "other", 20.0))
    assert [(count.treatment, count.day) for count in headline(days, "S")] == [
        ("bran 4 %", 9.0),
        ("bran 8 %", 9.0),
    ]


def test_bags_without_a_photo_set_no_day() -> None:
    """One treatment was never photographed: the others' counts are those of their own days all the same."""
    unseen = [_bag("B1", None, seen=0.0, level=8.0)]
    days = (*days_of(TEN, "S", 20.0), *days_of(unseen, "S", 20.0))
    four, eight = headline(days, "S")
    assert (four.day, four.full, four.lost) == (20.0, 7, 2)
    assert (eight.day, eight.running) == (0.0, 1)
    (alone,) = headline(days_of(unseen, "S", 0.0), "S")
    assert (alone.day, alone.running) == (0.0, 1)
