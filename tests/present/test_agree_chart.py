"""The plot of scores and what was seen: every pair is there, the lines are the headline's."""

from __future__ import annotations

import numpy as np
import pytest
from hornbeam import at_day, make_bag, make_trial, score

from colscan.growth.agree import Painted, agreement
from colscan.ledger import Ledger
from colscan.ledger.columns import EstimateRow
from colscan.present.agree_chart import draw_agreement, make_figure

TRIAL = make_trial(make_bag("A"))
DAYS = (2, 4, 6)
SCORES = tuple(score("A", day, 10.0 * day) for day in DAYS)
SEEN = tuple(
    EstimateRow(at=at_day(9), bag="A", photo_sha256=row.photo_sha256, coverage_pct=25.0, blind="yes")
    for row in SCORES
)
MASK = Painted(photo_sha256=SCORES[0].photo_sha256, bag="A", coverage=0.3)


def test_every_pair_is_drawn() -> None:
    """Left scores over what was seen, right their differences, and the three lines of the headline."""
    check = agreement(TRIAL, Ledger(scores=SCORES, estimates=SEEN), (MASK,))
    left, right = make_figure(TRIAL, check).axes
    points = [line.get_xydata() for line in left.lines if line.get_linestyle() == "None"]
    assert [len(xy) for xy in points] == [3, 1]
    assert points[0] == pytest.approx(np.array([[25, 20], [25, 40], [25, 60]]))
    drawn = {text.get_text() for text in right.texts}
    limits = check.agreements[0].limits
    assert drawn == {f"{100 * e.value:+.1f}" for e in (limits.bias, limits.lower, limits.upper)}
    labels = [text.get_text() for text in left.get_legend().get_texts()]
    assert labels == ["blind estimates (pairs: 3, bags: 1)", "painted masks (pairs: 1, bags: 1)"]


def test_a_single_pair_has_no_lines() -> None:
    """One difference has no spread."""
    check = agreement(TRIAL, Ledger(scores=SCORES, estimates=SEEN[:1]))
    _, right = make_figure(TRIAL, check).axes
    assert not right.texts


def test_the_same_data_give_the_same_bytes() -> None:
    """PNG and SVG without date or version."""
    check = agreement(TRIAL, Ledger(scores=SCORES, estimates=SEEN))
    assert draw_agreement(TRIAL, check) == draw_agreement(TRIAL, check)
