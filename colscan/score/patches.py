"""Places whose colour is neither this bag's substrate nor its mycelium, nor explained by shading."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from colscan.photo.model import Mask
from colscan.score.face import GRID_MM, Grid, depth_mm, near_mm, smooth, to_mm, to_photo_px
from colscan.score.mixing import MYCELIUM, Fits
from colscan.score.model import PatchSeen
from colscan.score.prepare import Prepared

# Detail finer than this is grain and JPEG noise.
_SMOOTH_MM = 1.5
# Green over the mean of red and blue, relative to brightness and to the face's median. Substrate to
# white runs from -0.05 to 0.03; a third colour begins well beyond it, and beyond the noise.
_GREEN = 0.10
_GREEN_DEVIATIONS = 4.0
# Red minus blue, relative to brightness, over that of bare substrate at the same place. Wet, shaded
# substrate reaches 0.35 more than dry.
_ORANGE = 0.5
# Less than this share of the light that a place of its colour sends back on the chord.
_DARK = 0.5
# Neutral: red minus blue of mycelium is 0.08 of its brightness, of bare substrate 0.2 and more.
_NEUTRAL = 0.13
# A dark patch stands free: most of a shadow lies within this of the rim or of the card that casts
# it, of a patch that reaches there less than a quarter.
_RIM_MM, _CARD_MM = 12.0, 8.0
_SHADED = 0.25
# And it is darker than what lies around it (6 mm).
_CONTRAST = 0.75
_RING_MM = 6.0
# Seeds at the threshold grow to places at this share of it, this far.
_GROWS_TO, _GROWS_MM = 0.7, 10.0
# Smaller marks than these can't be told from grain, droplets and gaps.
_LEAST_MM2 = {"green": 40.0, "orange": 60.0, "dark": 80.0}
# A mark's outer 3 mm mean nothing: the outline's own error.
_EDGE_MM = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Marks:
    """Suspect patches of one bag, and where they are on its grid."""

    patches: tuple[PatchSeen, ...]
    mask: Mask


def find_patches(bag: Prepared, fit: Fits, *, glare: Mask, smallest_spot_mm: float) -> Marks:
    """Suspect patches of one bag, the largest first.

    Parameters
    ----------
    fit : Fits
        The bag's most believed light.
    glare : ndarray of bool, shape (h, w)
        Reflections.
    smallest_spot_mm : float
        Smaller marks are left out.
    """
    clear = bag.seen & ~glare & (depth_mm(bag.whole) > _EDGE_MM)
    mask = np.zeros_like(clear)
    patches: list[PatchSeen] = []
    faces = max(int((bag.seen & ~glare).sum()), 1)
    for kind, excess in _excesses(bag, fit, clear):
        least_mm2 = max(_LEAST_MM2[kind], np.pi / 4 * smallest_spot_mm**2)
        for blob in _blobs(excess, clear & ~mask, least_mm2):
            if kind == "dark" and not _stands_free(bag, blob):
                continue
            mask |= blob
            patches.append(_patch(bag, blob, kind=kind, excess=excess, faces=faces))
    patches.sort(key=lambda p: (-p.area_mm2, p.centre_mm))
    return Marks(patches=tuple(patches), mask=mask)


def _excesses(bag: Prepared, fit: Fits, clear: Mask) -> Iterator[tuple[str, Grid]]:
    """For each kind a map that is 1 at its threshold."""
    light = smooth(bag.face.light, bag.seen, _SMOOTH_MM)
    brightness = np.maximum(light.mean(2), 1e-4)
    redness = (light[..., 0] - light[..., 2]) / brightness
    green = (light[..., 1] - (light[..., 0] + light[..., 2]) / 2) / brightness
    middle = float(np.median(green[clear])) if clear.any() else 0.0
    noise = 1.4826 * float(np.median(np.abs(green[clear] - middle))) if clear.any() else 0.0
    yield "green", (green - middle) / max(_GREEN, _GREEN_DEVIATIONS * noise)
    light0 = smooth(bag.light0, np.ones_like(clear), 4 * _SMOOTH_MM)
    bare = np.maximum(fit.gain * light0.mean(2) + fit.veil, 1e-3)
    bare_red = fit.gain * (light0[..., 0] - light0[..., 2])
    yield "orange", (redness - bare_red / bare) / _ORANGE
    expected = _on_chord(redness, bare, bare_red / bare, white=float(fit.white[0]) * bag.shading)
    dark = np.maximum(1 - brightness / expected, 0.0) / (1 - _DARK)
    yield "dark", np.where(redness < _NEUTRAL, dark, 0.0)


def _on_chord(redness: Grid, bare: Grid, bare_redness: Grid, *, white: Grid) -> Grid:
    """Brightness that the mixture of bare substrate and white has at a given redness."""
    white_redness = float((MYCELIUM[0] - MYCELIUM[2]) / MYCELIUM.mean())
    over = (bare_redness - redness) * bare
    share = np.clip(over / np.maximum(over + (redness - white_redness) * white, 1e-4), 0.0, 1.0)
    share = np.where(redness <= white_redness, 1.0, np.where(over <= 0, 0.0, share))
    return np.asarray(bare * (1 - share) + white * share, np.float32)


def _blobs(excess: Grid, allowed: Mask, least_mm2: float) -> Iterator[Mask]:
    """Connected places over the threshold, grown to where they end, the largest first."""
    seeds = _open((excess > 1) & allowed)
    if not seeds.any():
        return
    reach = _open((excess > _GROWS_TO) & near_mm(seeds, _GROWS_MM))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(reach.astype(np.uint8), connectivity=8)
    seeded = np.bincount(labels[seeds], minlength=len(stats)) * GRID_MM**2
    for label in np.argsort(-stats[:, cv2.CC_STAT_AREA]):
        if (
            label
            and stats[label, cv2.CC_STAT_AREA] * GRID_MM**2 >= least_mm2
            and seeded[label] >= least_mm2 / 2
        ):
            yield np.asarray(labels == label)


def _open(mask: Mask) -> Mask:
    """A mask without what is narrower than three cells."""
    cross = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, cross) > 0)


def _stands_free(bag: Prepared, blob: Mask) -> bool:
    """Whether a dark blob hardly touches the rim or what may shade it, and is darker than around it."""
    hidden = bag.whole & ~bag.face.seen
    shaders = (depth_mm(bag.whole) < _RIM_MM) | near_mm(depth_mm(hidden) > 2 * GRID_MM, _CARD_MM)
    if shaders[blob].mean() > _SHADED:
        return False
    ring = near_mm(blob, _RING_MM) & ~near_mm(blob, GRID_MM) & bag.seen
    brightness = bag.face.light.mean(2) / bag.shading
    return bool(ring.any() and np.median(brightness[blob]) < _CONTRAST * np.median(brightness[ring]))


def _patch(bag: Prepared, blob: Mask, *, kind: str, excess: Grid, faces: int) -> PatchSeen:
    rows, columns = np.nonzero(blob)
    centre = np.array([[columns.mean(), rows.mean()]])
    contours, _ = cv2.findContours(blob.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    outline = max(contours, key=cv2.contourArea)[:, 0].astype(np.float64)
    x_px, y_px = to_photo_px(centre, bag.face, bag.view)[0]
    x_mm, y_mm = to_mm(centre, blob.shape)[0]
    return PatchSeen(
        kind=kind,
        area_mm2=float(len(rows) * GRID_MM**2),
        area=float(len(rows) / faces),
        centre_px=(float(x_px), float(y_px)),
        centre_mm=(float(x_mm), float(y_mm)),
        outline_px=to_photo_px(outline, bag.face, bag.view),
        # Half sure at the threshold, sure at twice it.
        strength=float(np.clip(np.median(excess[blob]) / 2, 0.0, 1.0)),
    )
