"""One bag's faces in photos of a few minutes → one face: what a reflection hides in one, another shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.locate.model import BagView
from colscan.photo.model import Mask
from colscan.score.baseline import without_highlights
from colscan.score.face import Grid, brightness_of, smooth
from colscan.score.measure import measure_prepared, prepare_photo, smallest_spot_mm
from colscan.score.model import Baseline, Evidence
from colscan.score.overlap import find_overlap, move
from colscan.score.prepare import Prepared

# Brighter by this factor than the least bright photo, at 4 mm: a reflection lies there. Exposure is made
# equal first; shading moves less than that between two steps to the side.
_REFLECTS, _REFLECTION_MM = 1.25, 4.0
# A photo whose smallest spot is larger than the sharpest one's by this factor only fills gaps.
_AS_SHARP = 1.25
# Weight of a resampled cell that is seen whole.
_WHOLE = 0.99
# Exposures are compared on this many cells at least.
_LEAST_SHARED = 200


def prepare_slim(views: Sequence[BagView], baselines: Mapping[int, Baseline]) -> tuple[Prepared, ...]:
    """A photo's bags ready to be combined, without their pixels: many photos of a burst fit into memory."""
    nothing = np.zeros((0, 0), np.bool_)
    return tuple(
        replace(
            bag,
            view=replace(bag.view, rgb=np.zeros((0, 0, 3), np.uint8), face=nothing, hidden=nothing),
        )
        for bag in prepare_photo(sorted(views, key=lambda view: view.key), baselines)
    )


def measure_burst(
    photos: Sequence[Sequence[Prepared]], baselines: Mapping[int, Baseline]
) -> tuple[tuple[Evidence, ...], ...]:
    """What the photos of a few minutes say of their bags: each bag once, under the photo that leads it.

    That is the first of the photos that show it whole and about as sharply as any; photos with more bags
    come before those with fewer.

    Parameters
    ----------
    photos : sequence of sequences of Prepared
        The bags of each photo, from `prepare_slim`, in order of time.
    baselines : mapping of int to Baseline
        By key.

    Returns
    -------
    tuple of tuples of Evidence
        One for each photo, with the bags that it leads; flags as of `measure_views`.
    """
    order = sorted(range(len(photos)), key=lambda i: (-len(photos[i]), i))
    led: list[list[Prepared]] = [[] for _ in photos]
    for key in sorted({bag.view.key for bags in photos for bag in bags}):
        shots = [_Shot(i, bag) for i in order for bag in photos[i] if bag.view.key == key]
        lead = _leading(shots)
        others = [shot.bag for shot in shots if shot is not lead]
        # Without a baseline the photos' grids have nothing in common.
        led[lead.photo].append(combine(lead.bag, others) if key in baselines else lead.bag)
    return tuple(tuple(measure_prepared(bags, baselines)) for bags in led)


@dataclass(frozen=True, slots=True, eq=False)
class _Shot:
    photo: int
    bag: Prepared

    @property
    def flaws(self) -> tuple[bool, bool]:
        flags = self.bag.view.flags
        return Flag.CUT_OFF in flags, Flag.NO_REFERENCE in flags


def _leading(shots: Sequence[_Shot]) -> _Shot:
    """The first of the shots with the fewest flaws that is about as sharp as any of these."""
    fewest = min(shot.flaws for shot in shots)
    good = [shot for shot in shots if shot.flaws == fewest]
    sharpest = min(smallest_spot_mm(shot.bag.view) for shot in good)
    return next(shot for shot in good if smallest_spot_mm(shot.bag.view) <= _AS_SHARP * sharpest)


def combine(lead: Prepared, others: Sequence[Prepared]) -> Prepared:
    """A bag as one photo shows it, with light and sight from other photos of the same minutes.

    Each place has the median light of the photos that show it without reflection. A photo in which the
    bag's fine detail isn't found again (it was turned, or another one hangs there) is left out.

    Parameters
    ----------
    lead : Prepared
        Whose outline, scale, place and flags stand.
    others : sequence of Prepared
        The same bag against the same baseline.
    """
    layers = [_Layer(lead.face.light, _clear(lead.seen, lead.face.burnt_out)), *_laid_onto(lead, others)]
    if len(layers) == 1:
        return lead
    clear = _without_reflections(layers)
    sharp = np.stack([mask & layer.sharp for mask, layer in zip(clear, layers, strict=True)])
    used = np.where(sharp.any(0), sharp, np.stack(clear))
    shown = used.any(0) & lead.whole
    light = _median([layer.light for layer in layers], used)
    light = np.where(shown[..., None], light, lead.face.light).astype(np.float32)
    face = replace(
        lead.face, light=light, seen=lead.face.seen | shown, burnt_out=lead.face.burnt_out & ~shown
    )
    return replace(lead, face=face, seen=lead.seen | shown)


@dataclass(frozen=True, slots=True, eq=False)
class _Layer:
    light: Grid
    clear: Mask
    sharp: bool = True


def _clear(seen: Mask, burnt_out: Mask) -> Mask:
    """Seen, and not at the rim of a burnt-out place either, where its light runs over."""
    rim = cv2.dilate(burnt_out.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    return np.asarray(seen & ~rim)


def _laid_onto(lead: Prepared, others: Sequence[Prepared]) -> list[_Layer]:
    enough = _AS_SHARP * smallest_spot_mm(lead.view)
    layers = []
    for other in others:
        plain = (lead.seen & without_highlights(lead.face), other.seen & without_highlights(other.face))
        change = find_overlap(lead.face, other.face, clear=plain)
        if change is None:
            continue
        clear = move(_clear(other.seen, other.face.burnt_out).astype(np.float32), change) > _WHOLE
        light = move(other.face.light, change)
        shared = clear & lead.seen
        if shared.sum() < _LEAST_SHARED:
            continue
        gain = np.median(lead.face.light[shared] / np.maximum(light[shared], 1e-4), axis=0)
        sharp = smallest_spot_mm(other.view) <= enough
        layers.append(_Layer((light * gain).astype(np.float32), clear, sharp))
    return layers


def _without_reflections(layers: Sequence[_Layer]) -> list[Mask]:
    """Where each photo shows the bag and is not much brighter than the photo that is least bright there."""
    nothing = np.float32(np.inf)
    brightness = [
        np.where(layer.clear, smooth(brightness_of(layer.light), layer.clear, _REFLECTION_MM), nothing)
        for layer in layers
    ]
    least = np.min(brightness, axis=0)
    return [
        layer.clear & (bright <= _REFLECTS * least) for layer, bright in zip(layers, brightness, strict=True)
    ]


def _median(lights: Sequence[Grid], used: NDArray[np.bool_]) -> Grid:
    """The median over photos of each cell that any shows, (h, w, 3)."""
    stack = np.where(used[..., None], np.stack(lights), np.float32(np.nan))
    shown = used.any(0)
    stack[:, ~shown] = 0
    return np.asarray(np.nanmedian(stack, axis=0), np.float32)
