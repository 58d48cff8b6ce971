"""All the bags of one photo and their baselines → evidence, one for each bag."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from colscan.flags import Flag
from colscan.locate.model import BagView
from colscan.score.coverage import Unmixed, find_glare, look_at, unmix
from colscan.score.face import GRID_MM
from colscan.score.judged import judge_face
from colscan.score.light import Belief, believe_lights, refine_lights, refine_some
from colscan.score.mixing import Cells
from colscan.score.model import Baseline, Evidence, PatchSeen, TakenOff
from colscan.score.patches import Marks, find_patches
from colscan.score.prepare import Prepared, fit_cells, map_cells, prepare, prepare_without, usual_brightness
from colscan.score.reference import share_reference, with_paper
from colscan.score.substrate import guess_substrates

# Less of the face than this can't speak for all of it.
_LEAST_SEEN = 0.2
MUCH_GLARE = 0.1
MUCH_HIDDEN = 1 / 3
"""Shares of a face under reflections, and under anything, from which a photo is called poor."""
# Blur wider than this hides the threads at a colony's edge and fills gaps of 150 mm2 (14 mm).
_BLURRED_MM = 3.0
# Colours coded more coarsely than this (JPEGs of quality 76 and less) are blocks that may look like patches.
_COARSE_COLOUR = 0.53
# The smallest patch that a grower is promised: 150 mm2, 14 mm across.
_PROMISED_SPOT_MM = 14.0
# A spot needs three pixels, and four sigma of the blur, to stand out of what is around it.
_SPOT_PX, _SPOT_SIGMAS = 3.0, 4.0
# Where the tag's edges can't be read, a phone's usual sharpness.
_USUAL_BLUR_PX = 0.8
# Without this bag's own first face the answer is worth about half as much.
WIDER_WITHOUT_BASELINE = 2.0


def measure_views(views: Sequence[BagView], baselines: Mapping[int, Baseline]) -> tuple[Evidence, ...]:
    """What one photo says of its bags, in the order of `views`; it depends on nothing else.

    Parameters
    ----------
    views : sequence of BagView
        All the bags of one photo.
    baselines : mapping of int to Baseline
        By key. A bag without one is measured by its looks alone and flagged `no-baseline`.

    Returns
    -------
    tuple of Evidence
        Flags: those of the view, `no-baseline`, `late-baseline`, `glare`, `part-hidden`, `blurred`,
        `coarse-colour`, `too-small`, `unmeasured`.
    """
    order = sorted(range(len(views)), key=lambda i: views[i].key)
    bags = prepare_photo([views[i] for i in order], baselines)
    measured = dict(zip(order, measure_prepared(bags, baselines), strict=True))
    return tuple(measured[i] for i in range(len(views)))


def prepare_photo(views: Sequence[BagView], baselines: Mapping[int, Baseline]) -> list[Prepared]:
    """All the bags of one photo in the light that they share, ready to be unmixed."""
    return prepare_views([with_paper(view) for view in share_reference(views)], baselines)


def prepare_views(views: Sequence[BagView], baselines: Mapping[int, Baseline]) -> list[Prepared]:
    """A photo's bags, ready to be unmixed: against their baselines, or against what substrate may be."""
    others = [baselines[view.key] for view in views if view.key in baselines]
    if len(others) == len(views):
        return [prepare(view, baselines[view.key]) for view in views]
    return [
        prepare(view, baselines[view.key]) if view.key in baselines else prepare_without(view, colour)
        for view, colour in zip(views, guess_substrates(views, others), strict=True)
    ]


def measure_prepared(bags: Sequence[Prepared], baselines: Mapping[int, Baseline]) -> list[Evidence]:
    """What one photo says of its bags, once they are prepared."""
    fitted = fit_bags(bags)
    return [
        _evidence(
            bag,
            baselines.get(bag.view.key),
            _judged(bag, fit, known=bag.view.key in baselines) if fit else None,
            fit.marks.patches if fit else (),
        )
        for bag, fit in zip(bags, fitted, strict=True)
    ]


def _judged(bag: Prepared, fit: Fitted, *, known: bool) -> Unmixed:
    """By the network, which has only learnt from faces with a baseline; else by unmixing alone."""
    look = look_at(bag, fit.cells, fit.belief, patches=fit.marks.mask, glare=fit.marks.glare)
    if known:
        return judge_face(bag, fit.cells, fit.belief, look=look, patches=fit.marks.mask)
    return unmix(bag, fit.cells, fit.belief, look=look)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """One bag's cells, what is believed of its light, and its suspect patches."""

    cells: Cells
    belief: Belief
    marks: Marks


def fit_bags(bags: Sequence[Prepared]) -> list[Fitted | None]:
    """Light, veil and patches of all the bags of one photo; None for a bag that hardly shows."""
    usual = usual_brightness(bags)
    found = [_fit_cells(bag, usual) for bag in bags]
    able = [i for i, cells in enumerate(found) if cells is not None]
    if not able:
        return [None] * len(bags)
    cells = [one for one in found if one is not None]
    beliefs = list(refine_lights(cells, believe_lights(cells)))
    maps = [map_cells(bags[i], usual) for i in able]
    marks = [_marks(bags[i], one, belief) for i, one, belief in zip(able, maps, beliefs, strict=True)]
    # The light of a bag with a patch again, without it.
    clean = {
        k: without
        for k, (i, mark) in enumerate(zip(able, marks, strict=True))
        if mark.patches and (without := fit_cells(bags[i], usual, without=mark.mask))
    }
    if clean:
        for k, belief in refine_some(clean, beliefs).items():
            beliefs[k], marks[k] = belief, _marks(bags[able[k]], maps[k], belief)
    fitted = {
        i: Fitted(cells=one, belief=belief, marks=mark)
        for i, one, belief, mark in zip(able, maps, beliefs, marks, strict=True)
    }
    return [fitted.get(i) for i in range(len(bags))]


def _fit_cells(bag: Prepared, usual: float) -> Cells | None:
    """What a bag's light is fitted to; None when it hardly shows."""
    if bag.seen_share < _LEAST_SEEN:
        return None
    return fit_cells(bag, usual, without=np.zeros_like(bag.seen))


def _marks(bag: Prepared, cells: Cells, belief: Belief) -> Marks:
    glare = find_glare(bag, cells, belief.best)
    return find_patches(bag, belief.best, glare=glare, smallest_spot_mm=smallest_spot_mm(bag.view))


def smallest_spot_mm(view: BagView) -> float:
    """Diameter of the smallest spot that a view can show: max(3 px, 4 sigma of its blur, 2 grid cells)."""
    return max(_SPOT_PX * view.mm_per_px, _SPOT_SIGMAS * _blur_mm(view), 2 * GRID_MM)


def _blur_mm(view: BagView) -> float:
    sigma_px = view.blur_px if np.isfinite(view.blur_px) else _USUAL_BLUR_PX
    return float(sigma_px * view.mm_per_px)


def _evidence(
    bag: Prepared, baseline: Baseline | None, unmixed: Unmixed | None, patches: tuple[PatchSeen, ...]
) -> Evidence:
    seen = unmixed.seen if unmixed else bag.seen
    seen_share = float(seen.sum() / max(bag.whole.sum(), 1))
    measured = unmixed if unmixed and seen_share >= _LEAST_SEEN else None
    low, high = _limits(measured, baseline)
    return Evidence(
        key=bag.view.key,
        coverage=measured.coverage if measured else None,
        low=low,
        high=high,
        density=measured.density if measured else None,
        unseen=1 - seen_share,
        opacity=measured.opacity if measured else np.full(bag.seen.shape, np.nan, np.float32),
        face=bag.face.whole & (bag.seen | bag.face.burnt_out),
        patches=patches,
        mm_per_px=bag.view.mm_per_px,
        outline_px=bag.view.outline_px,
        to_px=bag.face.to_px + np.column_stack([np.zeros((2, 2)), bag.view.origin_px]),
        smallest_spot_mm=smallest_spot_mm(bag.view),
        flags=_flags(bag, baseline, unmixed, seen_share),
    )


def _limits(measured: Unmixed | None, baseline: Baseline | None) -> tuple[float | None, float | None]:
    if measured is None:
        return None, None
    wider = 1.0 if baseline else WIDER_WITHOUT_BASELINE
    below, above = wider * (measured.coverage - measured.low), wider * (measured.high - measured.coverage)
    if baseline and baseline.taken_off:
        down, up = _doubt(baseline.taken_off, measured.coverage)
        below, above = float(np.hypot(below, down)), float(np.hypot(above, up))
    return max(measured.coverage - below, 0.0), min(measured.coverage + above, 1.0)


def _doubt(then: TakenOff, now: float) -> tuple[float, float]:
    """How far coverage may be off, down and up, as it is not known what had grown at a late baseline.

    Growth that was missed then looks like substrate ever since, on what is now bare; substrate that
    was taken for growth looks covered ever since, on what is now covered.
    """
    down = (then.coverage - then.low) * min(1.0, now / max(then.coverage, 1e-3))
    up = (then.high - then.coverage) * min(1.0, (1 - now) / max(1 - then.coverage, 1e-3))
    return max(down, 0.0), max(up, 0.0)


def _flags(
    bag: Prepared, baseline: Baseline | None, unmixed: Unmixed | None, seen_share: float
) -> tuple[Flag, ...]:
    doubts = {
        Flag.BLURRED: _blur_mm(bag.view) > _BLURRED_MM,
        Flag.GLARE: unmixed is not None and unmixed.glare > MUCH_GLARE,
        Flag.PART_HIDDEN: 1 - seen_share > MUCH_HIDDEN,
        Flag.COARSE_COLOUR: bag.view.colour_error > _COARSE_COLOUR,
        Flag.TOO_SMALL: smallest_spot_mm(bag.view) > _PROMISED_SPOT_MM,
        Flag.UNMEASURED: unmixed is None or seen_share < _LEAST_SEEN,
        Flag.NO_BASELINE: baseline is None,
        Flag.LATE_BASELINE: baseline is not None and baseline.late,
    }
    own = tuple(flag for flag, applies in doubts.items() if applies and flag not in bag.view.flags)
    return (*bag.view.flags, *own)
