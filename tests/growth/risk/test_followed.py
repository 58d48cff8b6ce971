"""Which bags were followed to the horizon, and what they share."""

from __future__ import annotations

import math

import pytest
from hornbeam import at_day, event, make_bag, make_trial, score, suspect, verdict

from colscan.growth.outcomes import Outcome, Span
from colscan.growth.risk.followed import Fate, fate_of, follow, level_of, shared_by
from colscan.growth.risk.model import Level
from colscan.ledger import Ledger
from colscan.ledger.columns import HarvestRow
from colscan.trial.model import Treatment

NOT_YET = Span(after_days=9, by_days=math.inf)


def outcome(**known) -> Outcome:
    """A bag that was followed for 9 days, with nothing else known."""
    fields = {
        "bag": make_bag("B1"), "half": NOT_YET, "ninety": NOT_YET, "full": NOT_YET, "lost": None,
        "followed_days": 9.0, "left": None, "harvested_days": None,
    }  # fmt: skip
    return Outcome(**{**fields, **known})


def span(after: float, by: float) -> Span:
    """Between two ages."""
    return Span(after_days=after, by_days=by)


@pytest.mark.parametrize(
    ("known", "horizon", "fate"),
    [
        ({}, "full", Fate.RUNNING),
        ({"left": "retired"}, "full", Fate.GONE),
        ({"full": span(7, 8)}, "full", Fate.CLEAN),
        ({"full": span(7, 8), "left": "retired"}, "full", Fate.CLEAN),
        ({"lost": span(3, 4)}, "full", Fate.LOST),
        # Found at the back when it was full: it may have come before, so it counts.
        ({"full": span(7, 8), "lost": span(0, 9)}, "full", Fate.LOST),
        ({"full": span(7, 8), "lost": span(8, 9)}, "full", Fate.CLEAN),
        ({"full": span(7, 8)}, "first-harvest", Fate.RUNNING),
        ({"full": span(7, 8), "lost": span(8, 9)}, "first-harvest", Fate.LOST),
        ({"harvested_days": 20.0, "lost": span(21, 22)}, "first-harvest", Fate.CLEAN),
        ({"harvested_days": 20.0, "lost": span(19, 22)}, "first-harvest", Fate.LOST),
        ({}, 9.0, Fate.CLEAN),
        ({}, 9.4, Fate.CLEAN),
        ({}, 10.0, Fate.RUNNING),
        ({"harvested_days": 12.0}, 10.0, Fate.CLEAN),
        ({"lost": span(8, 10)}, 9.0, Fate.LOST),
        ({"lost": span(9, 10)}, 9.0, Fate.CLEAN),
    ],
)
def test_fate_by_the_horizon(known, horizon, fate) -> None:
    """Lost when it may have been before the horizon, clean when it was followed there, else neither."""
    assert fate_of(outcome(**known), horizon) is fate


def follow_bags(*bags, **ledger):
    """The bags of a trial without a plan of treatments beyond hornbeam's."""
    return follow(make_trial(*bags), Ledger(**ledger), horizon="full", name="hornbeam")


def full(code: str):
    """Scores of a bag that is full on day 8."""
    return tuple(score(code, day, pct, spread=1.0) for day, pct in ((4, 40), (8, 99), (9, 99)))


def test_verdicts_count_and_suspects_are_the_upper_scenario() -> None:
    """Called contaminated: lost. A suspect without a call: clean, lost at worst. Blanks aren't followed."""
    bags = [make_bag(code) for code in ("B1", "B2", "B3")]
    followed = follow_bags(
        *bags,
        make_bag("B9", role="blank"),
        scores=(*full("B1"), *full("B2"), *full("B3")),
        suspects=(suspect("B1", 5), suspect("B2", 5)),
        verdicts=(verdict("B1", 6, "contaminated", where="back"),),
        events=(event("looked-round", 9.5, "B3"),),
    )
    assert [(own.fate, own.at_worst) for own in followed] == [
        (Fate.LOST, Fate.LOST),
        (Fate.CLEAN, Fate.LOST),
        (Fate.CLEAN, Fate.CLEAN),
    ]
    assert [own.sides for own in followed] == [("back",), (), ()]
    assert [own.looked_round for own in followed] == [False, False, True]


def test_a_look_before_it_was_full_is_none() -> None:
    """Nor does another bag's harvest count; its own does: hands were on it."""
    harvest = HarvestRow(at=at_day(20), bag="B2", flush=1, fresh_g=100.0)
    followed = follow_bags(
        make_bag("B1"),
        make_bag("B2"),
        scores=(*full("B1"), *full("B2")),
        events=(event("looked-round", 5, "B1"),),
        harvests=(harvest,),
    )
    assert [own.looked_round for own in followed] == [False, True]


def test_clusters() -> None:
    """By heat run where all bags have one, else by mix, else by the day of spawning."""
    both = [make_bag("B1", heat_run="R1", mix_batch="M1"), make_bag("B2", heat_run="R2", mix_batch="M1")]
    assert [own.cluster for own in follow_bags(*both)] == ["hornbeam R1", "hornbeam R2"]
    mixes = [make_bag("B1", heat_run="R1", mix_batch="M1"), make_bag("B2", mix_batch="M2")]
    assert shared_by(mixes)[0] == "mix"
    assert [own.cluster for own in follow_bags(*mixes)] == ["hornbeam M1", "hornbeam M2"]
    neither = [make_bag("B1"), make_bag("B2", mix_batch="M2", inoculated_at=at_day(1))]
    assert [own.cluster for own in follow_bags(*neither)] == ["hornbeam 2026-03-02", "hornbeam 2026-03-03"]


def test_levels_are_matched_with_their_base() -> None:
    """0 % of a supplement is the control; a level carries the base that its treatment states."""
    trial = make_trial(
        treatments=(Treatment(supplement="bran", supplement_pct=4.0, supplement_base="all dry matter"),)
    )
    assert level_of(make_bag("B1", level=0.0), trial) == Level(supplement="none", pct=0.0)
    zero = make_bag("B1", supplement="bran", supplement_pct=0.0)
    assert level_of(zero, trial) == Level(supplement="none", pct=0.0)
    assert level_of(make_bag("B1"), trial) == Level(supplement="bran", pct=4.0, base="all dry matter")
