"""What became of each bag: milestones between two photos, losses at their onset, how long it was followed."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hornbeam import at_day, event, make_bag, make_trial, score, suspect, verdict

from colscan.flags import Flag
from colscan.growth.outcomes import LOST_AT_WORST, Outcome, Span, outcomes_of
from colscan.ledger import Ledger
from colscan.ledger.columns import HarvestRow

NOT_YET = math.inf
ROWS = tuple(score("B1", day, pct) for day, pct in ((3, 10), (4, 40), (5, 62), (6, 80), (7, 91), (8, 97)))


def _outcome(*scores, **others) -> Outcome:
    trial = make_trial(make_bag("B1"), make_bag("B9", role="blank"))
    calls = {"lost_calls": others.pop("lost_calls")} if "lost_calls" in others else {}
    (outcome,) = outcomes_of(trial, Ledger(scores=scores, **others), **calls)
    return outcome


def _span(after: float, by: float) -> Span:
    return Span(after_days=pytest.approx(after), by_days=pytest.approx(by))


def test_milestones_lie_between_two_photos() -> None:
    """Half came after day 4 and by day 5; full has not come by the last photo; blanks are left out."""
    outcome = _outcome(*ROWS)
    assert outcome.half == _span(4, 5)
    assert outcome.ninety == _span(6, 7)
    assert outcome.full == _span(8, NOT_YET)
    assert not outcome.full.came
    assert (outcome.lost, outcome.left) == (None, None)
    assert outcome.followed_days == pytest.approx(8)


def test_one_photo_over_the_half_is_not_yet_half() -> None:
    """A score that the next one doesn't bear out is passed over; unmeasured photos say nothing."""
    rows = (
        score("B1", 3, 10),
        score("B1", 4, 60),
        score("B1", 5, 35),
        score("B1", 6, None),
        score("B1", 7, 55),
    )
    assert _outcome(*rows).half == _span(5, 7)


def test_half_before_the_first_photo() -> None:
    """It came at any time from day 0 on."""
    assert _outcome(score("B1", 6, 70), score("B1", 7, 80)).half == _span(0, 6)


def test_a_bag_without_a_photo() -> None:
    """Nothing is known of it, and it was followed for no day."""
    outcome = _outcome()
    assert outcome.half == _span(0, NOT_YET)
    assert outcome.followed_days == 0


def test_lost_at_the_onset_and_no_growth_after_it() -> None:
    """Called contaminated on day 8: it came after day 5 and by day 6, and 90 % on day 7 no longer counts."""
    outcome = _outcome(
        *ROWS, suspects=(suspect("B1", 6),), verdicts=(verdict("B1", 8, "contaminated", patch="p1"),)
    )
    assert outcome.lost == _span(5, 6)
    assert outcome.half == _span(4, 5)
    assert outcome.ninety == _span(6, NOT_YET)
    assert outcome.followed_days == pytest.approx(6)


def test_found_by_hand_with_nothing_on_its_face() -> None:
    """It can have come any time before it was found."""
    assert _outcome(*ROWS, verdicts=(verdict("B1", 7.5, "contaminated"),)).lost == _span(0, 7.5)


def test_a_patch_that_came_after_the_whole_bag_s_call_gives_no_time() -> None:
    """Found by hand on day 4.5; what its face shows from day 6 on, called or not, came later than that."""
    found = verdict("B1", 4.5, "contaminated")
    by_hand = _span(0, 4.5)
    assert _outcome(*ROWS, suspects=(suspect("B1", 6),), verdicts=(found,)).lost == by_hand
    later = verdict("B1", 8, "contaminated", patch="p1")
    assert _outcome(*ROWS, suspects=(suspect("B1", 6),), verdicts=(found, later)).lost == by_hand
    both = (suspect("B1", 4, "p1"), suspect("B1", 6, "p2"))
    assert _outcome(*ROWS, suspects=both, verdicts=(found,)).lost == _span(3, 4)


def test_a_whole_bag_s_call_takes_the_patch_s_onset() -> None:
    """The first patch that may be it gives the time."""
    rows = {"suspects": (suspect("B1", 5),), "verdicts": (verdict("B1", 8, "contaminated"),)}
    assert _outcome(*ROWS, **rows).lost == _span(4, 5)


@pytest.mark.parametrize(
    ("said", "first_patch", "lost"),
    [
        (4.5, 7, (0, 4.5)),  # the photos of day 5 and 6 don't show the patch: it isn't what was found
        (6.5, 7, (6, 6.5)),  # found between the two photos of its onset
        (7.5, 7, (6, 7)),
        (2.5, 3, (0, 2.5)),  # no photo without it
    ],
)
def test_a_whole_bag_s_call_before_a_photo_shows_a_patch(
    said: float, first_patch: float, lost: tuple[float, float]
) -> None:
    """The bag was lost when it was called so, at the latest; and no growth after that counts."""
    rows = {"suspects": (suspect("B1", first_patch),), "verdicts": (verdict("B1", said, "contaminated"),)}
    outcome = _outcome(*ROWS, **rows)
    assert outcome.lost == _span(*lost)
    assert outcome.followed_days <= outcome.lost.by_days


def test_said_again_a_call_is_of_the_day_on_which_it_was_said_first() -> None:
    """More said of it later changes no date; taken back meanwhile it does, as another call does."""
    early, late = verdict("B1", 4.5, "contaminated"), verdict("B1", 7.5, "contaminated", action="isolated")
    assert _outcome(*ROWS, verdicts=(early, late)).lost == _span(0, 4.5)
    for between in ("withdrawn", "harmless"):
        calls = (early, verdict("B1", 6, between), late)
        assert _outcome(*ROWS, verdicts=calls).lost == _span(0, 7.5)


def test_a_patch_called_before_a_photo_shows_it() -> None:
    """At the latest when it was called so."""
    rows = {"suspects": (suspect("B1", 6),), "verdicts": (verdict("B1", 5.5, "contaminated", patch="p1"),)}
    assert _outcome(*ROWS, **rows).lost == _span(5, 5.5)


@pytest.mark.parametrize(
    ("call", "lost"), [("contaminated", True), ("harmless", False), ("unsure", False), ("withdrawn", False)]
)
def test_which_calls_lose_a_bag(call: str, lost: bool) -> None:
    """Contaminated alone; what is not reviewed or unsure only at worst, harmless never."""
    rows = {"suspects": (suspect("B1", 6),), "verdicts": (verdict("B1", 8, call, patch="p1"),)}
    assert (_outcome(*ROWS, **rows).lost is not None) is lost
    assert (_outcome(*ROWS, **rows, lost_calls=LOST_AT_WORST).lost is not None) is (call != "harmless")


def test_a_call_on_an_expected_look_counts() -> None:
    """A patch that its strain's healthy look explains is no alarm, until somebody calls it contaminated."""
    rows = {"suspects": (suspect("B1", 6, flags=(Flag.EXPECTED,)),)}
    assert _outcome(*ROWS, **rows, lost_calls=LOST_AT_WORST).lost is None
    called = (verdict("B1", 8, "contaminated", patch="p1"),)
    assert _outcome(*ROWS, **rows, verdicts=called).lost == _span(5, 6)


def test_a_call_on_a_patch_that_is_not_found_any_more_stands() -> None:
    """Another method may not find it: it came before it was called so; a patch that is there tells more."""
    called = verdict("B1", 7.5, "contaminated", patch="p1")
    assert _outcome(*ROWS, verdicts=(called,)).lost == _span(0, 7.5)
    both = {"suspects": (suspect("B1", 6, "p2"),), "verdicts": (called, replace(called, patch="p2"))}
    assert _outcome(*ROWS, **both).lost == _span(5, 6)


def test_a_patch_comes_with_its_first_alarm() -> None:
    """Seen on day 4 as an expected look, and on day 6 as none: it came between the photos before day 6."""
    rows = (suspect("B1", 4, flags=(Flag.EXPECTED,)), suspect("B1", 6))
    assert _outcome(*ROWS, suspects=rows, lost_calls=LOST_AT_WORST).lost == _span(5, 6)


@pytest.mark.parametrize(
    ("said", "left"),
    [
        ({"events": (event("retired", 6.2, "B1"),)}, "retired"),
        ({"events": (event("retired", 6.2, "B1"), event("discarded", 7.5, "B1"))}, "retired"),
        ({"verdicts": (verdict("B1", 6.2, "unsure", action="discarded"),)}, "discarded"),
    ],
)
def test_photos_after_a_bag_left_are_none_of_the_trial(said, left: str) -> None:
    """It was followed to the last photo before, and 90 % on day 7 came later; by event or at a verdict."""
    outcome = _outcome(*ROWS, **said)
    assert outcome.left == left
    assert outcome.followed_days == pytest.approx(6)
    assert outcome.half == _span(4, 5)
    assert outcome.ninety == _span(6, NOT_YET)


def test_a_missing_bag_left_unless_it_is_seen_again() -> None:
    """Missing since day 9; one that is missed on day 5 stands in the photo of day 6."""
    assert _outcome(*ROWS, events=(event("missing", 9, "B1"),)).left == "missing"
    assert _outcome(*ROWS, events=(event("missing", 5.5, "B1"),)).left is None


def test_left_and_harvested() -> None:
    """A bag that is retired left; its first harvest is the earliest."""
    harvests = tuple(
        HarvestRow(at=at_day(day), bag="B1", flush=flush, fresh_g=100.0) for day, flush in ((20, 1), (30, 2))
    )
    outcome = _outcome(*ROWS, events=(event("retired", 31, "B1"),), harvests=harvests)
    assert outcome.left == "retired"
    assert outcome.harvested_days == pytest.approx(20)
