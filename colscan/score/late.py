"""A trial's first photo, taken late → its bags as they may have looked bare: growth taken off again.

What grew before the first photo counts as growth: places that were covered by then are filled with
the substrate around them, so that they are covered from then on. How much that was is not known well,
and the doubt stays with the baseline.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from colscan.locate.model import BagView
from colscan.photo.model import Mask
from colscan.score.baseline import describe, without_highlights
from colscan.score.coverage import Look, look_at, unmix
from colscan.score.face import Grid, near_mm, smooth
from colscan.score.measure import WIDER_WITHOUT_BASELINE, Fitted, fit_bags, prepare_views
from colscan.score.model import Baseline, TakenOff
from colscan.score.places import carry
from colscan.score.prepare import Prepared
from colscan.score.trajectory import just_spawned, look

# A colony's edge is thinner than what counts as covered: one cell more is taken off.
_EDGE_MM = 1.5
# Substrate is taken from around where this share of it is bare, else from what bare places look like in
# this light.
_AROUND_MM = 6.0
_ENOUGH_BARE = 0.15


def make_late_baselines(
    views: Sequence[BagView], days: Mapping[int, float], *, photo: str, baselines: Mapping[int, Baseline]
) -> dict[int, Baseline]:
    """Baselines by key of a photo's bags, growth taken off; none for a bag that hardly shows.

    How much had grown is what the photo says without a baseline, held against the bag's age.

    Parameters
    ----------
    views : sequence of BagView
        All the bags of the photo, after `share_reference`.
    days : mapping of int to float
        For the bags that need one, by key: how many days after spawning the photo was taken.
    photo : str
        SHA-256 of the photo.
    baselines : mapping of int to Baseline
        Of the other bags, by key: their substrate and their light are a guide.
    """
    readable = [view for view in views if np.isfinite(view.paper).all()]
    bags = prepare_views(readable, {key: b for key, b in baselines.items() if key not in days})
    made = {}
    for bag, fit in zip(bags, fit_bags(bags), strict=True):
        if fit is not None and bag.view.key in days:
            baseline = _bare_again(bag, fit, days=days[bag.view.key], photo=photo)
            if baseline is not None:
                made[bag.view.key] = baseline
    return made


def _bare_again(bag: Prepared, fit: Fitted, *, days: float, photo: str) -> Baseline | None:
    shown = look_at(bag, fit.cells, fit.belief, patches=fit.marks.mask, glare=fit.marks.glare)
    said = unmix(bag, fit.cells, fit.belief, look=shown)
    known = look(
        just_spawned(days),
        said.coverage,
        low=said.coverage - WIDER_WITHOUT_BASELINE * (said.coverage - said.low),
        high=said.coverage + WIDER_WITHOUT_BASELINE * (said.high - said.coverage),
    )
    grown = _likeliest(shown, known.coverage)
    light = _filled(bag, fit, bare=without_highlights(bag.face) & shown.seen & ~near_mm(grown, _EDGE_MM))
    low, high = known.interval()
    return describe(
        np.where(bag.face.seen[..., None], light, np.float32(np.nan)),
        late=True,
        photos=(photo,),
        taken_off=TakenOff(coverage=known.coverage, low=low, high=high),
    )


def _likeliest(shown: Look, coverage: float) -> Mask:
    """The places that are likelier covered than not, when so much of the face is; and suspect patches."""
    chance = carry(shown.chance, None, coverage=coverage, face=shown.seen)
    return np.asarray((chance > 0.5) | (shown.seen & ~shown.grown))


def _filled(bag: Prepared, fit: Fitted, *, bare: Mask) -> Grid:
    """Today's light where it is bare, and what is bare around it elsewhere."""
    light = bag.face.light
    best = fit.belief.best
    usual = (best.gain[0] * bag.light0 + best.veil[0]).astype(np.float32)
    share = smooth(bare.astype(np.float32), np.ones_like(bare), _AROUND_MM)
    around = smooth(np.where(bare[..., None], light, np.float32(0)), bare, _AROUND_MM)
    weight = np.clip(share / _ENOUGH_BARE, 0, 1)[..., None]
    fill = weight * around + (1 - weight) * usual
    return np.where(bare[..., None], light, fill).astype(np.float32)
