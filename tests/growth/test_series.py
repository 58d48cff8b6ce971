"""Series, recent speed, coverage at an age, onsets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hornbeam import (  # fmt: skip
    at_day,
    event,
    gompertz_pct,
    make_bag,
    make_hornbeam,
    make_trial,
    photo,
    score,
    suspect,
    verdict,
)

from colscan.flags import Flag
from colscan.growth import curves_of
from colscan.growth.model import BagCurve, GrowthSeries
from colscan.growth.records import records_of
from colscan.growth.series import coverage_at, make_series, points_per_day
from colscan.ledger import Ledger
from colscan.ledger.columns import ScoreRow
from colscan.trial.model import Trial


def _series_of(trial: Trial, ledger: Ledger) -> tuple[GrowthSeries, ...]:
    return tuple(make_series(record) for record in records_of(trial, ledger))


def _series(*rows: ScoreRow) -> GrowthSeries:
    (series,) = _series_of(make_trial(make_bag("B1")), Ledger(scores=rows))
    return series


def test_series_holds_days_and_fractions() -> None:
    """Age in days of 24 hours, fractions, NaN where not measured; the arrays can't be changed."""
    series = _series(score("B1", 1.5, 20), score("B1", 8.5, None, segment=1, flags=(Flag.GLARE,)))
    np.testing.assert_array_equal(series.days, [1.5, 8.5])
    np.testing.assert_array_equal(series.coverage, [0.2, np.nan])
    np.testing.assert_array_equal(series.low, [0.18, np.nan])
    np.testing.assert_array_equal(series.high, [0.22, np.nan])
    np.testing.assert_array_equal(series.density, [0.14, np.nan])
    np.testing.assert_array_equal(series.segment, [0, 1])
    with pytest.raises(ValueError, match="read-only"):
        series.coverage[0] = 1.0


def test_a_segment_ends_at_the_event_whatever_the_scores_say() -> None:
    """A shake entered after the photos that follow it ends the segment all the same; other events don't."""
    rows = (score("B1", 1, 30), score("B1", 2, 60), score("B1", 3, 5), score("B1", 4, 9))
    shaken = (event("moved", 1.5, "B1"), event("shaken", 2.5, "B1"))
    (series,) = _series_of(make_trial(make_bag("B1")), Ledger(scores=rows, events=shaken))
    np.testing.assert_array_equal(series.segment, [0, 0, 1, 1])
    assert points_per_day(series) == pytest.approx(4.0)
    assert coverage_at(series, np.array([2.5])) == pytest.approx(0.05)


def test_a_segment_that_scores_and_events_agree_on_ends_once() -> None:
    """At the event's own moment; on the whole shelf or in the room as well."""
    rows = (score("B1", 1, 30), score("B1", 2, 5, segment=1), score("B1", 3, 9, segment=1), score("B1", 4, 1))
    events = (event("turned", 2, scope="room"), event("opened", 3.5, "A", scope="shelf"))
    (series,) = _series_of(make_trial(make_bag("B1", shelf="A")), Ledger(scores=rows, events=events))
    np.testing.assert_array_equal(series.segment, [0, 1, 1, 2])


def test_days_don_t_jump_when_clocks_change() -> None:
    """Day 7 is 168 hours after inoculation, though clocks went forward on 8 March 2026."""
    taken = at_day(7)
    assert taken.hour == 7
    assert _series(score("B1", 7, 20)).days[0] == 7.0


def test_bags_without_a_photo_have_an_empty_series() -> None:
    """There is one series a bag, in the plan's order."""
    trial = make_trial(make_bag("B2"), make_bag("B1"))
    series = _series_of(trial, Ledger(scores=(score("B1", 1, 2),)))
    assert [(one.bag, one.days.size) for one in series] == [("B2", 0), ("B1", 1)]


def test_speed_is_none_with_one_score() -> None:
    """One score, or two in the same hour, give no speed."""
    assert points_per_day(_series()) is None
    assert points_per_day(_series(score("B1", 1, 5))) is None
    assert points_per_day(_series(score("B1", 1, 5), score("B1", 1.49, 5))) is None
    assert points_per_day(_series(score("B1", 1, 5), score("B1", 1.5, 9))) == pytest.approx(8.0)


def test_speed_is_that_of_the_last_three_scores() -> None:
    """Earlier growth doesn't count; of three scores the median slope does."""
    rows = [score("B1", day, pct) for day, pct in enumerate((0, 50, 54, 60, 70))]
    # slopes of 54, 60, 70: 6 and 10 between neighbours, 8 over both
    assert points_per_day(_series(*rows)) == pytest.approx(8.0)
    assert points_per_day(_series(*rows), until_days=2.0) == pytest.approx(50.0 / 2 + 2.0)


def test_speed_passes_over_unmeasured_photos_and_stays_in_the_segment() -> None:
    """A bag that was shaken has the speed since then."""
    rows = (score("B1", 1, 30), score("B1", 2, 60), score("B1", 3, 5, segment=1))
    assert points_per_day(_series(*rows)) is None
    later = (score("B1", 4, None, segment=1), score("B1", 5, 11, segment=1))
    assert points_per_day(_series(*rows, *later)) == pytest.approx(3.0)


def test_speed_of_a_growth_curve() -> None:
    """At the inflection of a modified Gompertz curve it is the steepest slope (Zwietering et al. 1990).

    Half a day to both sides of day 6.07 the curve is already 0.05 points a day flatter.
    """
    rows = [score("B1", day, gompertz_pct(day, 12.0, lag=3.0)) for day in (5.57, 6.07, 6.57)]
    assert points_per_day(_series(*rows)) == pytest.approx(12.0, abs=0.1)


def test_coverage_at_an_age() -> None:
    """On the straight line between two scores; half a day beyond the ends; not across a segment's end."""
    series = _series(score("B1", 6, 38), score("B1", 7, 56), score("B1", 9, 10, segment=1))
    coverage = coverage_at(series, np.array([6 + 2 / 3, 7.5, 8.0, 8.5]))
    assert coverage == pytest.approx([0.50, 0.56, np.nan, 0.10], nan_ok=True)


def _curve(*rows: ScoreRow, **other: object) -> BagCurve:
    (curve,) = curves_of(make_trial(make_bag("B1")), Ledger(scores=rows, **other))
    return curve


def test_onset_lies_between_two_photos_and_not_at_the_verdict() -> None:
    """From the last measured photo without the patch to the first with it."""
    rows = (
        score("B1", 3, 10),
        score("B1", 6, 30),
        score("B1", 7, None),
        score("B1", 9, 50),
        score("B1", 12, 70),
    )
    patches = (suspect("B1", 9), suspect("B1", 12))
    called = verdict("B1", 13, "contaminated", patch="p1")
    (onset,) = _curve(*rows, suspects=patches, verdicts=(called,)).onsets
    assert (onset.after_days, onset.by_days) == (6.0, 9.0)
    assert (onset.patch, onset.kind, onset.call) == ("p1", "green", "contaminated")


def test_onset_of_a_patch_that_was_there_from_the_beginning() -> None:
    """Without a photo before it, nothing is known of its earliest time."""
    (onset,) = _curve(score("B1", 3, 10), suspects=(suspect("B1", 3),)).onsets
    assert (onset.after_days, onset.by_days, onset.call) == (None, 3.0, None)


def test_harmless_and_expected_patches_have_no_onset() -> None:
    """What is no alarm is not marked."""
    patches = (suspect("B1", 3), suspect("B1", 3, "p2", "amber", flags=(Flag.EXPECTED,)))
    said = verdict("B1", 4, "harmless", patch="p1")
    assert _curve(score("B1", 3, 10), suspects=patches, verdicts=(said,)).onsets == ()


def test_curves_hold_events_and_calls_of_the_bag() -> None:
    """Events with the bag's age, a call on the whole bag."""
    trial, ledger = make_hornbeam()
    curves = {curve.bag.bag: curve for curve in curves_of(trial, ledger)}
    assert [(one.what, one.days) for one in curves["HE2-2"].happenings] == [("moved", 3.5), ("shaken", 6.5)]
    assert [code for code, curve in curves.items() if curve.contaminated] == ["HE2-1"]
    assert _curve(score("B1", 3, 10), events=(event("moved", 1, "B2"),)).happenings == ()


def test_a_camera_change_is_a_mark_of_the_bags_in_its_photo() -> None:
    """The photo flagged `other-camera` stands among the happenings of the bags that it shows."""
    changed = replace(photo(5), problems=(Flag.OTHER_CAMERA,))
    photos = (photo(3), changed)
    curve = _curve(score("B1", 3, 10), score("B1", 5, 30), photos=photos)
    assert [(one.what, one.days) for one in curve.happenings] == [("other camera", 5.0)]
    assert _curve(score("B1", 3, 10), photos=photos).happenings == ()
