"""The bags of one photo → each bag's light and veil, with what they share.

All bags of a photo stand in one light and before one exposure: how their light changed since their
baselines is alike, and so is how bright white mycelium is (the card's paper does not tell either: it
hangs at another angle than the face).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.score.mixing import LEVELS, Cells, Fits, Priors, fit_lights

GAIN_STEP = 0.16
GAINS = np.exp(np.arange(-7, 11) * GAIN_STEP)
"""Changes of light that are tried: 1/3 to 5 times; closer ones are found by the fit itself."""
# A flat face under the film gets less light than its card, hence white at a quarter of the paper
# rather than 0.8 (a study of other photos: 0.16 to 0.57, mostly 0.16 to 0.31).
_WHITE = 0.22
_WHITE_SD = 0.3
# Known from the photo's other bags: one bag's white end differs by a fifth from another's.
_WHITE_SD_SHARED = 0.2
# Change of light between two photos (log), and by how much one bag's differs from its photo's.
_GAIN_SD = 0.5
_GAIN_SD_BAG = 0.12
# Haze and reflections of the film change by about this much of the paper from day to day.
_VEIL_SD = 0.016
# About half of what a dark substrate sends in its darkest channel is veil: it doesn't scale with
# the light, and this is as unsure as it sounds.
_VEIL_SHARE, _VEIL_SHARE_SD = 0.5, 0.5
# Gains under this share of belief are not fitted again.
_NEGLIGIBLE = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Belief:
    """What is believed of a bag's light: fits, the gain each was sought around, its weight (sum 1)."""

    fits: Fits
    around: NDArray[np.float64]
    weight: NDArray[np.float64]

    @property
    def likely_gains(self) -> NDArray[np.float64]:
        """Those of `GAINS` that are worth another look."""
        return np.unique(self.around[self.weight > _NEGLIGIBLE])

    def likeliest(self, least: float) -> tuple[Fits, NDArray[np.float64]]:
        """The fits believed at least this much, and their weights (sum 1)."""
        kept = np.flatnonzero(self.weight >= min(least, self.weight.max()))
        return self.fits.take(kept), self.weight[kept] / self.weight[kept].sum()

    @property
    def best(self) -> Fits:
        """The most believed fit alone."""
        return self.fits.take(np.array([int(self.weight.argmax())]))


def believe_lights(bags: Sequence[Cells]) -> tuple[Belief, ...]:
    """What is believed of each bag's light, all bags of a photo together, each on its own cells."""
    alone = [_fit(cells, GAINS, None) for cells in bags]
    return _share_gain(alone, [GAINS] * len(alone))


def refine_lights(bags: Sequence[Cells], beliefs: Sequence[Belief]) -> tuple[Belief, ...]:
    """The same again, the white end now being known from all bags together."""
    white = _shared_white(beliefs)
    again = [_fit(cells, belief.likely_gains, white) for cells, belief in zip(bags, beliefs, strict=True)]
    return _share_gain(again, [belief.likely_gains for belief in beliefs])


def refine_some(some: Mapping[int, Cells], beliefs: Sequence[Belief]) -> dict[int, Belief]:
    """The same again for some bags of the photo, by their place, on other cells than before."""
    white = _shared_white(beliefs)
    fits, sought = [], []
    for i, belief in enumerate(beliefs):
        gains = belief.likely_gains if i in some else belief.around[: len(belief.around) // 2]
        fits.append(_fit(some[i], gains, white) if i in some else belief.fits)
        sought.append(gains)
    shared = _share_gain(fits, sought)
    return {i: shared[i] for i in some}


def _fit(cells: Cells, gains: NDArray[np.float64], shared: tuple[float, float] | None) -> Fits:
    # The darkest channel of the substrate, from brightness and redness.
    darkest = float(np.median(cells.brightness0 - np.abs(cells.redness0) / 2))
    log_white, white_sd = np.log(_WHITE) + np.log(gains), _WHITE_SD
    if shared is not None:
        own, other = _WHITE_SD**-2, shared[1] ** -2
        log_white = (log_white * own + shared[0] * other) / (own + other)
        white_sd = (own + other) ** -0.5
    priors = Priors(
        gain=gains,
        gain_step=GAIN_STEP,
        veil=(1 - gains) * _VEIL_SHARE * darkest,
        veil_sd=np.hypot(
            _VEIL_SD * np.sqrt(np.maximum(gains, 1)), _VEIL_SHARE_SD * np.abs(1 - gains) * darkest
        ),
        log_white=log_white,
        white_sd=white_sd,
    )
    return fit_lights(cells, priors)


def _share_gain(all_fits: Sequence[Fits], sought: Sequence[NDArray[np.float64]]) -> tuple[Belief, ...]:
    """Each bag's belief in its fits, the prior of their gains being what the photo's other bags say."""
    log_gain = np.log(GAINS)
    said, priors = [], []
    for fits, gains in zip(all_fits, sought, strict=True):
        around = np.tile(gains, 2)
        spread = np.exp(-0.5 * ((log_gain[:, None] - np.log(around)[None]) / _GAIN_SD_BAG) ** 2)
        said.append(np.log(spread @ np.exp(fits.log_likelihood - fits.log_likelihood.max()) + 1e-12))
        priors.append((around, spread))
    everything = np.sum(said, axis=0) - 0.5 * (log_gain / _GAIN_SD) ** 2
    beliefs = []
    for fits, mine, (around, spread) in zip(all_fits, said, priors, strict=True):
        others = np.exp(everything - mine - (everything - mine).max())
        weight = np.exp(fits.log_likelihood - fits.log_likelihood.max()) * (others @ spread)
        beliefs.append(Belief(fits=fits, around=around, weight=weight / weight.sum()))
    return tuple(beliefs)


def _shared_white(beliefs: Sequence[Belief]) -> tuple[float, float]:
    """Log of the photo's white end and its deviation: bags with dense mycelium know it."""
    dense = LEVELS > 0.5
    log_white, knowing = [], []
    for belief in beliefs:
        believed = belief.weight > _NEGLIGIBLE
        weight = belief.weight[believed]
        log_white.append(float(weight @ np.log(belief.fits.white[believed])))
        knowing.append(float(weight @ belief.fits.shares[believed][:, dense].sum(1)))
    known = max(sum(knowing), 1e-6)
    mean = float(np.dot(knowing, log_white)) / known
    # A face full of dense mycelium counts as thirty looks at white.
    return mean, float(np.hypot(_WHITE_SD_SHARED, _WHITE_SD / np.sqrt(30 * known)))
