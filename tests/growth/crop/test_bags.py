"""How a bag stands at the flush or age compared, and what of its harvests counts."""

from __future__ import annotations

import dataclasses

import pytest
from hornbeam import at_day, event, make_bag, make_trial, photo, score, suspect, verdict

from colscan.growth.crop.bags import choose_basis, followed_until, yields_of_bags
from colscan.growth.crop.model import BagYield, Basis
from colscan.ledger import Ledger
from colscan.ledger.columns import HarvestRow

NOW = at_day(100)
FIRST, SECOND, DAY_40 = Basis(flush=1), Basis(flush=2), Basis(days=40.0)


def _harvest(bag: str, day: float, flush: int, fresh_g: float) -> HarvestRow:
    return HarvestRow(at=at_day(day), bag=bag, flush=flush, fresh_g=fresh_g)


def _one(ledger: Ledger, basis: Basis, **trial: object) -> BagYield:
    (one,) = yields_of_bags(make_trial(make_bag("B1"), **trial), ledger, basis, NOW)
    return one


def _stands(ledger: Ledger, basis: Basis, **trial: object) -> tuple[str, float | None]:
    one = _one(ledger, basis, **trial)
    return one.standing, one.compared_g


GAVE = (_harvest("B1", 30, 1, 400.0), _harvest("B1", 45, 2, 150.0))
LATE = (photo(50),)


def test_all_flushes_up_to_the_one_compared() -> None:
    """400 and then 150 g: the first is 400 g, both are 550 g, up to day 40 it is 400 g."""
    ledger = Ledger(harvests=GAVE, photos=LATE)
    assert _stands(ledger, FIRST) == ("harvested", 400.0)
    assert _stands(ledger, SECOND) == ("harvested", 550.0)
    assert _stands(ledger, DAY_40) == ("harvested", 400.0)
    assert _one(ledger, SECOND).cycle_days == pytest.approx(45.0)
    assert _one(ledger, FIRST).fresh_g == 550.0


def test_a_running_bag_is_not_zero() -> None:
    """Without its flush it doesn't count, also after the trial's end; at an age it passed it gave none."""
    assert _stands(Ledger(photos=LATE), FIRST) == ("not yet", None)
    assert _stands(Ledger(photos=LATE), FIRST, ended_at=at_day(60)) == ("not yet", None)
    assert _stands(Ledger(photos=LATE, harvests=GAVE[:1]), SECOND) == ("not yet", None)
    assert _stands(Ledger(photos=LATE), DAY_40) == ("nothing", 0.0)
    assert _stands(Ledger(photos=(photo(39),)), DAY_40) == ("not yet", None)
    assert _stands(Ledger(), DAY_40) == ("not yet", None)


def test_a_lost_bag_counts_what_it_gave_before() -> None:
    """Zero mostly; a first flush before the patch came counts, a second one after it doesn't."""
    bad = suspect("B1", 40.0)
    lost = Ledger(
        photos=LATE,
        scores=(score("B1", 39, 90.0), score("B1", 40, 90.0)),
        suspects=(bad,),
        verdicts=(verdict("B1", 48, "contaminated", patch="p1"),),
    )
    assert _stands(lost, FIRST) == ("lost", 0.0)
    assert _stands(lost, DAY_40) == ("lost", 0.0)
    assert _stands(dataclasses.replace(lost, harvests=GAVE), FIRST) == ("harvested", 400.0)
    assert _stands(dataclasses.replace(lost, harvests=GAVE), SECOND) == ("lost", 400.0)
    assert _stands(dataclasses.replace(lost, harvests=GAVE), Basis(days=35.0)) == ("harvested", 400.0)


@pytest.mark.parametrize(
    ("gone", "gave", "stands"),
    [
        (event("discarded", 20, "B1"), (), ("lost", 0.0)),
        (event("discarded", 40, "B1"), GAVE[:1], ("spent", 400.0)),
        (event("retired", 40, "B1"), GAVE[:1], ("spent", 400.0)),
        (event("retired", 20, "B1"), (), ("left", None)),
        (event("missing", 20, "B1"), (), ("left", None)),
        (event("missing", 40, "B1"), GAVE[:1], ("left", None)),
    ],
)
def test_a_bag_that_is_gone(gone, gave, stands) -> None:
    """Discarded without a harvest is lost; spent after one; retired or missing says nothing of the level."""
    ledger = Ledger(events=(gone,), harvests=gave, photos=LATE)
    assert _stands(ledger, SECOND) == stands
    before = _stands(ledger, Basis(days=10.0))
    assert before == ("nothing", 0.0)


def test_what_is_lost_or_left_is_so_at_any_later_age() -> None:
    """Records end on day 50: what comes by day 60 isn't known of bags that are there, of others it is."""
    later = Basis(days=60.0)
    assert _stands(Ledger(harvests=GAVE, photos=LATE), later) == ("not yet", None)
    discarded = Ledger(events=(event("discarded", 20, "B1"),), photos=LATE)
    assert _stands(discarded, later) == ("lost", 0.0)
    assert _stands(Ledger(events=(event("retired", 20, "B1"),), photos=LATE), later) == ("left", None)


def test_discarded_by_a_verdict_is_lost() -> None:
    """Thrown away though nobody was sure."""
    said = verdict("B1", 20, "unsure", action="discarded")
    assert _stands(Ledger(verdicts=(said,), photos=LATE), FIRST) == ("lost", 0.0)


def test_a_missing_bag_that_is_seen_again() -> None:
    """It is back, and waited for."""
    ledger = Ledger(events=(event("missing", 20, "B1"),), scores=(score("B1", 21, 50.0),), photos=LATE)
    assert _stands(ledger, FIRST) == ("not yet", None)


def test_followed_until_the_end_or_the_latest_record() -> None:
    """The trial's end once it has come, else the latest of photos and of what people said."""
    trial = make_trial(make_bag("B1"))
    assert followed_until(trial, Ledger(), NOW) is None
    assert followed_until(trial, Ledger(photos=LATE, harvests=GAVE), NOW) == at_day(50)
    assert followed_until(trial, Ledger(harvests=GAVE), NOW) == at_day(45)
    ended = dataclasses.replace(trial, ended_at=at_day(60))
    assert followed_until(ended, Ledger(photos=LATE), NOW) == at_day(60)
    assert followed_until(ended, Ledger(photos=LATE), at_day(59)) == at_day(50)


def test_an_end_that_is_to_come_makes_no_zeros() -> None:
    """Bags compared at an age that nobody has seen yet are still to give."""
    at_an_age, ends = Basis(days=900.0), {"ended_at": at_day(1000)}
    assert _stands(Ledger(photos=LATE), at_an_age, **ends) == ("not yet", None)


def test_the_flush_compared_is_the_latest_that_none_is_waited_for() -> None:
    """Two bags with a first flush, one with a second: the first; with a bag lost instead, the second."""
    trial = make_trial(make_bag("B1"), make_bag("B2"))
    both = (*GAVE, _harvest("B2", 31, 1, 300.0))
    assert choose_basis(trial, Ledger(), NOW) == FIRST
    assert choose_basis(trial, Ledger(harvests=both), NOW) == FIRST
    assert choose_basis(trial, Ledger(harvests=GAVE), NOW) == FIRST
    lost = Ledger(harvests=GAVE, verdicts=(verdict("B2", 9, "contaminated"),))
    assert choose_basis(trial, lost, NOW) == SECOND


def test_blanks_and_unknown_bags_are_left_out() -> None:
    """A sealed bag gives nothing, and a slip of the pen adds nobody."""
    trial = make_trial(make_bag("B1"), make_bag("B0", role="blank"))
    ledger = Ledger(harvests=(*GAVE, _harvest("B9", 30, 1, 1.0)))
    assert [one.bag.bag for one in yields_of_bags(trial, ledger, FIRST, NOW)] == ["B1"]


def test_days_to_pins_and_to_the_first_harvest() -> None:
    """Pins as first recorded, of the bag or of the room; the harvest by its date, not its number."""
    events = (event("pins", 25, scope="room"), event("pins", 27, "B1"))
    one = _one(Ledger(harvests=GAVE, events=events), FIRST)
    assert (one.pins_days, one.first_days) == (pytest.approx(25.0), pytest.approx(30.0))
    bare = _one(Ledger(), FIRST)
    assert (bare.pins_days, bare.first_days) == (None, None)
