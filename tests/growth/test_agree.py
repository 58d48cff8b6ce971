"""Agreement of scores and people: concordance and limits against published values, pairing, sentences."""

from __future__ import annotations

import numpy as np
import pytest
from hornbeam import at_day, make_bag, make_trial, score

from colscan.errors import AnalysisError
from colscan.growth.agree import Kind, Painted, agreement, concordance, limits_of_agreement
from colscan.growth.agree_words import say_agreement
from colscan.ledger import Ledger
from colscan.ledger.columns import EstimateRow

# Peak flow of 17 subjects by a Wright meter and a mini meter, first readings (Bland & Altman 1986, table 1).
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
STEPS = np.arange(0.0, 70.0, 10.0)


@pytest.mark.parametrize(
    ("other", "value", "correlation", "accuracy"),
    [
        (STEPS + 10, 8 / 9, 1.0, 8 / 9),
        ([0, 5, 30, 30, 30, 60, 50], 0.92444, 0.92504, 0.99936),
        ([25, 10, 10, 45, 35, 65, 30], 0.58824, 0.59293, 0.99209),
    ],
)
def test_concordance_of_published_sets(other, value, correlation, accuracy) -> None:
    """Three sets of Del Ponte, R for Plant Disease Epidemiology (data-accuracy.qmd), computed with 1/n."""
    found = concordance(STEPS, np.array(other, dtype=float))
    assert found.value == pytest.approx(value, abs=1e-5)
    assert found.correlation == pytest.approx(correlation, abs=1e-5)
    assert found.accuracy == pytest.approx(accuracy, abs=1e-5)


def test_peak_flow_meters() -> None:
    """Bias, standard deviation, limits and their intervals of Bland & Altman's meters, and the concordance.

    Computed with scipy from the published readings; the paper, with rounded inputs and 2 SD, has -79.7, 75.5.
    """
    wright, mini = np.array(WRIGHT, dtype=float), np.array(MINI, dtype=float)
    found = limits_of_agreement(wright, mini)
    assert found.pairs == 17
    assert found.bias.value == pytest.approx(-2.117647, abs=1e-6)
    assert (found.upper.value - found.lower.value) / (2 * 1.96) == pytest.approx(38.765127, abs=1e-5)
    assert found.lower.value == pytest.approx(-78.097, abs=1e-3)
    assert found.upper.value == pytest.approx(73.862, abs=1e-3)
    assert (found.bias.low, found.bias.high) == (
        pytest.approx(-22.049, abs=1e-3),
        pytest.approx(17.814, abs=1e-3),
    )
    t_16 = 2.119905
    assert (found.bias.high - found.bias.value) / t_16 == pytest.approx(9.4019, abs=1e-4)
    assert (found.upper.high - found.upper.value) / t_16 == pytest.approx(16.2846, abs=1e-4)
    lin = concordance(wright, mini)
    assert lin.value == pytest.approx(0.94274, abs=1e-5)
    assert lin.correlation == pytest.approx(0.94328, abs=1e-5)
    assert lin.accuracy == pytest.approx(0.99943, abs=1e-5)


def test_no_concordance_of_what_does_not_vary() -> None:
    """All alike on one side: there is nothing to go along with."""
    assert concordance(STEPS, np.full(7, 0.3)) is None
    assert concordance(np.full(7, 0.1), STEPS) is None


TRIAL = make_trial(make_bag("A"), make_bag("B"))
DAYS = (2, 4, 6, 8, 10)
SCORES = tuple(score(bag, day, 10.0 * day - 5 + (bag == "B") * 2, spread=5.0) for day in DAYS for bag in "AB")


def _sha(day: float) -> str:
    return f"{round(day * 1000):064x}"


def _see(bag: str, day: float, pct: float, **other: object) -> EstimateRow:
    fields = {"blind": "yes", "photo_sha256": _sha(day)}
    return EstimateRow(**{"at": at_day(30), "bag": bag, "coverage_pct": pct, **fields, **other})


def _check(*estimates: EstimateRow, painted: tuple[Painted, ...] = ()):
    return agreement(TRIAL, Ledger(scores=SCORES, estimates=estimates), painted)


ALL = tuple(_see(bag, day, 10.0 * day - 2) for day in DAYS for bag in "AB")


def test_pairs_of_scores_and_blind_estimates() -> None:
    """A is scored 3 points under what was seen, B one under: bias -2, mean difference 2, all held."""
    (one,) = _check(*ALL).agreements
    assert (one.kind, len(one.pairs), one.bags) == (Kind.BLIND, 10, 2)
    assert one.limits.bias.value == pytest.approx(-0.02)
    assert one.limits.lower.value == pytest.approx(-0.02 - 1.96 * 0.01 * np.sqrt(10 / 9))
    assert (one.mean_abs, one.held) == (pytest.approx(0.02), 1.0)
    assert (one.whole.low, one.whole.high) == (pytest.approx(0.18), pytest.approx(0.98))
    assert [(band.low, band.pairs) for band in one.bands] == [
        (0.0, 2), (0.2, 2), (0.4, 2), (0.6, 2), (0.8, 2),
    ]  # fmt: skip
    assert one.middle.pairs == 8


def test_an_estimate_outside_the_interval_is_not_held() -> None:
    """Of two pairs one lies outside the score's own interval of 5 points to either side."""
    (one,) = _check(_see("A", 4, 39.0), _see("A", 6, 61.0)).agreements
    assert one.held == 0.5


def test_kinds_stand_apart() -> None:
    """Only blind estimates make the headline; blind = no, or not said, is shown apart, as are masks."""
    open_ones = (_see("A", 2, 90.0, blind="no"), _see("B", 2, 90.0, blind=None))
    painted = (Painted(photo_sha256=_sha(4), bag="A", coverage=0.5),)
    check = _check(*open_ones, *ALL, painted=painted)
    assert [(one.kind, len(one.pairs)) for one in check.agreements] == [
        (Kind.BLIND, 10), (Kind.MASKS, 1), (Kind.OPEN, 2),
    ]  # fmt: skip
    assert check.agreements[0].limits.bias.value == pytest.approx(-0.02)
    assert check.agreements[1].limits is None


def test_of_several_people_the_mean_counts() -> None:
    """Two see 30 and 40 %: one pair at 35 %."""
    (one,) = _check(_see("A", 4, 30.0, by="K"), _see("A", 4, 40.0, by="L")).agreements
    assert [pair.seen for pair in one.pairs] == [pytest.approx(0.35)]


def test_photos_by_their_first_letters() -> None:
    """As long as only one photo of that bag begins so; upper case is read, too."""
    names = {row.photo_sha256 for row in SCORES}
    last = f"{'A' * 8}{_sha(12)[8:]}"
    scores = (*SCORES, score("A", 12, 50.0, photo_sha256=last.lower()))
    ledger = Ledger(scores=scores, estimates=(_see("A", 12, 50.0, photo_sha256="AAAAAAAA"),))
    (one,) = agreement(TRIAL, ledger).agreements
    assert one.pairs[0].photo_sha256 == last.lower()
    shared = next(iter(names))[:8]
    check = _check(*ALL, _see("A", 2, 10.0, photo_sha256=shared))
    assert check.unmatched == 1


def test_what_has_no_score_is_counted() -> None:
    """A bag that isn't the trial's, a photo that wasn't scored; and one that could not be measured."""
    scores = (*SCORES, score("A", 12, None))
    estimates = (*ALL, _see("Z", 2, 1.0), _see("A", 3, 1.0), _see("A", 12, 60.0))
    check = agreement(TRIAL, Ledger(scores=scores, estimates=estimates))
    assert (check.unmatched, check.unmeasured) == (2, 1)
    said = " ".join(say_agreement(check))
    assert "Left out: 2 values of a bag or photo that has no score" in said
    assert "Left out: 1 value of a bag that could not be measured" in said


def test_nothing_to_hold_against() -> None:
    """What to do instead is said."""
    with pytest.raises(AnalysisError, match="no estimate or mask") as error:
        _check()
    assert "estimates.csv" in error.value.hint


def test_sentences_of_a_headline() -> None:
    """How far to trust a score, whether it is off on the whole, how sure that is, and what it rests on."""
    said = say_agreement(_check(*ALL))
    assert said[0].startswith("On these bags read a single score as good to about 4.1 points. 19 of 20 lie")
    assert "between -4.1 and +0.1 points from what was seen (10 pairs of 2 bags, blind estimates)" in said[0]
    assert "of the 8 that were 10 to 90 % covered" in said[0]
    assert "So few pairs don't settle it" in said[0]
    assert said[1].startswith("On the whole scores are too low, by 2.0 points")
    assert any("Lin's concordance is" in sentence and "18 to 98 %" in sentence for sentence in said)
    assert any("Pairs of one bag are alike" in sentence for sentence in said)
    assert said[-1].startswith("The scorer was built on rendered photos, and no open photo set")


def test_sentences_of_other_cases() -> None:
    """One pair, no blind estimate, nothing half-way, a band that is far worse, no bias."""
    assert say_agreement(_check(ALL[0]))[0].startswith("One pair says nothing of the others: a score of 15 %")
    assert any(
        "No estimate here is blind" in sentence
        for sentence in say_agreement(_check(_see("A", 2, 9, blind="no")))
    )
    ends = say_agreement(_check(_see("A", 10, 96.0), _see("B", 10, 96.0)))
    assert "hardly any bag was 10 to 90 % covered" in ends[0]
    worse = say_agreement(_check(*ALL[:-2], _see("A", 10, 70.0), _see("B", 10, 70.0)))
    assert any(sentence.startswith("Worst where 60 to 80 % was seen") for sentence in worse)
    assert worse[1].startswith("They are neither too high nor too low on the whole")
