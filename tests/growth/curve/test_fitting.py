"""Each bag's curves, from the ledger on."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from hornbeam import event, gompertz_pct, make_bag, make_hornbeam, make_trial, score, verdict
from simulate import Design, simulate

from colscan.growth.curve import BagFit, Measure, Shape, fit_bags
from colscan.ledger import Ledger

DAYS = np.arange(0.5, 22.0)
LAG = 3.0


def _rows(bag: str = "B1", speed: float = 12.0, until: float = 99.0, **other):
    return [
        score(bag, day, round(gompertz_pct(day, speed, LAG), 2), spread=4.0, **other)
        for day in DAYS
        if day < until
    ]


def _fit(rows, *, measure=Measure.COVERAGE, **others) -> BagFit:
    return fit_bags(make_trial(make_bag("B1")), Ledger(scores=tuple(rows), **others), measure=measure)[-1]


def test_a_bag_that_grows_as_a_model_says() -> None:
    """Figures of the curve that made the scores (closed forms), in their intervals."""
    fit = _fit(_rows())
    for got, true, within in (
        (fit.half_days, 7.1893, 0.1),
        (fit.ninety_days, 12.9645, 0.3),
        (fit.lag_days, 3.0, 0.1),
        (fit.rate_per_day, 0.12, 0.003),
    ):
        assert got is not None
        assert got.value == pytest.approx(true, abs=within)
        assert got.low < true < got.high
    assert fit.shape is Shape.GOMPERTZ
    assert (fit.why_not, fit.outliers, fit.points) == ("", (), len(DAYS))


def test_the_model_is_near_the_scores() -> None:
    """Within 2 points all along."""
    model = _fit(_rows()).model
    assert model is not None
    assert np.abs(model.at(DAYS) - [gompertz_pct(day, 12.0, LAG) / 100 for day in DAYS]).max() < 0.02


def test_too_early_to_say() -> None:
    """Under five photos, or under half, nothing is told, and why."""
    fit = _fit(_rows(until=4))
    assert (fit.half_days, fit.rate_per_day) == (None, None)
    assert fit.why_not == "too early to say: 4 photos of it yet, a curve takes 5 over 2 days"
    fit = _fit(_rows(until=7))
    assert (fit.half_days, fit.ninety_days, fit.lag_days, fit.rate_per_day, fit.shape) == (None,) * 5
    assert fit.why_not == "too early to say: it has come to 42 %, a curve takes half"


def test_a_bag_that_was_lost_early() -> None:
    """The photos after it don't count and none is to come: it isn't too early, but too late to say."""
    rows, lost = _rows(until=7), (verdict("B1", 3.6, "contaminated"),)
    fit = _fit(rows, verdicts=lost)
    assert fit.why_not == "no curve: 4 photos of it from before its loss, a curve takes 5 over 2 days"


def test_half_but_not_yet_ninety() -> None:
    """What can be said is said, the rest is named."""
    fit = _fit(_rows(until=10))
    assert fit.half_days is not None
    assert fit.ninety_days is None
    assert "too early to say 90 %: not reached yet" in fit.why_not


def test_photos_begin_when_half_is_over() -> None:
    """No day of half can be told; that of 90 % can."""
    fit = _fit(row for row in _rows() if row.coverage_pct > 55)
    assert fit.half_days is None
    assert fit.ninety_days is not None
    assert "half was reached before its first photo" in fit.why_not


def test_photos_of_one_day_are_no_course() -> None:
    """However many."""
    rows = [score("B1", 9 + 0.1 * i, 70) for i in range(8)]
    assert "over 2 days" in _fit(rows).why_not


def test_an_outlier_is_left_out_and_named() -> None:
    """A foggy photo that reads 45 points too low moves nothing."""
    rows = _rows()
    assert (rows[9].photo, rows[9].coverage_pct) == ("d9.5.jpg", 72.17)
    rows[9] = replace(rows[9], coverage_pct=27.0, coverage_low_pct=23.0, coverage_high_pct=31.0)
    fit = _fit(rows)
    (named,) = fit.outliers
    assert (named.photo, named.days, named.value) == ("d9.5.jpg", pytest.approx(9.5), pytest.approx(0.27))
    assert named.expected == pytest.approx(0.72, abs=0.04)
    assert fit.points == len(DAYS) - 1
    assert fit.half_days is not None
    assert fit.half_days.value == pytest.approx(7.19, abs=0.1)


def test_a_photo_that_says_itself_that_it_is_unsure_is_no_outlier() -> None:
    """The same 45 points with an interval that wide are nothing to name, and hardly count."""
    rows = _rows()
    rows[9] = replace(rows[9], coverage_pct=27.0, coverage_low_pct=0.0, coverage_high_pct=80.0)
    fit = _fit(rows)
    assert fit.outliers == ()
    assert fit.half_days is not None
    assert fit.half_days.value == pytest.approx(7.19, abs=0.15)


def test_after_shaking() -> None:
    """Each segment is a curve of its own; its days count since spawning."""
    before = _rows(until=6.2)
    after = [
        score("B1", day, round(gompertz_pct(day - 6.2, 18.0, 1.0), 2), segment=1, spread=4.0)
        for day in DAYS
        if day > 6.2
    ]
    trial = make_trial(make_bag("B1"))
    ledger = Ledger(scores=tuple(before + after), events=(event("shaken", 6.2, "B1"),))
    first, second = fit_bags(trial, ledger)
    assert (first.segment, first.began_days, first.half_days) == (0, 0.0, None)
    assert (second.segment, second.began_days) == (1, pytest.approx(6.2))
    assert second.half_days is not None
    true = 1.0 + 100 / (18 * np.e) * (1 - np.log(-np.log(0.5)))
    assert second.half_days.value - second.began_days == pytest.approx(true, abs=0.1)


def test_how_white() -> None:
    """Half and 90 % are of where the whiteness ends, 70 % here, and so come on the same days."""
    fit = _fit(_rows(), measure=Measure.DENSITY)
    assert fit.asymptote is not None
    assert fit.asymptote.value == pytest.approx(0.70, abs=0.02)
    assert fit.half_days is not None
    assert fit.half_days.value == pytest.approx(7.19, abs=0.2)


def test_blanks_and_bags_without_a_photo() -> None:
    """Blanks have no curve; a bag without a photo is told of."""
    trial = make_trial(make_bag("B1"), make_bag("B2"), make_bag("B9", role="blank"))
    fits = fit_bags(trial, Ledger(scores=tuple(_rows() + _rows("B9"))))
    assert [fit.bag.bag for fit in fits] == ["B1", "B2"]
    assert fits[1].why_not.startswith("too early to say: no photo of it yet")
    assert fit_bags(make_trial(), Ledger()) == ()


def test_nothing_is_known_better_by_bags_that_share_their_errors() -> None:
    """Narrower claims make narrower intervals, but never down to nothing with many photos."""
    wide, narrow = (
        _fit([replace(row, coverage_low_pct=max(0.0, row.coverage_pct - half), coverage_high_pct=min(
            100.0, row.coverage_pct + half)) for row in _rows()]).half_days
        for half in (12.0, 3.0)
    )  # fmt: skip
    assert wide is not None
    assert narrow is not None
    assert wide.high - wide.low > 2 * (narrow.high - narrow.low)
    # Half of what one score claims at 12 points a day: 22 photos don't average the bag's part away.
    assert wide.high - wide.low > 0.5 * 2 * 12.0 / 12.0


def test_the_same_trial_gives_the_same_fits() -> None:
    """To the last bit, whatever the order of bags: nothing is drawn by lot."""
    trial, ledger = make_hornbeam()
    one, again = (fit_bags(trial, ledger) for _ in range(2))
    assert [fit.half_days for fit in one] == [fit.half_days for fit in again]
    turned = fit_bags(replace(trial, bags=trial.bags[::-1]), ledger)
    for fit, other in zip(one, sorted(turned, key=lambda fit: trial.bags.index(fit.bag)), strict=True):
        assert (fit.half_days is None) == (other.half_days is None)
        if fit.half_days and other.half_days:
            assert fit.half_days.value == pytest.approx(other.half_days.value, abs=1e-6)


def test_a_hundred_bags_in_seconds() -> None:
    """99 bags of 40 photos take a second of one core; the bound leaves room for a busy machine."""
    design = Design(levels=(0.0, 5.0, 10.0), rate_ratios=(1.0, 1.1, 1.2), risks=(0.05,) * 3, photo_days=40)
    made = simulate(replace(design, bags_per_level=33), 1)
    began = time.process_time()
    assert len(fit_bags(made.trial, made.ledger)) == 99
    assert time.process_time() - began < 6.0
