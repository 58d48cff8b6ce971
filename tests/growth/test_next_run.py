"""How many bags the open questions of a trial need."""

from __future__ import annotations

import math

from hornbeam import at_day, make_bag, make_hornbeam, make_trial, score

from colscan.growth.next_run import CHANCE, plan_next
from colscan.growth.outcomes import Outcome, Span, outcomes_of
from colscan.growth.risk import RiskReport, assess_risk
from colscan.ledger import Ledger
from colscan.trial.power import chance_of_difference

OPEN = Span(after_days=20.0, by_days=math.inf)


def outcome(code: str, level: float, half: tuple[float, float], *, lost: bool = False) -> Outcome:
    """A bag that was half colonized between two ages, and full or lost."""
    return Outcome(
        bag=make_bag(code, level=level, heat_run=f"H{code[-1]}"),
        half=Span(after_days=half[0], by_days=half[1]),
        ninety=OPEN,
        full=OPEN if lost else Span(after_days=18.0, by_days=19.0),
        lost=Span(after_days=10.0, by_days=11.0) if lost else None,
        followed_days=20.0,
        left=None,
        harvested_days=None,
    )


def risk_of_hornbeam() -> RiskReport:
    """What the made-up trial shows: at 0 % one of one lost, at 8 % one of two."""
    return assess_risk([make_hornbeam()], now=at_day(20))


def test_bags_for_a_difference_in_time() -> None:
    """Two bags at two levels each, 2 and 4 days apart: spread sqrt((2 + 8) / 2); the fewest found."""
    outcomes = [
        outcome("A1", 0.0, (7, 8)), outcome("A2", 0.0, (9, 10)),
        outcome("B1", 4.0, (5, 6)), outcome("B2", 4.0, (9, 10)),
    ]  # fmt: skip
    plan = plan_next(outcomes, None)
    assert [one.difference for one in plan.times] == ["1 day", "2 days", "3 days"]
    bags = plan.times[2].bags
    assert bags is not None
    in_sd = 3 / math.sqrt(5)
    assert chance_of_difference(bags, in_sd) >= CHANCE > chance_of_difference(bags - 1, in_sd)
    assert plan.times[0].bags is None
    assert "1 day: over 60" in plan.sentences[0]
    assert "differ by 2.2 days" in plan.sentences[0]


def test_without_known_spread() -> None:
    """One bag of a kind: the numbers are for differences in units of the spread."""
    plan = plan_next([outcome("A1", 0.0, (7, 8)), outcome("B1", 4.0, (5, 6))], None)
    # Cohen 1988, table 2.4.1 (two-sided 5 %, power 80 %): d = 1.0 needs 17 a group.
    assert plan.times[0].bags == 17
    assert "isn't known here" in plan.sentences[0]
    assert "as large as bags of a kind differ: 17; twice as large: " in plan.sentences[0]


def test_one_level_has_no_difference() -> None:
    """Nothing to compare: no numbers for it."""
    assert plan_next([outcome("A1", 0.0, (7, 8)), outcome("A2", 0.0, (9, 10))], None).times == ()


def test_each_level_says_what_it_needs() -> None:
    """The made-up trial's levels: what is lost is over the limit, or so many more bags without a loss."""
    risk = risk_of_hornbeam()
    trial, ledger = make_hornbeam()
    plan = plan_next(outcomes_of(trial, ledger), risk)
    assert [own.level.pct for own in plan.levels] == [0.0, 4.0, 8.0]
    more = next(own.more for own in plan.levels if own.level.pct == 4.0)
    assert plan.sentences[0].endswith("1 of 1 lost, which is over what you accept already.")
    # Three of its bags stand on one spawning day.
    said = (
        f"bran 4 %: {more} more bags followed to the end without a loss, in {math.ceil(more / 3)} further"
        " spawning days as large as now, would show that at most 20 %"
    )
    assert said in plan.sentences[1]


def test_a_level_that_is_shown() -> None:
    """Thirty bags of thirty heat runs full, none lost: at most 1 - 0.05 ** (1 / 30) = 9.5 % lost."""
    codes = [f"B{i}" for i in range(30)]
    trial = make_trial(*(make_bag(code, heat_run=f"H{code}") for code in codes))
    ledger = Ledger(scores=tuple(score(code, day, 99.5, spread=0.4) for day in (9, 10) for code in codes))
    plan = plan_next(outcomes_of(trial, ledger), assess_risk([(trial, ledger)], now=at_day(20)))
    assert plan.sentences == ("bran 4 %: the bags so far show that at most 20 % are lost.",)
