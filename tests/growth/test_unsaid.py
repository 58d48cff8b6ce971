"""What a trial's data can't say."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from hornbeam import at_day, make_bag, make_hornbeam, make_trial, score, suspect, verdict

from colscan.flags import Flag
from colscan.growth import outcomes_of
from colscan.growth.risk import assess_risk
from colscan.growth.unsaid import find_unsaid
from colscan.ledger import Ledger
from colscan.trial.model import Trial

NOW = at_day(20)


def unsaid(trial: Trial, ledger: Ledger, now: datetime = NOW) -> tuple[str, ...]:
    """What can't be said by then."""
    outcomes = outcomes_of(trial, ledger)
    risk = assess_risk([(trial, ledger)], now=now) if outcomes else None
    return find_unsaid(trial, ledger, now, outcomes=outcomes, risk=risk)


def test_the_made_up_trial() -> None:
    """One bag of a kind, open suspects, no draw by lot, no end: each has its sentence."""
    said = " ".join(unsaid(*make_hornbeam()))
    for part in (
        "The trial is still running: all results are interim",
        "doesn't say that places, runs and order were drawn by lot",
        "A strain has one bag at a level",
        "not even the clearest difference between two levels can reach p = 0.05",
        "Whether at most 20 % are lost can't be said for bran 4 %",
        "nobody has called harmless or contaminated: on PO3-3",
        "The camera sees one side",
    ):
        assert part in said


def test_a_bag_that_is_called_contaminated_is_reviewed() -> None:
    """By its patch or as a whole; another bag's patch still waits."""
    trial, ledger = make_hornbeam()
    waits = "nobody has called harmless or contaminated"
    assert f"{waits}: on PO3-3." in " ".join(unsaid(trial, ledger))
    for patch in ("p1", None):
        called = (*ledger.verdicts, verdict("PO3-3", 16, "contaminated", patch=patch))
        assert waits not in " ".join(unsaid(trial, replace(ledger, verdicts=called)))


def test_patches_of_blanks_wait_too_and_a_bag_without_one_does_not() -> None:
    """A blank with a patch is named; one that somebody called unsure by hand has none."""
    trial = make_trial(make_bag("B1"), make_bag("B9", role="blank"))
    scores = (score("B1", 1, 5.0), score("B9", 1, 0.0))
    ledger = Ledger(scores=scores, suspects=(suspect("B9", 1),), verdicts=(verdict("B1", 2, "unsure"),))
    waits = "nobody has called harmless or contaminated"
    assert f"{waits}: on B9." in " ".join(unsaid(trial, ledger))


def test_flags_are_told_when_many_scores_have_them() -> None:
    """One score of nine is over a tenth, one of eleven isn't; an expected look is no doubt."""
    trial = make_trial(make_bag("B1"))

    def told(count: int) -> str:
        rows = [score("B1", 1 + i / 10, 10.0 + i, flags=(Flag.EXPECTED,)) for i in range(count - 1)]
        rows.append(score("B1", 5, 50.0, flags=(Flag.GLARE,)))
        return " ".join(unsaid(trial, Ledger(scores=tuple(rows))))

    assert f"1 of 9 scores are marked {Flag.GLARE}: {Flag.GLARE.meaning}" in told(9)
    assert Flag.GLARE.meaning not in told(11)
    assert Flag.EXPECTED.meaning not in told(9)


def test_what_is_known_isnt_listed() -> None:
    """A large trial drawn by lot that has ended: only what no such trial can say is left."""
    bags = [make_bag(f"B{i:02}", level=4.0 * (i % 2), heat_run=f"H{i // 2}") for i in range(40)]
    trial = make_trial(*bags, plan="--seed 1", ended_at=at_day(19))
    scores = [score(bag.bag, day, 99.5, spread=0.4) for day in (9, 10) for bag in bags]
    said = unsaid(trial, Ledger(scores=tuple(scores)))
    assert len(said) == 2
    assert said[0].startswith("The camera sees one side")


def test_a_trial_of_blanks() -> None:
    """No bag with spawn: nothing else can be said."""
    trial = make_trial(make_bag("B1", role="blank"))
    assert "There is no bag with spawn in this trial." in unsaid(trial, Ledger())
