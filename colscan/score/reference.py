"""The cards of one photo → one colour of light, shared by its bags: one burnt-out card does no harm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import BagView
from colscan.locate.reference import BURNT_OUT_LIGHT


def share_reference(views: Sequence[BagView]) -> tuple[BagView, ...]:
    """The same views, each with a paper whose colour is the photo's and whose brightness is its own.

    The lamp's colour is one for a photo, its brightness falls off over the shelf. A channel that is
    burnt out on one card is taken from the others; a card that can't be read takes the median paper.
    A view stays as it is when no card of the photo can be read.

    Parameters
    ----------
    views : sequence of BagView
        All the bags of one photo.
    """
    papers = np.array([view.paper for view in views]).reshape(-1, 3)
    readable = papers[np.isfinite(papers).all(1)]
    if not len(readable):
        return tuple(views)
    whole = readable[readable.max(1) < BURNT_OUT_LIGHT]
    told = whole if len(whole) else readable
    colour = np.median(told / told[:, 1:2], axis=0)
    brightness = [_brightness(paper, colour) for paper in readable]
    shared = float(np.median(brightness))
    return tuple(
        replace(
            view,
            paper=colour * (_brightness(view.paper, colour) if np.isfinite(view.paper).all() else shared),
        )
        for view in views
    )


def with_paper(view: BagView) -> BagView:
    """The view, with white as its paper where no card of the photo could be read (it is flagged so)."""
    if np.isfinite(view.paper).all():
        return view
    return replace(view, paper=np.ones(3))


def _brightness(paper: NDArray[np.float64], colour: NDArray[np.float64]) -> float:
    """How bright the paper is by those channels that are not burnt out."""
    unclipped = paper < BURNT_OUT_LIGHT
    kept = unclipped if unclipped.any() else np.ones(3, bool)
    return float(np.median(paper[kept] / colour[kept]))
