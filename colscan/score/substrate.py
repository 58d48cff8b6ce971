"""The bags of one photo → what bare substrate looks like where no first photo tells it.

Bags of a trial are filled with nearly the same mix and stand in one light, so a bag that is white all
over borrows the colour of those that still show some substrate. Mycelium and veils are neutral: the
reddest places of a face are its barest.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import BagView
from colscan.score.face import RIM_MM, Face, depth_mm, own_frame, resample, smooth
from colscan.score.model import Baseline

Colour = NDArray[np.float64]
# Over a shaving.
_SMOOTH_MM = 2.0
_LEAST_CELLS = 50
# The reddest tenth; the very reddest may be an orange patch or noise.
_REDDEST = (0.88, 0.97)
# Three bags in four may be grown over for the last one to say what is bare. A bag less red than this
# share of it shows no substrate of its own (supplements change redness by less than a third); one that
# is redder by half shows something else.
_BAREST_BAGS = 0.75
_ALIKE = (0.7, 1.5)
# Mycelium is white (0.78 of paper) and wet sawdust or straw reflects a quarter to a third as much. As
# faces get about a quarter of their card's light, that is 0.08 of paper: with it, the fitted change of
# light means the same as with a baseline.
_BRIGHTNESS = 0.08


def guess_substrates(views: Sequence[BagView], baselines: Sequence[Baseline]) -> list[Colour]:
    """The substrate's light / paper for each view, shape (3,): the baselines' median, else the barest places.

    Parameters
    ----------
    views : sequence of BagView
        All the bags of one photo, after `share_reference`.
    baselines : sequence of Baseline
        Of those bags of the photo that have one.
    """
    if baselines:
        return [np.median([b.colour for b in baselines], axis=0)] * len(views)
    own = [_reddest(resample(view, *own_frame(view))) for view in views]
    told = [colour for colour in own if np.isfinite(colour).all()]
    if not told:
        return [np.full(3, _BRIGHTNESS)] * len(views)
    barest = float(np.quantile([_redness(colour) for colour in told], _BAREST_BAGS))
    bare = [_ALIKE[0] * barest <= _redness(colour) <= _ALIKE[1] * barest for colour in own]
    shown = [colour for colour, is_bare in zip(own, bare, strict=True) if is_bare]
    shared = np.median(shown or told, axis=0)
    scale = _BRIGHTNESS / max(float(np.mean(shared)), 1e-4)
    return [scale * (colour if is_bare else shared) for colour, is_bare in zip(own, bare, strict=True)]


def _reddest(face: Face) -> Colour:
    """The light of a face's reddest places, (3,); NaN where it is narrower than a cell of the grid."""
    light = smooth(face.light, face.seen, _SMOOTH_MM)[face.seen & (depth_mm(face.whole) > RIM_MM)]
    if len(light) < _LEAST_CELLS:
        light = face.light[face.whole]
    if not len(light):
        return np.full(3, np.nan)
    redness = (light[:, 0] - light[:, 2]) / np.maximum(light.mean(1), 1e-4)
    low, high = np.quantile(redness, _REDDEST)
    return np.asarray(np.median(light[(redness >= low) & (redness <= high)], axis=0), np.float64)


def _redness(colour: Colour) -> float:
    return float((colour[0] - colour[2]) / max(float(colour.mean()), 1e-4))
