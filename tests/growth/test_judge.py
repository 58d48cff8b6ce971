"""What to do with each bag: looks, stalls, calls and their order."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hornbeam import (
    at_day,
    event,
    make_bag,
    make_hornbeam,
    make_trial,
    score,
    suspect,
    verdict,
)

from colscan.flags import Flag
from colscan.growth import judge_bags
from colscan.growth.departure import Departure, departure_of
from colscan.growth.model import BagStatus
from colscan.growth.records import records_of
from colscan.ledger import Ledger
from colscan.ledger.columns import ScoreRow, SuspectRow
from colscan.trial.model import Trial

NOW = at_day(16)


def _judge(*scores: ScoreRow, **other: object) -> BagStatus:
    """The status of bag B1, alone in its trial unless `trial` says otherwise."""
    trial = other.pop("trial", make_trial(make_bag("B1")))
    return judge_bags(trial, Ledger(scores=scores, **other), NOW)[0]


def _growing(bag: str, *pcts: float) -> list[ScoreRow]:
    return [score(bag, day, pct) for day, pct in enumerate(pcts)]


def test_a_trial_without_photos_waits() -> None:
    """Without any ledger every bag is there, with nothing known and nothing to do."""
    trial, _ = make_hornbeam()
    statuses = judge_bags(trial, Ledger(), NOW)
    assert [one.bag for one in statuses] == [bag.bag for bag in trial.bags]
    assert {(one.advice, one.why, one.coverage, one.day) for one in statuses} == {
        ("wait", "no photo yet", None, None)
    }


def test_status_holds_the_latest_photo() -> None:
    """Age, coverage, interval and density are those of the latest photo, as fractions."""
    status = _judge(score("B1", 3, 20.0), score("B1", 6.5, 50.0, spread=4))
    assert (status.day, status.taken_at) == (6.5, at_day(6.5))
    assert (status.coverage, status.low, status.high, status.density) == (0.5, 0.46, 0.54, 0.35)
    assert status.points_per_day == pytest.approx(30 / 3.5)


# --- stalled ---


def _sibling_trial(*, level_of_siblings: float = 4.0) -> Trial:
    siblings = [make_bag(code, level=level_of_siblings) for code in ("S1", "S2", "S3")]
    return make_trial(make_bag("B1"), *siblings)


SIBLINGS = [
    *_growing("S1", 0, 6, 14, 22, 30, 38),
    *_growing("S2", 0, 8, 16, 24, 32, 40),
    *_growing("S3", 0, 10, 18, 26, 34, 42),
]


def _stall(*pcts: float, trial: object = None, **other: object) -> BagStatus:
    return _judge(*_growing("B1", *pcts), *SIBLINGS, trial=trial or _sibling_trial(), **other)


def test_stalled_is_slow_for_long_enough_and_behind() -> None:
    """0.5 points a day over three days at 21.5 %, where the siblings are at 40 %."""
    status = _stall(0, 12, 20, 20.5, 21, 21.5)
    assert status.advice == "stalled"
    assert status.why == ("0.5 points a day over 3.0 days, at 22 %; siblings at this age: 40 %")


def test_figures_of_siblings_are_kept_from_blind_judges() -> None:
    """Two bags that each name the other's speed would be known to share their treatment."""
    blind = replace(_sibling_trial(), judging="blind")
    assert _stall(0, 12, 20, 20.5, 21, 21.5, trial=blind).why.endswith("at 22 %; its siblings have more")
    growing = (0, 8, 16, 24, 32, 40)
    assert "siblings: " in _stall(*growing).why
    assert "siblings" not in _stall(*growing, trial=blind).why


def test_stalled_limits_at_their_edges() -> None:
    """At one point a day it is not under the limit; two slow days are too few."""
    assert _stall(0, 12, 20, 21, 22, 23).advice == "wait"
    assert _stall(0, 12, 20, 20.9, 21.8, 22.7).advice == "stalled"
    assert _stall(0, 5, 10, 20, 20.2, 20.4).advice == "wait"


def test_not_stalled_when_not_behind() -> None:
    """A slow bag is not stalled while its interval reaches its siblings, or when it has none of its kind."""
    assert _stall(0, 30, 38, 38.2, 38.4, 38.6).advice == "wait"
    assert _stall(0, 12, 20, 20.5, 21, 21.5, trial=_sibling_trial(level_of_siblings=8.0)).advice == "wait"
    assert _judge(*_growing("B1", 0, 12, 20, 20.5, 21, 21.5)).advice == "wait"


def test_contaminated_siblings_and_blanks_set_no_pace() -> None:
    """Bags called contaminated are left out of the siblings."""
    calls = tuple(verdict(code, 5, "contaminated") for code in ("S1", "S2", "S3"))
    assert _stall(0, 12, 20, 20.5, 21, 21.5, verdicts=calls).advice == "wait"
    blanks = make_trial(make_bag("B1"), *(make_bag(code, role="blank") for code in ("S1", "S2", "S3")))
    assert _stall(0, 12, 20, 20.5, 21, 21.5, trial=blanks).advice == "wait"


def test_siblings_are_compared_at_the_same_age() -> None:
    """Siblings spawned four days before are at 40 % today, and were at 8 % at this bag's age."""
    old = [make_bag(code, inoculated_at=at_day(-4)) for code in ("S1", "S2", "S3")]
    trial = make_trial(make_bag("B1"), *old)
    siblings = [score(code, day - 4, 8.0 * day) for code in ("S1", "S2", "S3") for day in range(1, 12)]
    slow = [score("B1", day, pct) for day, pct in enumerate((8.0, 20.0, 30.0, 30.5, 31.0, 31.5))]
    status = _judge(*slow, *sorted(siblings, key=lambda row: row.taken_at), trial=trial)
    assert status.advice == "stalled"
    assert "at this age: 40 %" in status.why


def test_wait_tells_the_siblings_speed() -> None:
    """A bag at two points a day among siblings at eight."""
    status = _stall(0, 14, 28, 36, 38, 40)
    assert status.advice == "wait"
    assert status.why == "2.0 points a day; siblings: 8.0"


def test_wait_tells_what_full_still_lacks() -> None:
    """One white photo, and a white photo whose interval reaches too low."""
    assert _judge(score("B1", 9, 90), score("B1", 10, 99, spread=1)).why == (
        "99.0 % in one photo; full needs two running"
    )
    assert _judge(score("B1", 9, 90), score("B1", 10, 99, spread=6)).why == (
        "99.0 %, low end 93.0 %; full needs over 95 %"
    )
    assert _judge(score("B1", 1, 3)).why == "one photo; the next gives its speed"


# --- look ---


def _alarm(*patches: SuspectRow, **other: object) -> BagStatus:
    return _judge(score("B1", 8, 40), score("B1", 9, 50), suspects=patches, **other)


def test_look_at_an_unreviewed_patch() -> None:
    """A suspect patch of the latest photo is an alarm until somebody says what it is."""
    status = _alarm(suspect("B1", 9))
    assert (status.advice, status.suspects, status.why) == ("look", 1, "p1 green 34 mm2: not reviewed")


def test_expected_looks_are_no_alarm() -> None:
    """What the strain shows when well is not counted."""
    status = _alarm(suspect("B1", 9, kind="amber", flags=(Flag.EXPECTED,)))
    assert (status.advice, status.suspects) == ("wait", 0)


def test_the_latest_call_counts_and_withdrawn_undoes() -> None:
    """Harmless ends the alarm; a later call replaces it; withdrawn brings the alarm back."""
    patch = suspect("B1", 9)
    harmless, unsure = verdict("B1", 9.1, "harmless", patch="p1"), verdict("B1", 9.2, "unsure", patch="p1")
    withdrawn = verdict("B1", 9.3, "withdrawn", patch="p1")
    assert (_alarm(patch, verdicts=(harmless,)).advice, _alarm(patch, verdicts=(harmless,)).suspects) == (
        "wait",
        0,
    )
    assert _alarm(patch, verdicts=(harmless, unsure)).why == "p1 green 34 mm2: called unsure"
    undone = _alarm(patch, verdicts=(harmless, withdrawn))
    assert (undone.advice, undone.suspects, undone.why) == ("look", 1, "p1 green 34 mm2: not reviewed")


def test_a_call_is_of_its_patch_alone() -> None:
    """Calling p1 harmless leaves p2 to be looked at."""
    said = verdict("B1", 9.1, "harmless", patch="p1")
    status = _alarm(suspect("B1", 9), suspect("B1", 9, "p2", "dark"), verdicts=(said,))
    assert (status.suspects, status.why) == (1, "p2 dark 34 mm2: not reviewed")


def test_harmless_of_the_whole_bag_covers_what_was_there() -> None:
    """It ends the alarms of the patches seen before it was said, not of later ones."""
    said = verdict("B1", 9.5, "harmless")
    assert _alarm(suspect("B1", 9), verdicts=(said,)).advice == "wait"
    early = verdict("B1", 8.5, "harmless")
    assert _alarm(suspect("B1", 9), verdicts=(early,)).advice == "look"


def test_a_patch_that_went_out_of_view_is_still_to_be_looked_at() -> None:
    """No suspect in the latest photo, but an earlier one that nobody reviewed."""
    status = _alarm(suspect("B1", 8))
    assert (status.advice, status.suspects) == ("look", 0)
    assert status.why == "p1 green 34 mm2: last seen on day 8.0, not reviewed"


def test_look_at_a_fall_that_nothing_explains() -> None:
    """The flag of the fall counts until an event explains it or the bag has made it good."""
    before, fall = score("B1", 8, 60), score("B1", 9, 40, flags=(Flag.FELL,))
    assert _judge(before, fall).why == "fell from 60 to 40 % on day 9.0, no event explains it"
    assert _judge(before, fall, score("B1", 10, 45)).advice == "look"
    assert _judge(before, fall, score("B1", 10, 61)).advice == "wait"
    assert _judge(before, fall, events=(event("moved", 8.5, "B1"),)).advice == "wait"
    assert _judge(before, fall, events=(event("moved", 7.5, "B1"),)).advice == "look"


def test_look_at_a_bag_that_cannot_be_measured() -> None:
    """The latest photo gives no score; its flags say why."""
    flags = (Flag.GLARE, Flag.UNMEASURED)
    status = _judge(score("B1", 8, 60), score("B1", 9, None, flags=flags))
    assert (status.advice, status.why) == ("look", "could not be measured on day 9.0 (glare)")


@pytest.mark.parametrize(("last", "advice"), [(7.0, "wait"), (6.9, "look")])
def test_look_for_a_bag_that_its_shelf_left_behind(last: float, advice: str) -> None:
    """More than two days after its last photo others of its shelf were photographed."""
    trial = make_trial(make_bag("B1", shelf="A"), make_bag("B2", shelf="A"), make_bag("B3", shelf="B"))
    scores = (score("B1", last - 1, 50), score("B1", last, 55), score("B2", 9, 60), score("B3", 15, 60))
    status = _judge(*scores, trial=trial)
    assert status.advice == advice
    assert advice == "wait" or status.why == "last photographed on day 6.9; others were on day 9.0"


@pytest.mark.parametrize(("seen", "advice"), [(10.0, "wait"), (11.0, "look")])
def test_a_bag_that_was_moved_is_missed_on_its_new_shelf(seen: float, advice: str) -> None:
    """Who moved it on day 8.5 had it in the hand: photos of the new shelf count from then on."""
    trial = make_trial(make_bag("B1", shelf="A"), make_bag("B2", shelf="A"), make_bag("B3", shelf="B"))
    scores = (score("B1", 5, 50), score("B2", 15, 60), score("B3", seen, 60))
    moved = replace(event("moved", 8.5, "B1"), detail="B")
    status = _judge(*scores, trial=trial, events=(moved,))
    assert status.advice == advice
    assert advice == "wait" or status.why == "last photographed on day 5.0; others were on day 11.0"


def test_look_for_a_bag_in_no_photo() -> None:
    """Never seen while its shelf was photographed on day 9."""
    trial = make_trial(make_bag("B1"), make_bag("B2"))
    assert _judge(score("B2", 9, 60), trial=trial).why == "in no photo yet; others were on day 9.0"
    assert _judge(score("B2", 1, 1), trial=trial).why == "no photo yet"


def test_reasons_to_look_are_joined() -> None:
    """Every reason is told, the patch first."""
    status = _judge(score("B1", 8, 60), score("B1", 9, None), suspects=(suspect("B1", 9),))
    assert status.why == "p1 green 34 mm2: not reviewed; could not be measured on day 9.0"


# --- states that people give ---


def test_contaminated_is_a_call_of_a_patch_or_of_the_bag() -> None:
    """Also with nothing on its face; withdrawn takes it back."""
    whole = verdict("B1", 9.5, "contaminated", where="back", found_by="hand")
    status = _alarm(verdicts=(whole,))
    assert (status.advice, status.why) == (
        "contaminated",
        "called contaminated on 2026-03-11 (back, found by hand)",
    )
    patch = verdict("B1", 9.5, "contaminated", patch="p1", action="isolated")
    status = _alarm(suspect("B1", 9), verdicts=(patch,))
    assert (status.advice, status.why) == (
        "contaminated",
        "p1 green called contaminated on 2026-03-11, isolated",
    )
    assert _alarm(verdicts=(whole, verdict("B1", 9.6, "withdrawn"))).advice == "wait"


def test_a_full_bag_with_an_alarm_or_a_call_is_never_ready() -> None:
    """Patches and calls go before growth."""
    full = (score("B1", 10, 99, spread=1), score("B1", 11, 99, spread=1))
    looked = (event("looked-round", 12, "B1"),)
    assert _judge(*full, events=looked).advice == "ready"
    assert _judge(*full, events=looked, suspects=(suspect("B1", 11),)).advice == "look"
    called = (verdict("B1", 13, "contaminated"),)
    assert _judge(*full, events=looked, verdicts=called).advice == "contaminated"


@pytest.mark.parametrize("what", ["discarded", "retired"])
def test_bags_that_left_the_trial(what: str) -> None:
    """Their state is the event, whatever is on them."""
    status = _alarm(suspect("B1", 9), events=(event(what, 10, "B1"),))
    assert (status.advice, status.why) == (what, f"{what} on 2026-03-12")


def test_discarded_by_a_verdict() -> None:
    """A call with the action discarded says so too."""
    status = _alarm(verdicts=(verdict("B1", 10, "contaminated", action="discarded"),))
    assert (status.advice, status.why) == ("discarded", "called contaminated on 2026-03-12, discarded")


@pytest.mark.parametrize("patch", [None, "p1"])
def test_a_later_call_leaves_a_discarded_bag_gone(patch: str | None) -> None:
    """Only what is taken back, or another action, says that it is still there; it went when that was said."""
    gone = verdict("B1", 10, "contaminated", patch=patch, action="discarded")
    later = verdict("B1", 12, "harmless", patch=patch)
    status = _alarm(verdicts=(gone, later))
    assert status.advice == "discarded"
    assert status.why.endswith("called contaminated on 2026-03-12, discarded; called harmless on 2026-03-14")
    again = verdict("B1", 13, "contaminated", patch=patch, action="discarded")
    (record,) = records_of(make_trial(make_bag("B1")), Ledger(verdicts=(gone, later, again)))
    assert departure_of(record) == Departure(what="discarded", at=gone.at)
    for undone in (
        verdict("B1", 13, "withdrawn", patch=patch),
        verdict("B1", 13, "harmless", patch=patch, action="watched"),
    ):
        assert _alarm(verdicts=(gone, later, undone)).advice == "wait"


def test_missing_until_it_is_photographed_again() -> None:
    """A later photo of the bag ends its being missing."""
    gone = (event("missing", 10, "B1"),)
    assert _alarm(events=gone).why == "missing since 2026-03-12"
    assert _judge(score("B1", 9, 50), score("B1", 11, 60), events=gone).advice == "wait"


@pytest.mark.parametrize("what", ["opened", "fruiting"])
def test_bags_past_the_spawn_run(what: str) -> None:
    """They neither wait nor stall; an alarm still counts."""
    after = (event(what, 9.5, "B1"),)
    status = _alarm(events=after)
    assert (status.advice, status.why) == (what, f"{what} since day 9.5")
    assert _alarm(suspect("B1", 9), events=after).advice == "look"


def test_blanks_are_shown_as_blank() -> None:
    """A sealed bag without spawn is neither slow nor ready; a patch on it is an alarm."""
    trial = make_trial(make_bag("B1", role="blank"))
    assert _judge(score("B1", 9, 1.0), trial=trial).advice == "blank"
    assert _judge(score("B1", 9, 1.0), trial=trial, suspects=(suspect("B1", 9),)).advice == "look"


def test_no_advice_calls_a_bag_safe() -> None:
    """Neither the words nor the reasons promise anything."""
    trial, ledger = make_hornbeam()
    said = " ".join(f"{one.advice} {one.why}" for one in judge_bags(trial, ledger, NOW)).lower()
    assert not {"safe", "clean", "salvage"} & set(said.replace(",", " ").split())
