"""A face's grain: where shavings and spawn lie differs from bag to bag and shows through thin mycelium."""

from __future__ import annotations

import cv2
import numpy as np

from colscan.photo.model import Mask
from colscan.score.face import Grid, Means, brightness_of, channels_of, merged

# Edges of shavings and grain, sharp even under thin mycelium; coarser detail is light and growth.
_GRAIN_MM = (1.0, 3.0)
# Contrast is made even over this, so that bare places don't outweigh those half grown over.
_EVEN_MM, _MOST_CONTRAST = 8.0, 2.0
# Colour is coarser in a JPEG and noisier than brightness, but film and reflections leave it alone. With 0.5
# or 1 instead a twentieth fewer bags are more like themselves than 99 of 100 others are.
_COLOUR = 0.7


def grain_of(light: Grid, seen: Mask) -> Grid:
    """Grain of brightness and of colour (red minus blue) as they count together, (h, w, 2); 0 where unseen.

    Parameters
    ----------
    light : ndarray, shape (h, w, 3), float32
        A face's light / paper.
    seen : ndarray of bool, shape (h, w)
        Where it is seen.
    """
    red, _, blue = channels_of(light)
    brightness = np.maximum(brightness_of(light), np.float32(1e-4))
    tones = np.log(brightness), (red - blue) / brightness
    grain = _even_grain(merged([np.asarray(tone, np.float32) for tone in tones]), seen)
    layers = zip((1, _COLOUR), channels_of(grain), strict=True)
    return merged([weight * _of_unit_power(layer) for weight, layer in layers])


def _even_grain(values: Grid, seen: Mask) -> Grid:
    """Fine detail of maps (h, w, n), divided by its usual contrast around each place."""
    means = Means(seen)
    fine, coarse = (means.at(values, sigma) for sigma in _GRAIN_MM)
    detail = fine - coarse
    contrast = np.sqrt(np.maximum(means.at(detail * detail, _EVEN_MM), np.float32(1e-8)))
    even = np.clip(detail / contrast, -_MOST_CONTRAST, _MOST_CONTRAST)
    return np.asarray(even * seen[..., None], np.float32)


def likeness_by_shift(known: Grid, clear0: Grid, today: Grid, clear: Grid) -> tuple[Grid, Grid]:
    """Correlation of what both faces show, at each shift that fits, and how many cells that are.

    Parameters
    ----------
    known : ndarray, shape (h, w, n)
        Grain, 0 where it isn't clear.
    clear0 : ndarray, shape (h, w), float32
        1 where it is.
    today, clear : ndarrays, shape (h + i, w + j, n) and (h + i, w + j)
        The same of another face.

    Returns
    -------
    tuple of ndarray, shape (i + 1, j + 1)
        Row, column: by how much the first is shifted into the second.
    """
    energy0, energy = ((x * x).sum(2) for x in (known, today))
    product, of_known, of_today, shared = (
        np.asarray(cv2.matchTemplate(image, template, cv2.TM_CCORR))
        for image, template in ((today, known), (clear, energy0), (energy, clear0), (clear, clear0))
    )
    likeness = product / np.sqrt(np.maximum(of_known * of_today, 1e-6))
    return np.asarray(likeness, np.float32), np.asarray(shared, np.float32)


def best_shift(
    known: Grid, clear0: Grid, today: Grid, clear: Grid, *, reach: int, least: float
) -> tuple[float, tuple[int, int]]:
    """The most likeness of two faces on grids of one shape at any shift, and columns and rows of that shift.

    Parameters
    ----------
    known, clear0, today, clear : ndarrays
        As in `likeness_by_shift`.
    reach : int
        The largest shift, cells.
    least : float
        Shifts after which both show fewer cells than this have a likeness of -1.
    """
    wide, wide_clear = (
        np.asarray(cv2.copyMakeBorder(x, *(reach,) * 4, cv2.BORDER_CONSTANT, value=(0, 0)), np.float32)
        for x in (today, clear)
    )
    likeness, shared = likeness_by_shift(known, clear0, wide, wide_clear)
    likeness[shared < least] = -1
    _, most, _, (column, row) = cv2.minMaxLoc(likeness)
    return most, (column - reach, row - reach)


def _of_unit_power(grain: Grid) -> Grid:
    power = float((grain * grain).mean())
    return grain / np.float32(power**0.5) if power else grain
