"""A bag's light → how far each place is off what its substrate and its mycelium can look like."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colscan.photo.model import Mask
from colscan.photo.ranks import median, picked, quantiles
from colscan.score.face import Grid, Means, channels_of, over_channels, smooth
from colscan.score.mixing import WHITE_REDNESS, Fits
from colscan.score.prepare import DETAIL_MM, Prepared

# Colour is coded more coarsely than brightness.
_COLOUR_MM = 2.0
# The colour that is usual about a place.
_AROUND_MM = 10.0
# A mark's outer 3 mm mean nothing: the outline's own error.
_EDGE_MM = 3.0
# Colour is light over brightness, which noise alone makes large in the dark: below this share of the
# face's middle brightness, over that.
_DARKEST = 0.5
# Greenness, and an error of it, by one of Cb and Cr that are independent (ITU-R BT.601-7: 1.23 and 1.42).
_GREEN_OF_CODED = 1.87
# Light goes with about this power of a file's values.
_GAMMA = 2.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looks:
    """Maps of one face, all (h, w) on its grid; logs are natural.

    Parameters
    ----------
    clear : ndarray of bool
        Seen, no reflection, not at the outline.
    depth : ndarray
        mm inside the outline.
    level, level0 : ndarray
        Log brightness today and on day 0, both without the bag's own shading.
    detail : ndarray
        `level` without smoothing.
    redness, bare_redness : ndarray
        Red minus blue over brightness, and that of bare substrate at the same place.
    greenness : ndarray
        Green less the mean of red and blue, over brightness, less the face's median.
    noise : tuple of ndarray
        Standard deviation of `greenness`: over the face by its lower side, which no green patch widens,
        and by its upper side, which nothing brown or orange widens; by the file's coding where that is more.
    off_chord : ndarray
        Log brightness over that of the mixture of substrate and white that is as red: below 0 is
        darker than any mixture, above 0 brighter.
    hole : ndarray
        By which share red minus blue falls short of what is usual around (10 mm): a veil does not
        change it, and substrate and white have about as much of it; a grey or black place has none.
    opacity : ndarray
        Opacity, the lower of what brightness and what colour say.
    whiteness : ndarray
        Brightness over that of white.
    """

    clear: Mask
    depth: Grid
    level: Grid
    level0: Grid
    detail: Grid
    redness: Grid
    bare_redness: Grid
    greenness: Grid
    noise: tuple[Grid, Grid]
    off_chord: Grid
    hole: Grid
    opacity: Grid
    whiteness: Grid


def look(bag: Prepared, fit: Fits, *, glare: Mask) -> Looks:
    """The maps that suspect patches are sought in.

    Parameters
    ----------
    fit : Fits
        The bag's most believed light.
    glare : ndarray of bool, shape (h, w)
        Reflections.
    """
    depth, shown = bag.depth, Means(bag.seen & ~glare)
    clear = np.asarray(bag.seen & ~glare & (depth > _EDGE_MM))
    brightness, red, green = channels_of(shown.at(bag.tones, DETAIL_MM))
    brightness = np.maximum(brightness, np.float32(1e-4))
    over = np.maximum(brightness, np.float32(_DARKEST * _median(brightness, clear)))
    redness = red / brightness
    greenness: Grid = np.asarray(green / over, np.float32)
    greenness -= np.float32(_median(greenness, clear))
    gain, veil, white_end = (np.float32(x[0]) for x in (fit.gain, fit.veil, fit.white))
    bare0, red0, _ = channels_of(bag.around0)
    bare = np.maximum(gain * bare0 + veil, np.float32(1e-3))
    bare_redness = gain * red0 / bare
    white = white_end * bag.shading
    share = _share_by_colour(redness, bare, bare_redness, white)
    expected = bare * (1 - share) + white * share
    by_brightness = (brightness - bare) / np.maximum(white - bare, 0.2 * white)
    return Looks(
        clear=clear,
        depth=depth,
        level=np.log(brightness / bag.shading),
        level0=bag.level0,
        detail=bag.detail,
        redness=redness,
        bare_redness=bare_redness,
        greenness=greenness,
        noise=_noise(greenness, clear, coded=_coding_error(bag, over)),
        off_chord=np.log(brightness / expected),
        hole=_hole(bag, clear, shown),
        opacity=np.minimum(by_brightness, share).astype(np.float32),
        whiteness=brightness / white,
    )


def _median(values: Grid, clear: Mask) -> float:
    return float(median(picked(values, clear))) if clear.any() else 0.0


def _coding_error(bag: Prepared, brightness: Grid) -> Grid:
    """Standard deviation of greenness by the file's coding, which is of values: in the dark it is more."""
    values = 255 * (brightness * np.float32(bag.view.paper.mean())) ** np.float32(1 / _GAMMA)
    return np.asarray(_GAMMA * _GREEN_OF_CODED * bag.view.colour_error / np.maximum(values, 1), np.float32)


def _noise(greenness: Grid, clear: Mask, *, coded: Grid) -> tuple[Grid, Grid]:
    """By the outer tenths: the blocks of a coarse JPEG differ more than the middle of a face shows."""
    low, high = quantiles(picked(greenness, clear), [0.1, 0.9]) if clear.any() else (0.0, 0.0)
    return np.maximum(coded, np.float32(-low / 1.2816)), np.maximum(coded, np.float32(high / 1.2816))


def _share_by_colour(redness: Grid, bare: Grid, bare_redness: Grid, white: Grid) -> Grid:
    """Share of white in the mixture of bare substrate and white that has a given redness."""
    over = (bare_redness - redness) * bare
    share = np.clip(over / np.maximum(over + (redness - WHITE_REDNESS) * white, 1e-4), 0.0, 1.0)
    return np.where(redness <= WHITE_REDNESS, 1.0, np.where(over <= 0, 0.0, share)).astype(np.float32)


def _hole(bag: Prepared, clear: Mask, shown: Means) -> Grid:
    tones = shown.at(bag.tones[..., :2], _COLOUR_MM) / over_channels(bag.shading, 2)
    usual_brightness, usual = channels_of(smooth(tones, clear, _AROUND_MM))
    # Where everything is colourless there is no hole to see.
    least = 0.03 * usual_brightness + 1e-4
    return np.asarray(1 - tones[..., 1] / np.maximum(usual, least), np.float32)
