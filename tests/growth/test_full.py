"""When a bag is full, to be turned, ready: the words of the formats page at their edges."""

from __future__ import annotations

import pytest
from hornbeam import at_day, event, make_bag, make_trial, score, suspect, verdict

from colscan.flags import Flag
from colscan.growth import judge_bags
from colscan.growth.full import full_since
from colscan.growth.model import BagRecord
from colscan.ledger import Ledger
from colscan.ledger.columns import EventRow, ScoreRow, SuspectRow, VerdictRow
from colscan.trial.model import Limits


def _row(day: float, pct: float | None, low: float | None) -> ScoreRow:
    return score("B1", day, pct, coverage_low_pct=low)


def _since(*rows: ScoreRow, events: tuple[EventRow, ...] = ()) -> object:
    return full_since(BagRecord(bag=make_bag("B1"), scores=rows, events=events), Limits())


@pytest.mark.parametrize(
    ("pct", "low", "full"),
    [
        (98.0, 95.01, True),
        (97.99, 96.0, False),
        (98.0, 95.0, False),
        (100.0, 94.9, False),
        (99.0, None, False),
    ],
)
def test_full_meets_both_limits(pct: float, low: float | None, full: bool) -> None:
    """Coverage at or over 98 % and a low end over 95 %; the second limit itself is not enough."""
    since = _since(_row(10, pct, low), _row(11, pct, low))
    assert since == (at_day(10) if full else None)


def test_full_needs_two_photos_running_and_dates_from_the_first() -> None:
    """One white photo is not full, nor are two with another between; the time is that of the run's first."""
    assert _since(_row(10, 99, 97)) is None
    assert _since(_row(10, 99, 97), _row(11, 90, 88), _row(12, 99, 97)) is None
    assert _since(_row(9, 99, 97), _row(10, 90, 88), _row(12, 99, 97), _row(13, 98, 96)) == at_day(12)


def test_unmeasured_photos_are_passed_over() -> None:
    """A photo in which the bag could not be measured neither makes nor breaks a run."""
    assert _since(_row(10, 99, 97), _row(11, None, None), _row(12, 99, 97)) == at_day(10)
    assert _since(_row(10, 99, 97), _row(11, None, None)) is None


@pytest.mark.parametrize(("what", "full"), [("shaken", False), ("turned", False), ("opened", True)])
def test_shaken_and_turned_begin_anew(what: str, full: bool) -> None:
    """After the growth was mixed or another side is in view, the bag has to become full again."""
    rows = (_row(10, 99, 97), _row(11, 99, 97), _row(13, 40, 35))
    since = _since(*rows, events=(event(what, 12, "B1"),))
    assert since == (at_day(10) if full else None)


def test_full_in_the_photos_after_it_was_turned() -> None:
    """Two white photos of the new side count, those of the old one don't."""
    rows = (_row(10, 99, 97), _row(11, 99, 97), _row(12, 99, 97), _row(13, 99, 97))
    assert _since(*rows, events=(event("turned", 11.5, "B1"),)) == at_day(12)


def _advice(now: float, *events: EventRow) -> tuple[str, str]:
    trial = make_trial(make_bag("B1", shelf="A"))
    rows = (score("B1", 12, 99, spread=1), score("B1", 13, 99, spread=1))
    (status,) = judge_bags(trial, Ledger(scores=rows, events=events), at_day(now))
    return status.advice, status.why


def test_ready_needs_the_days_and_a_look_all_round() -> None:
    """Full on day 12, three days to consolidate: wait until day 15, then turn it; ready once looked at."""
    looked = event("looked-round", 13.5, "B1")
    assert _advice(14.99, looked) == ("wait", "front is white since day 12.0; it consolidates until day 15.0")
    assert _advice(15) == (
        "turn it and look",
        "front is white since day 12.0; nobody has looked all round since",
    )
    assert _advice(15, looked) == ("ready", "front is white since day 12.0, looked all round on day 13.5")


def test_a_look_before_it_was_full_does_not_count() -> None:
    """A bag looked at on day 11 and full since day 12 still has to be turned."""
    assert _advice(20, event("looked-round", 11, "B1"))[0] == "turn it and look"
    assert _advice(20, event("looked-round", 12, "B1"))[0] == "turn it and look"


@pytest.mark.parametrize(
    ("scope", "name", "advice"),
    [("shelf", "A", "ready"), ("room", None, "ready"), ("shelf", "B", "turn it and look")],
)
def test_looks_at_the_shelf_or_the_room_count(scope: str, name: str | None, advice: str) -> None:
    """A look at the bag's own shelf or at the whole room is one at the bag."""
    assert _advice(20, event("looked-round", 14, name, scope))[0] == advice


def test_consolidation_is_the_strains() -> None:
    """A strain with five days to consolidate waits two days longer than the default."""
    trial = make_trial(make_bag("B1", strain="PE-1"))
    rows = (score("B1", 12, 99, spread=1), score("B1", 13, 99, spread=1))
    advice = [judge_bags(trial, Ledger(scores=rows), at_day(day))[0].advice for day in (16.9, 17)]
    assert advice == ["wait", "turn it and look"]


def _patched(*suspects: SuspectRow, verdicts: tuple[VerdictRow, ...] = ()) -> object:
    """When a bag at 96 % (low end 94 %) with patches of 2.5 % on days 10 and 11 is full."""
    rows = (_row(10, 96.0, 94.0), _row(11, 96.0, 94.0))
    record = BagRecord(bag=make_bag("B1"), scores=rows, suspects=suspects, verdicts=verdicts)
    return full_since(record, Limits())


PATCH = tuple(suspect("B1", day, area_pct=2.5) for day in (10, 11))
DROPS = tuple(suspect("B1", day, kind="amber", area_pct=2.5, flags=(Flag.EXPECTED,)) for day in (10, 11))


@pytest.mark.parametrize(
    ("suspects", "calls", "full"),
    [
        ((), (), False),
        (PATCH, (), False),
        (PATCH, (verdict("B1", 12, "harmless", patch="p1"),), True),
        (PATCH, (verdict("B1", 12, "harmless"),), True),
        (PATCH[:1], (verdict("B1", 12, "harmless", patch="p1"),), False),
        (PATCH, (verdict("B1", 12, "unsure", patch="p1"),), False),
        (PATCH, (verdict("B1", 12, "contaminated", patch="p1"),), False),
        (
            PATCH,
            (verdict("B1", 12, "harmless", patch="p1"), verdict("B1", 13, "withdrawn", patch="p1")),
            False,
        ),
        (DROPS, (), True),
        (DROPS, (verdict("B1", 12, "unsure", patch="p1"),), False),
    ],
)
def test_patches_that_are_well_count_as_covered(suspects, calls, full) -> None:
    """Judged harmless, or a healthy look of the strain that nobody doubts; other patches don't."""
    assert _patched(*suspects, verdicts=calls) == (at_day(10) if full else None)


def test_nearly_full_with_a_harmless_patch_says_so() -> None:
    """The reason names the patches' share beside the coverage."""
    trial = make_trial(make_bag("B1"))
    ledger = Ledger(
        scores=(_row(10, 96.0, 94.0),), suspects=PATCH[:1], verdicts=(verdict("B1", 12, "harmless"),)
    )
    (one,) = judge_bags(trial, ledger, at_day(12))
    assert one.why == "96.0 % and 2.5 % of patches that are well in one photo; full needs two running"
