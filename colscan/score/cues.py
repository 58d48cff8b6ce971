"""One bag's registered light and its unmixing → what the network looks at: maps and whole-face numbers.

All of it is relative: today's light to today's own level, the baseline's to its own, both to each
other by the fitted change of light. So exposure and paper cancel before anything learnt is asked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.photo.model import Mask
from colscan.score.coverage import Look
from colscan.score.face import Grid, depth_mm, smooth
from colscan.score.mixing import Cells, Fits
from colscan.score.prepare import Prepared

MAPS = 19
NUMBERS = 14
"""How many maps and numbers there are: the network's inputs."""
# The baseline's own detail: grain and shavings (band), compared over this window.
_BAND_MM = (0.8, 4.0)
_WINDOW_MM = 5.0
# Colour is averaged over a shaving, and over several.
_NEAR_MM, _AROUND_MM = 2.0, 6.0
# Unseen cells are given what is seen around them.
_FILL_MM = 5.0
# A block's sides turn away within this of its outline.
_RIM_MM = 30.0
# Detail under this share of the face's brightness is noise.
_NOISE = 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cues:
    """What the network looks at.

    Parameters
    ----------
    maps : ndarray, shape (MAPS, h, w), float32
        Per cell.
    numbers : ndarray, shape (NUMBERS,), float32
        Of the whole face.
    clear : ndarray of bool, shape (h, w)
        Cells that are seen.
    """

    maps: NDArray[np.float32]
    numbers: NDArray[np.float32]
    clear: Mask


def find_cues(bag: Prepared, cells: Cells, fit: Fits, *, look: Look, patches: Mask) -> Cues:
    """Maps and numbers of one bag.

    Parameters
    ----------
    cells : Cells
        Every cell of the face's grid.
    fit : Fits
        The bag's most believed light.
    look : Look
        What of the face is seen, and the unmixing's own answer.
    patches : ndarray of bool, shape (h, w)
        Suspect patches.
    """
    clear, chance, opacity = look.seen, look.chance, look.opacity
    shape = clear.shape
    gain, veil, white = (float(x[0]) for x in (fit.gain, fit.veil, fit.white))
    y, d, y0, d0 = (
        x.reshape(shape) for x in (cells.brightness, cells.redness, cells.brightness0, cells.redness0)
    )
    y, y0 = np.maximum(y, 1e-4), np.maximum(y0, 1e-4)
    known = clear if clear.any() else bag.whole
    front = known & (depth_mm(bag.whole) > _RIM_MM / 2)
    front = front if front.any() else known
    level, level0 = float(np.median(y[front])), float(np.median(y0[front]))
    bare = gain * y0 + veil
    all_cells = np.ones(shape, bool)

    def mean(values: Grid, sigma_mm: float) -> Grid:
        return smooth(values.astype(np.float32), clear, sigma_mm)

    def mean0(values: Grid, sigma_mm: float) -> Grid:
        return smooth(values.astype(np.float32), all_cells, sigma_mm)

    reds = [
        mean(d, s) / np.maximum(gain * mean0(d0, s), 0.02 * gain * level0) for s in (_NEAR_MM, _AROUND_MM)
    ]
    detail = (mean(y, _BAND_MM[0]) - mean(y, _BAND_MM[1])) / level * clear
    detail0 = (mean0(y0, _BAND_MM[0]) - mean0(y0, _BAND_MM[1])) / level0 * clear
    own, own0 = mean(detail**2, _WINDOW_MM) + _NOISE**2, mean(detail0**2, _WINDOW_MM) + _NOISE**2
    both = mean(detail * detail0, _WINDOW_MM)
    light = bag.face.light
    green = (light[..., 1] - (light[..., 0] + light[..., 2]) / 2) / np.maximum(light.mean(2), 1e-4)
    maps = [
        np.log(y / level),
        np.log(y0 / level0),
        4 * d / y,
        4 * d0 / y0,
        8 * mean(green, 1.0),
        (y - bare) / np.maximum(white - bare, 0.2 * white),
        (mean(y, _AROUND_MM) - mean0(bare, _AROUND_MM)) / white,
        *reds,
        4 * detail,
        4 * detail0,
        both / own0,
        both / np.sqrt(own * own0),
        np.log(own / own0) / 2,
        opacity * 2,
        chance * 2,
    ]
    filled = [np.where(clear, x, mean(np.clip(x, -3, 3), _FILL_MM)) for x in maps]
    filled += [clear * 1.0, np.minimum(depth_mm(bag.whole) / _RIM_MM, 1.0), patches * 1.0]
    return Cues(
        maps=np.clip(np.stack(filled), -3, 3).astype(np.float32),
        numbers=_numbers(
            np.array([level, level0, gain, veil, white, float(fit.scale[0]), bag.likeness]),
            *(x[known] for x in (d / y, d0 / y0, chance, opacity)),
            texture=both[known].sum() / own0[known].sum(),
            red=reds[1][known],
        ),
        clear=clear,
    )


def _numbers(
    light: NDArray[np.float64],
    redness: Grid,
    redness0: Grid,
    chance: Grid,
    opacity: Grid,
    *,
    texture: float,
    red: Grid,
) -> NDArray[np.float32]:
    level, level0, gain, veil, white, scale, likeness = light
    numbers = [
        np.log(level / (gain * level0)),
        np.log(gain),
        4 * veil / white,
        np.log(white / (gain * level0)) - 1,
        np.log(scale),
        2 * likeness,
        4 * np.median(redness),
        4 * np.median(redness0),
        2 * chance.mean(),
        2 * opacity.mean(),
        texture,
        *np.quantile(red, [0.1, 0.5, 0.9]),
    ]
    return np.asarray(np.clip(numbers, -3, 3), np.float32)
