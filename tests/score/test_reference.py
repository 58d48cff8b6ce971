"""Cards of one photo → one colour of light."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose
from score.compose import compose

from colscan.locate.model import BagView
from colscan.score import share_reference


def with_paper(paper: list[float]) -> BagView:
    """A view whose card's paper is this."""
    return replace(compose(), paper=np.array(paper))


def test_burnt_out_channel_is_taken_from_the_other_cards():
    """Blue reads 1 where it would be 1.2: the other cards say 1.5 times green."""
    views = [with_paper([0.4, 0.4, 0.6]), with_paper([0.5, 0.5, 0.75]), with_paper([0.8, 0.8, 1.0])]
    assert_allclose(share_reference(views)[2].paper, [0.8, 0.8, 1.2])


def test_unreadable_card_takes_the_photos_paper():
    """The median of the others."""
    views = [with_paper([0.4, 0.4, 0.4]), with_paper([0.6, 0.6, 0.6]), with_paper([np.nan] * 3)]
    assert_allclose(share_reference(views)[2].paper, [0.5, 0.5, 0.5])


def test_brightness_stays_each_cards_own():
    """Light falls off over a shelf."""
    views = [with_paper([0.3, 0.3, 0.3]), with_paper([0.6, 0.6, 0.6])]
    assert_allclose([v.paper[1] for v in share_reference(views)], [0.3, 0.6])


def test_without_any_card_nothing_changes():
    """Nothing is made up."""
    assert np.isnan(share_reference([with_paper([np.nan] * 3)])[0].paper).all()
    assert share_reference([]) == ()
