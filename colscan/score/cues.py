"""One bag's registered light and its unmixing → what the network looks at: maps and whole-face numbers.

All of it is relative: today's light to today's own level, the baseline's to its own, both to each
other by the fitted change of light. So exposure and paper cancel before anything learnt is asked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.photo.model import Mask
from colscan.photo.ranks import median, picked, quantiles
from colscan.score.coverage import Look
from colscan.score.face import Grid, Means, blurred, channels_of, merged
from colscan.score.levels import Levels, find_levels
from colscan.score.mixing import Cells, Fits
from colscan.score.prepare import Prepared

MAPS = 23
NUMBERS = 28
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
# Levels nearer to each other than this part nothing.
_LEAST_WIDTH = 0.1


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
    gain, veil, white = (np.float32(x[0]) for x in (fit.gain, fit.veil, fit.white))
    y, d, y0, d0 = (
        x.reshape(shape) for x in (cells.brightness, cells.redness, cells.brightness0, cells.redness0)
    )
    y, y0 = np.maximum(y, np.float32(1e-4)), np.maximum(y0, np.float32(1e-4))
    known = clear if clear.any() else bag.whole
    front = known & (bag.depth > _RIM_MM / 2)
    front = front if front.any() else known
    level, level0 = (np.float32(median(picked(x, front))) for x in (y, y0))
    bare = gain * y0 + veil
    means = Means(clear)
    reds = [
        means.at(d, s) / np.maximum(gain * blurred(d0, s), np.float32(0.02) * gain * level0)
        for s in (_NEAR_MM, _AROUND_MM)
    ]
    detail = (means.at(y, _BAND_MM[0]) - means.at(y, _BAND_MM[1])) / level * clear
    detail0 = (blurred(y0, _BAND_MM[0]) - blurred(y0, _BAND_MM[1])) / level0 * clear
    own, both = channels_of(means.at(merged([detail * detail, detail * detail0]), _WINDOW_MM))
    own, own0 = own + _NOISE**2, means.at(detail0 * detail0, _WINDOW_MM) + _NOISE**2
    brightness, _, green = channels_of(bag.tones)
    maps = [
        np.log(y / level),
        np.log(y0 / level0),
        4 * d / y,
        4 * d0 / y0,
        8 * means.at(np.asarray(green / np.maximum(brightness, np.float32(1e-4)), np.float32), 1.0),
        (y - bare) / np.maximum(white - bare, np.float32(0.2) * white),
        (means.at(y, _AROUND_MM) - blurred(bare, _AROUND_MM)) / white,
        *reds,
        4 * detail,
        4 * detail0,
        both / own0,
        both / np.sqrt(own * own0),
        np.log(own / own0) / 2,
        opacity * 2,
        chance * 2,
    ]
    planes = np.empty((MAPS, *shape), np.float32)
    for plane, one in zip(planes, maps, strict=False):
        np.clip(one, -3, 3, out=plane)
        np.copyto(plane, means.at(plane, _FILL_MM), where=~clear)
    after = len(maps)
    planes[after : after + 3] = clear, np.minimum(bag.depth / _RIM_MM, 1.0), patches
    parted = _part((opacity, chance), clear & ~patches)
    planes[after + 3 :] = _sides(planes[after - 2 : after] * np.float32(0.5), parted)
    numbers = _numbers(
        np.array([level, level0, gain, veil, white, float(fit.scale[0]), bag.likeness]),
        *(picked(x, known) for x in (d / y, d0 / y0, chance, opacity)),
        texture=float(both.sum(where=known) / own0.sum(where=known)),
        red=picked(reds[1], known),
    )
    return Cues(maps=planes, numbers=np.concatenate([numbers, *map(_of_levels, parted)]), clear=clear)


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
        4 * median(redness),
        4 * median(redness0),
        2 * chance.mean(),
        2 * opacity.mean(),
        texture,
        *quantiles(red, [0.1, 0.5, 0.9]),
    ]
    return np.asarray(np.clip(numbers, -3, 3), np.float32)


def _part(maps: tuple[Grid, Grid], known: Mask) -> tuple[Levels, ...]:
    means = Means(known)
    return tuple(find_levels(values, known, means) for values in maps)


def _sides(maps: NDArray[np.float32], parted: tuple[Levels, ...]) -> list[Grid]:
    """On which side of its map's levels each cell lies, and how far."""
    return [
        np.clip(3 * (values - level) / max(width, _LEAST_WIDTH), -3, 3)
        for values, levels in zip(maps, parted, strict=True)
        for level, width in ((levels.edge, levels.reach), (levels.split, levels.gap))
    ]


def _of_levels(levels: Levels) -> NDArray[np.float32]:
    """How a map parts, as numbers of about 1."""
    return np.array(
        [
            3 * levels.edge_share - 1.5,
            np.log(levels.steepness),
            3 * levels.edge,
            2 * levels.reach,
            3 * levels.split_share - 1.5,
            3 * levels.gap,
            3 * levels.low,
        ],
        np.float32,
    )
