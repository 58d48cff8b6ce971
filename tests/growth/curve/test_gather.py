"""Which scores a curve is fitted to."""

from __future__ import annotations

import numpy as np
import pytest
from hornbeam import event, make_bag, make_trial, score, suspect, verdict

from colscan.growth.curve.angles import USUAL_SD, to_angle
from colscan.growth.curve.gather import courses_of, pad
from colscan.growth.curve.model import Measure
from colscan.ledger import Ledger

ROWS = tuple(score("B1", day, pct) for day, pct in ((1, 2), (3, 10), (4, None), (6, 62), (9, 97)))


def _courses(*rows, measure=Measure.COVERAGE, **others):
    trial = make_trial(make_bag("B1"), make_bag("B9", role="blank"))
    return courses_of(trial, Ledger(scores=rows, **others), measure)


def test_measured_scores_of_a_bag() -> None:
    """Days and fractions with their photos; unmeasured photos and blanks are left out."""
    (course,) = _courses(*ROWS, score("B9", 3, 1))
    assert course.days.tolist() == pytest.approx([1, 3, 6, 9])
    assert course.value.tolist() == pytest.approx([0.02, 0.10, 0.62, 0.97])
    assert course.photos == ("d1.jpg", "d3.jpg", "d6.jpg", "d9.jpg")
    assert (course.segment, course.began_days) == (0, 0.0)


def test_density() -> None:
    """How white it is instead of how far."""
    (course,) = _courses(*ROWS, measure=Measure.DENSITY)
    assert course.value.tolist() == pytest.approx([0.014, 0.07, 0.434, 0.679])


def test_nothing_from_a_loss_on() -> None:
    """The photo in which the patch was first seen counts no more."""
    (course,) = _courses(
        *ROWS, suspects=(suspect("B1", 6),), verdicts=(verdict("B1", 9, "contaminated", patch="p1"),)
    )
    assert course.days.tolist() == pytest.approx([1, 3])


def test_a_segment_after_shaking_is_a_course_of_its_own() -> None:
    """It began when the bag was shaken, not with its first photo."""
    first, second = _courses(*ROWS, events=(event("shaken", 4.5, "B1"),))
    assert (first.days.tolist(), second.days.tolist()) == (pytest.approx([1, 3]), pytest.approx([6, 9]))
    assert (second.segment, second.began_days) == (1, pytest.approx(4.5))


def test_a_bag_without_a_score() -> None:
    """It has an empty course, so that it is told of."""
    (course,) = _courses(score("B1", 2, None))
    assert course.days.size == 0


def test_a_score_without_an_interval() -> None:
    """The scorer's usual error stands for it."""
    rows = (score("B1", 2, 40, coverage_low_pct=None, coverage_high_pct=None),)
    assert _courses(*rows)[0].sd.tolist() == [USUAL_SD]


def test_padding() -> None:
    """A shorter course is filled up with what isn't used; days count from its first photo."""
    first, second = _courses(*ROWS, score("B1", 12, 99), events=(event("shaken", 4.5, "B1"),))
    block = pad([first, second])
    assert block.days.tolist() == [pytest.approx([0, 2, 0]), pytest.approx([0, 3, 6])]
    assert block.used.tolist() == [[True, True, False], [True, True, True]]
    assert block.angle[1] == pytest.approx(to_angle(np.array([0.62, 0.97, 0.99])))
