"""Places whose colour is neither this bag's substrate nor its mycelium, nor explained by shading."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from colscan.photo.model import Mask
from colscan.photo.ranks import median, picked, quantiles
from colscan.score.face import GRID_MM, Grid, depth_mm, near_mm, to_mm, to_photo_px
from colscan.score.looks import Looks, look
from colscan.score.mixing import Fits
from colscan.score.model import PatchSeen
from colscan.score.prepare import Prepared
from colscan.score.shapes import blobs, contrast, cores, darkest_alike, gaps, outline_mm, ring, roundness

# Green over the mean of red and blue, relative to brightness and to the face's median. Substrate to
# white runs from -0.05 to 0.03; a third colour begins well beyond it, and beyond the noise.
_GREEN = 0.10
_GREEN_DEVIATIONS = 4.0
# Light through a yellow film has 0.2 of its redness as greenness, a yellowish green 0.5.
_GREEN_OVER_RED = 0.35
# Red minus blue, relative to brightness, over that of bare substrate at the same place. Wet, shaded
# substrate reaches 0.35 more than dry.
_WARM = 0.5
# Or this share of that, and less green than substrate and white by as much as green has more.
_SOME = 0.2
# Or: on a white place, brighter by this (log) than the mixture that is as red.
_BRIGHT = 0.5
# And redder than what surrounds it by as much as bare substrate is redder than white.
_TINT = 0.25
# Half of what surrounds a warm mark on white is at least this opaque.
_ON_WHITE = 0.5
# Brown is darker than this share of white. Amber takes blue before green, so that green stays over the
# mean of red and blue; orange and brown lie below it.
_BROWN = 1 / 3
# Half of the light that a place of its colour sends back on the chord.
_DARK = float(np.log(2.0))
# Or half of the colour that is usual around is gone, while the place is darker than its surround.
_HOLE = 0.5
# Mycelium's redness is 0.08, bare substrate's 0.2 and more: neutral is nearer to the first.
_NEUTRAL, _NEUTRAL_SHARE = 0.13, 0.5
_GOES_ON = 0.9
# What is darker than this (log) is black and may have more of the substrate's tinge: shade has all of it.
_BLACK, _TINGED_SHARE = -1.0, 0.7
# A mark may run into shade that is less dark than it: then it stands out at a higher threshold.
_DARK_STEPS = (1.0, 1.5, 2.0)
# A dark mark is darker than what lies around it (log), by more than it was on day 0, and further off
# the chord: relief and wet places shade both, by 0.5 at most on the faces looked at.
_DARKER, _OFF = -0.15, -0.6
# Rim and card cast shade: a mark that lies there for more than a quarter may be shade; shade and gaps
# at the rim stay within it, a patch of 14 mm does not.
_RIM_MM, _CARD_MM, _SHADED, _ALL_RIM = 12.0, 8.0, 0.25, 0.75
# Reaching into the rim it must be darker (log) than the darkest tenth of the rim all around.
_DARKER_AT_RIM = -0.3
# A disc is 1, an ellipse of 2 : 1 a half; strokes, wires, gaps and folds stay under this.
_ROUND = 0.4
_CORE_SHARE = 0.4
# A letter has gaps over a quarter of it. A shadow that falls in from outside runs along the outline;
# what takes half the face is its light.
_GAPS, _ALONG_MM, _MOST = 0.15, 60.0, 0.5
# An island: over half as opaque as the densest place (which is no less than this), with an edge, no
# larger than a third of the front, all others together less than a third of it, and at least a third
# of the rest grown thinly: a bag whose colonies are all dense has many, or is nearly bare.
_DENSEST, _ISLAND, _ISLAND_EDGE, _ISLAND_MM2 = 0.6, 0.5, 0.25, 300.0
_ISLAND_ALONE, _ISLAND_MOST, _THIN, _MUCH_THIN = 0.33, 0.33, 0.12, 0.33
# Smaller marks than these can't be told from grain, droplets and gaps.
_LEAST_MM2 = {"green": 40.0, "warm": 60.0, "dark": 80.0}
# Well under the promised 150 mm2 only what is strong counts: blocks of a coarse JPEG are this large.
_SMALL_MM2, _SMALL_STRENGTH = 100.0, 0.75


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Marks:
    """Suspect patches of one bag, where they are on its grid, and the reflections seen with them."""

    patches: tuple[PatchSeen, ...]
    mask: Mask
    glare: Mask


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Mark:
    kind: str
    blob: Mask
    strength: float


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
    looks = look(bag, fit, glare=glare)
    smallest_mm2 = float(np.pi / 4 * smallest_spot_mm**2)
    mask = np.zeros_like(glare)
    patches: list[PatchSeen] = []
    faces = max(int((bag.seen & ~glare).sum()), 1)
    # Without its own first look no place is known to be too bright for its substrate, or new.
    own = (_tinted, _islands) if bag.likeness > 0 else ()
    for search in (_green, _warm, _dark, *own):
        for mark in search(bag, looks, ~mask, smallest_mm2):
            if mark.blob.sum() * GRID_MM**2 < _SMALL_MM2 and mark.strength < _SMALL_STRENGTH:
                continue
            mask |= mark.blob
            patches.append(_patch(bag, mark, faces=faces))
    patches.sort(key=lambda p: (-p.area_mm2, p.centre_mm))
    return Marks(patches=tuple(patches), mask=mask, glare=glare)


def _green(bag: Prepared, looks: Looks, free: Mask, smallest_mm2: float) -> Iterator[_Mark]:
    excess = looks.greenness / np.maximum(_GREEN, _GREEN_DEVIATIONS * looks.noise[0])
    # Amber has more green than the mean of red and blue too, but is far redder with it.
    excess = np.where(looks.greenness > _GREEN_OVER_RED * looks.redness, excess, 0.0)
    for blob in blobs(excess, looks.clear, free, least_mm2=max(_LEAST_MM2["green"], smallest_mm2)):
        # A tinted light has no edge.
        if contrast(looks.greenness, blob, ring(blob, looks.clear)) > _GREEN / 2:
            yield _Mark(kind="green", blob=blob, strength=_strength(excess, blob))


def _warm(bag: Prepared, looks: Looks, free: Mask, smallest_mm2: float) -> Iterator[_Mark]:
    """Orange, amber and brown: redder than bare substrate can be, or redder and of another hue."""
    redder = (looks.redness - looks.bare_redness) / _WARM
    least = np.maximum(_GREEN, _GREEN_DEVIATIONS * looks.noise[1])
    hue = np.where(redder > _SOME, -looks.greenness / least, 0.0)
    excess = np.maximum(redder, hue)
    for blob in blobs(excess, looks.clear, free, least_mm2=max(_LEAST_MM2["warm"], smallest_mm2)):
        mark = _Mark(kind=_warm_kind(looks, blob), blob=blob, strength=_strength(excess, blob))
        # A side that turns away lies in the light of the wall: a weak tint along the outline is that.
        if mark.strength == 1 or outline_mm(blob, looks.depth) < _ALONG_MM:
            yield mark


def _tinted(bag: Prepared, looks: Looks, free: Mask, smallest_mm2: float) -> Iterator[_Mark]:
    """The same on a white place, where it is as red as substrate but too bright to be that."""
    red = looks.redness > _NEUTRAL_SHARE * looks.bare_redness
    brighter = np.where(red, looks.off_chord / _BRIGHT, 0.0)
    for blob in blobs(brighter, looks.clear, free, least_mm2=max(_LEAST_MM2["warm"], smallest_mm2)):
        around = ring(blob, looks.clear)
        on_white = around.any() and median(picked(looks.opacity, around)) >= _ON_WHITE
        along = outline_mm(blob, looks.depth) >= _ALONG_MM
        if on_white and not along and contrast(looks.redness, blob, around) > _TINT:
            yield _Mark(kind=_warm_kind(looks, blob), blob=blob, strength=_strength(brighter, blob))


def _warm_kind(looks: Looks, blob: Mask) -> str:
    if median(picked(looks.whiteness, blob)) < _BROWN:
        return "brown"
    return "amber" if median(picked(looks.greenness, blob)) > 0 else "orange"


def _dark(bag: Prepared, looks: Looks, free: Mask, smallest_mm2: float) -> Iterator[_Mark]:
    colourless = looks.redness < np.maximum(_NEUTRAL, _NEUTRAL_SHARE * looks.bare_redness)
    tinged = looks.redness < _TINGED_SHARE * looks.bare_redness
    neutral = colourless | (tinged & (looks.off_chord < _BLACK))
    black = -looks.off_chord / _DARK
    # In the dark noise looks like colour: no mark begins there, but one goes on.
    black = np.where(neutral, black, np.minimum(black, _GOES_ON))
    hollow = np.where(looks.off_chord < _OFF / 2, looks.hole / _HOLE, 0.0)
    excess = np.maximum(black, hollow)
    least_mm2 = max(_LEAST_MM2["dark"], smallest_mm2)
    taken = ~free
    for step in _DARK_STEPS:
        for blob in blobs(excess / step, looks.clear, ~taken, least_mm2=least_mm2):
            for core in cores(blob, least_mm2):
                # Where strokes meet there is a core too, but a small part of what it hangs on.
                whole = core.sum() > _CORE_SHARE * blob.sum()
                fits = whole and neutral[core].mean() > 0.5 and _is_blotch(looks, core)
                if fits and _is_darker(looks, core) and not _may_be_shade(bag, looks, core):
                    taken = taken | core
                    yield _Mark(kind="dark", blob=core, strength=_strength(excess, core))


def _is_blotch(looks: Looks, blob: Mask) -> bool:
    """Neither a stroke or a strip, nor writing, nor a shadow that falls in from outside."""
    return bool(
        roundness(blob) >= _ROUND
        and gaps(looks.detail, blob, looks.clear) < _GAPS
        and outline_mm(blob, looks.depth) < _ALONG_MM
        and blob.sum() < _MOST * looks.clear.sum()
    )


def _is_darker(looks: Looks, blob: Mask) -> bool:
    """Darker than what surrounds it, and not so on day 0 already."""
    around = ring(blob, looks.clear)
    darker = contrast(looks.level, blob, around)
    before = min(contrast(looks.level0, blob, around), 0.0)
    return darker - before < _DARKER and contrast(looks.off_chord, blob, around) < _OFF


def _may_be_shade(bag: Prepared, looks: Looks, blob: Mask) -> bool:
    hidden = bag.whole & ~bag.face.seen
    cards = near_mm(depth_mm(hidden) > 2 * GRID_MM, _CARD_MM)
    if cards[blob].mean() > _SHADED:
        return True
    at_rim = (cards | (looks.depth < _RIM_MM))[blob].mean()
    if at_rim <= _SHADED:
        return False
    if at_rim > _ALL_RIM:
        return True
    rim = darkest_alike(looks.level, blob, clear=looks.clear, depth=looks.depth)
    return float(median(picked(looks.level, blob))) - rim > _DARKER_AT_RIM


def _islands(bag: Prepared, looks: Looks, free: Mask, smallest_mm2: float) -> Iterator[_Mark]:
    """Grey fluff: one dense island on a face that is otherwise grown thinly or bare."""
    front = looks.clear & free & (looks.depth > _RIM_MM)
    if not front.any():
        return
    # Relative to the densest place: how bright white is may be off by a quarter.
    opacity = looks.opacity / max(float(quantiles(picked(looks.opacity, front), [0.99])[0]), _DENSEST)
    dense = cores(front & (opacity > _ISLAND), _LEAST_MM2["dark"])
    if not dense:
        return
    blob, others = dense[0], sum(int(core.sum()) for core in dense[1:])
    rest = front & ~near_mm(blob, 4 * GRID_MM)
    thin = (opacity[rest] > _THIN) & (opacity[rest] < 0.7 * _ISLAND)
    edge = contrast(opacity, blob & (depth_mm(blob) < 4 * GRID_MM), ring(blob, looks.clear))
    if (
        max(_ISLAND_MM2, smallest_mm2) <= blob.sum() * GRID_MM**2
        and blob.sum() < _ISLAND_MOST * front.sum()
        and others < _ISLAND_ALONE * blob.sum()
        and thin.sum() > _MUCH_THIN * rest.sum()
        and edge > _ISLAND_EDGE
        and roundness(blob) >= _ROUND
    ):
        yield _Mark(kind="grey", blob=blob, strength=float(np.clip(edge / _ISLAND_EDGE / 2, 0.0, 1.0)))


def _strength(excess: Grid, blob: Mask) -> float:
    """Half sure at the threshold, sure at twice it."""
    return float(np.clip(median(picked(excess, blob)) / 2, 0.0, 1.0))


def _patch(bag: Prepared, mark: _Mark, *, faces: int) -> PatchSeen:
    rows, columns = np.nonzero(mark.blob)
    centre = np.array([[columns.mean(), rows.mean()]])
    contours, _ = cv2.findContours(mark.blob.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    outline = max(contours, key=cv2.contourArea)[:, 0].astype(np.float64)
    x_px, y_px = to_photo_px(centre, bag.face, bag.view)[0]
    x_mm, y_mm = to_mm(centre, mark.blob.shape)[0]
    return PatchSeen(
        kind=mark.kind,
        area_mm2=float(len(rows) * GRID_MM**2),
        area=float(len(rows) / faces),
        centre_px=(float(x_px), float(y_px)),
        centre_mm=(float(x_mm), float(y_mm)),
        outline_px=to_photo_px(outline, bag.face, bag.view),
        strength=mark.strength,
    )
