"""One bag's cells → how its light and veil differ from the baseline's, how opaque each cell's mycelium is.

Every cell's light is a mixture on the chord from this bag's substrate to mycelium white::

    brightness  y = r (1 - a) y0 + v (1 - a) + E a
    redness     d = r (1 - a) d0 + E w a

with opacity a, the change of light r and of veil v since the baseline, the white end E, and w the
redness of mycelium. r, v and E are one for a bag and photo; a is one of `LEVELS` in each cell, in
shares that are estimated too (a mixture model, fitted by expectation-maximization).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

LEVELS = np.array([0, 0.03, 0.06, 0.12, 0.18, 0.24, 0.3, 0.38, 0.46, 0.56, 0.68, 0.8, 0.9], np.float32)
"""Opacities a cell may have; 0.9 because the densest mycelium still shows a little of what is under it."""
COVERED = LEVELS >= 0.12
"""Which of them count as covered (the definition of coverage)."""
# Before looking: bare is the commonest single state, every covered level is equally likely, and a
# trace below the definition's threshold is rare, as a colony has an edge.
_SHARES = np.array([10, 0.1, 0.1, 0.5, 1, 1, 1, 1, 1, 1, 1, 1, 1.5], np.float32)
_SHARES /= _SHARES.sum()
MYCELIUM = np.array([0.80, 0.79, 0.74])
"""White of mycelium relative to paper, linear light."""
WHITE_REDNESS = float((MYCELIUM[0] - MYCELIUM[2]) / MYCELIUM.mean())
"""Its red minus blue over its brightness."""

# Cells next to each other err together: a face counts as this many independent witnesses, one for
# each 45 mm square, the scale of folds, shading and fog.
_WITNESSES = 25.0
# The prior shares weigh as much as one witness.
_SHARES_WEIGHT = 1.0
# Degrees of freedom of Student's t for a cell's misfit: shavings, folds and droplets are outliers.
_FREEDOM = 6.0  # `_expect` takes the power of -(6 + 2) / 2 by squaring twice.
# The misfit's variance is fitted too, around 1 with the weight of this many witnesses.
_SCALE_WEIGHT = 4.0
# After the first rounds the starts that are this much less likely than the best stay as they are.
_FIRST_ROUNDS, _ROUNDS, _HOPELESS = 2, 7, 20.0
# So few starts are not worth the asking.
_FEW = 12
# A colony's thin rim is no wider than its thicker body (see `_hold_rims`).
_RIM_LEVELS = ((5, 1.0), (4, 0.75), (3, 0.5))
# The white end stays within a factor of its prior, the veil within two and a half prior
# deviations: beyond that a heavy veil would pass for white.
_WHITE_RANGE = (0.55, 1.8)
_VEIL_RANGE = 2.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """Cells of one face: light today and on day 0, and how precise today's is.

    Parameters
    ----------
    brightness, redness : ndarray, shape (n,), float32
        Mean of the channels, and red minus blue, relative to paper.
    brightness0, redness0 : ndarray, shape (n,), float32
        The same of the baseline at the same place.
    precision : ndarray, shape (3, n), float32
        Inverse covariance of a cell's misfit: brightness, both, redness.
    """

    brightness: NDArray[np.float32]
    redness: NDArray[np.float32]
    brightness0: NDArray[np.float32]
    redness0: NDArray[np.float32]
    precision: NDArray[np.float32]

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.int64] | slice) -> Cells:
        """Some of the cells."""
        return Cells(
            brightness=self.brightness[chosen],
            redness=self.redness[chosen],
            brightness0=self.brightness0[chosen],
            redness0=self.redness0[chosen],
            precision=self.precision[:, chosen],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Priors:
    """What is believed of a bag's light before its cells are looked at, for S starting points.

    Parameters
    ----------
    gain : ndarray, shape (S,)
        Change of light r to look around.
    gain_step : float
        Relative distance between neighbouring gains.
    veil, veil_sd : ndarray, shape (S,)
        Change of veil v.
    log_white : ndarray, shape (S,)
        Log of the white end E.
    white_sd : float
        Its deviation.
    """

    gain: NDArray[np.float64]
    gain_step: float
    veil: NDArray[np.float64]
    veil_sd: NDArray[np.float64]
    log_white: NDArray[np.float64]
    white_sd: float

    def take(self, chosen: NDArray[np.int64]) -> Priors:
        """Some of the starting points."""
        return Priors(
            gain=self.gain[chosen],
            gain_step=self.gain_step,
            veil=self.veil[chosen],
            veil_sd=self.veil_sd[chosen],
            log_white=self.log_white[chosen],
            white_sd=self.white_sd,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fits:
    """Fitted lights, one for each of S starting points.

    Parameters
    ----------
    log_likelihood, gain, veil, white, scale : ndarray, shape (S,)
        Tempered log likelihood with priors but that of the gain; r; v; E; variance of the misfit.
    shares : ndarray, shape (S, K)
        Share of the cells at each of `LEVELS`.
    """

    log_likelihood: NDArray[np.float64]
    gain: NDArray[np.float64]
    veil: NDArray[np.float64]
    white: NDArray[np.float64]
    scale: NDArray[np.float64]
    shares: NDArray[np.float64]

    def take(self, chosen: NDArray[np.int64]) -> Fits:
        """Some of the fits."""
        return Fits(
            log_likelihood=self.log_likelihood[chosen],
            gain=self.gain[chosen],
            veil=self.veil[chosen],
            white=self.white[chosen],
            scale=self.scale[chosen],
            shares=self.shares[chosen],
        )

    def put(self, chosen: NDArray[np.int64], better: Fits) -> Fits:
        """All of them, some replaced by better ones."""
        made = self.take(np.arange(len(self.gain)))
        for field in fields(made):
            getattr(made, field.name)[chosen] = getattr(better, field.name)
        return made


def fit_lights(cells: Cells, priors: Priors) -> Fits:
    """Fits around each gain, 2 S of them, from two beginnings: no change of veil, and much of it.

    Thin mycelium all over and a thicker veil look nearly alike; both explanations are kept.
    """
    both = priors.take(np.tile(np.arange(len(priors.gain)), 2))
    gap = cells.brightness[None] - both.gain[:, None] * cells.brightness0[None]
    # A quarter of the cells bare is what the second beginning supposes.
    quarter = np.sort(gap, 1)[:, gap.shape[1] // 4]
    begin = np.clip(quarter, both.veil - 2 * both.veil_sd, both.veil + 2 * both.veil_sd)
    begin[: len(priors.gain)] = priors.veil
    return _maximize(cells, both, begin)


def _maximize(cells: Cells, priors: Priors, veil: NDArray[np.float64]) -> Fits:
    """Expectation-maximization from given veils."""
    starts = len(veil)
    begin = Fits(
        log_likelihood=np.zeros(starts),
        gain=priors.gain,
        veil=veil,
        white=np.exp(priors.log_white),
        scale=np.ones(starts),
        shares=np.tile(_SHARES.astype(np.float64), (starts, 1)),
    )
    terms, few = _terms(cells), starts <= _FEW
    fits = _improve(terms, priors, begin, rounds=_ROUNDS if few else _FIRST_ROUNDS)
    if few:
        return fits
    hopeful = np.flatnonzero(fits.log_likelihood > fits.log_likelihood.max() - _HOPELESS)
    more = _ROUNDS - _FIRST_ROUNDS
    return fits.put(hopeful, _improve(terms, priors.take(hopeful), fits.take(hopeful), rounds=more))


def _improve(terms: NDArray[np.float64], priors: Priors, fits: Fits, *, rounds: int) -> Fits:
    """The fits after some rounds of expectation-maximization more, with their likelihood."""
    n, by_cell = terms.shape[1], np.ascontiguousarray(terms.T, np.float32)
    weight = min(1.0, _WITNESSES / n)
    for _ in range(rounds):
        chance, nearness, _ = _expect(terms, fits)
        shares = _hold_rims(_mean_shares(chance))
        # Weights of Student's t: what fits badly counts less. A misfit m is _FREEDOM (1 / nearness - 1),
        # so m (_FREEDOM + 2) / (_FREEDOM + m) is (_FREEDOM + 2) (1 - nearness).
        chance *= nearness
        sums = (chance.reshape(-1, n) @ by_cell).reshape(*chance.shape[:2], -1) / _roots(fits)[:, :, None]
        total = (_FREEDOM + 2) * weight * (n - sums[:, :, -1].sum(0))
        scale = (_SCALE_WEIGHT + fits.scale * total / 2) / (_SCALE_WEIGHT + weight * n)
        sums *= ((_FREEDOM + 2) / _FREEDOM * weight / scale)[:, None]
        gain, veil, white = _solve(sums, fits, priors)
        fits = replace(fits, gain=gain, veil=veil, white=white, scale=scale, shares=shares)
    _, _, evidence = _expect(terms, fits)
    likelihood = weight * (evidence - n * np.log(fits.scale)) + _log_priors(fits, priors)
    return replace(fits, log_likelihood=likelihood)


def _terms(cells: Cells) -> NDArray[np.float64]:
    """What any light's misfit in each cell is a sum of, by `_factors`; (11, n).

    A misfit is a square: of how far today's light (y, d) is off a times the baseline's (y0, d0) and b, c.
    Multiplied out, each part is a product of what the cell says and of a, b and c, so that all misfits
    are one product of matrices.
    """
    yy, yd, dd = cells.precision.astype(np.float64)
    y, d, y0, d0 = (
        tone.astype(np.float64)
        for tone in (cells.brightness, cells.redness, cells.brightness0, cells.redness0)
    )
    today_y, today_d = yy * y + yd * d, yd * y + dd * d
    first_y, first_d = yy * y0 + yd * d0, yd * y0 + dd * d0
    return np.stack(
        [
            today_y * y + today_d * d,
            today_y * y0 + today_d * d0,
            today_y,
            today_d,
            first_y * y0 + first_d * d0,
            first_y,
            first_d,
            yy,
            yd,
            dd,
            np.ones_like(y),
        ]
    )


def _factors(fits: Fits) -> NDArray[np.float64]:
    """What `_terms` count in 1 + misfit / freedom, for each level and fit; (11, K, S)."""
    level = LEVELS.astype(np.float64)[:, None]
    a, b = (1 - level) * fits.gain, (1 - level) * fits.veil + level * fits.white
    c = level * fits.white * WHITE_REDNESS
    factors = np.ones((11, *a.shape))
    for factor, value in zip(
        factors[1:],
        (-2 * a, -2 * b, -2 * c, a * a, 2 * a * b, 2 * a * c, b * b, 2 * b * c, c * c),
        strict=False,
    ):
        factor[:] = value
    factors[:-1] /= _FREEDOM * fits.scale
    return factors


def _expect(
    terms: NDArray[np.float64], fits: Fits
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float64]]:
    """Chance of each level in each cell and its weighted nearness, both (K, S, n); log evidence (S,).

    Nearness is 1 / (1 + misfit / freedom), here times the fourth root of the level's share. Student's t with
    an even sum of freedoms is a power of it, without logarithm and exponential.
    """
    shape = (len(LEVELS), len(fits.gain), terms.shape[1])
    factors = (_factors(fits) / _roots(fits)).reshape(len(terms), -1)
    # A misfit is a small difference of large numbers, so it is taken in double precision.
    nearness = (factors.T @ terms).astype(np.float32).reshape(shape)
    np.reciprocal(nearness, out=nearness)
    chance = nearness * nearness
    chance *= chance
    total = np.ones(shape[0], np.float32) @ chance.reshape(shape[0], -1)
    total = total.reshape(shape[1:])
    chance *= 1 / total
    return chance, nearness, np.log(total).sum(1, dtype=np.float64)


def _roots(fits: Fits) -> NDArray[np.float64]:
    """The fourth roots of the levels' shares, (K, S): `_expect` takes the power of 4 of what they are in."""
    return np.asarray(np.sqrt(np.sqrt(fits.shares.T)))


def _mean_shares(chance: NDArray[np.float32]) -> NDArray[np.float64]:
    """Share of each level (S, K), drawn towards the prior shares."""
    # A product of matrices adds up eight times as quickly as numpy's mean.
    cells = chance.shape[2]
    counted = (
        (chance.reshape(-1, cells) @ np.full(cells, _WITNESSES / cells, np.float32))
        .reshape(chance.shape[:2])
        .T
    )
    return np.asarray((counted + _SHARES_WEIGHT * _SHARES) / (_WITNESSES + _SHARES_WEIGHT))


def _hold_rims(shares: NDArray[np.float64]) -> NDArray[np.float64]:
    """The shares with the thinnest mycelium limited by the thicker, what is over being bare.

    A whole face at opacity 0.12 to 0.2 with nothing thicker anywhere is a veil, not a colony.
    """
    held = shares.copy()
    for level, most in _RIM_LEVELS:
        held[:, level] = np.minimum(held[:, level], most * held[:, level + 1 :].sum(1) + 0.002)
    held[:, 0] += 1 - held.sum(1)
    return held


def _solve(
    sums: NDArray[np.float64], fits: Fits, priors: Priors
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Gain, veil and white end by least squares, given `_terms` summed over cells, (K, S, 11)."""
    a, b, w = LEVELS.astype(np.float64), 1 - LEVELS.astype(np.float64), WHITE_REDNESS
    shares = np.stack([b * b, a * b, a * a, b, a])
    bare, both, white_alone, to_bare, to_white = np.moveaxis(np.tensordot(shares, sums, axes=1), 2, 1)
    off = (fits.veil - priors.veil) / priors.veil_sd
    veil_weight = 4 / (3 + off**2) / priors.veil_sd**2
    gain_weight = 1 / (priors.gain_step / 2 * priors.gain) ** 2
    white_weight = 1 / (fits.white * priors.white_sd) ** 2
    left = np.empty((len(fits.gain), 3, 3))
    left[:, 0, 0] = bare[4] + gain_weight
    left[:, 0, 1] = left[:, 1, 0] = bare[5]
    left[:, 1, 1] = bare[7] + veil_weight
    left[:, 0, 2] = left[:, 2, 0] = both[5] + w * both[6]
    left[:, 1, 2] = left[:, 2, 1] = both[7] + w * both[8]
    left[:, 2, 2] = white_alone[7] + w * (2 * white_alone[8] + w * white_alone[9]) + white_weight
    right = np.empty((len(fits.gain), 3, 1))
    right[:, 0, 0] = to_bare[1] + priors.gain * gain_weight
    right[:, 1, 0] = to_bare[2] + priors.veil * veil_weight
    # The prior of the white end is on its log; this is its tangent at the present value.
    tangent = fits.white * (1 + priors.log_white - np.log(fits.white))
    right[:, 2, 0] = to_white[2] + w * to_white[3] + tangent * white_weight
    gain, veil, white = np.linalg.solve(left, right)[..., 0].T
    typical = np.exp(priors.log_white)
    return (
        np.clip(gain, priors.gain * (1 - priors.gain_step), priors.gain * (1 + priors.gain_step)),
        np.clip(veil, priors.veil - _VEIL_RANGE * priors.veil_sd, priors.veil + _VEIL_RANGE * priors.veil_sd),
        np.clip(white, _WHITE_RANGE[0] * typical, _WHITE_RANGE[1] * typical),
    )


def _log_priors(fits: Fits, priors: Priors) -> NDArray[np.float64]:
    veil = -2 * np.log1p(((fits.veil - priors.veil) / priors.veil_sd) ** 2 / 3)
    white = -0.5 * ((np.log(fits.white) - priors.log_white) / priors.white_sd) ** 2
    scale = -0.5 * _SCALE_WEIGHT * (np.log(fits.scale) + 1 / fits.scale - 1)
    shares = _SHARES_WEIGHT * (np.log(fits.shares) @ _SHARES.astype(np.float64))
    return np.asarray(veil + white + scale + shares)


def covered_and_opacity(cells: Cells, fits: Fits, weight: NDArray[np.float64]) -> NDArray[np.float32]:
    """Chance that each cell is covered, and its expected opacity, (2, n), over S weighted lights."""
    terms, what = _terms(cells), np.stack([COVERED.astype(np.float32), LEVELS])
    both = np.zeros((2, terms.shape[1]), np.float32)
    # One light after the other: all of them together need more memory than the processor's cache has.
    for i, share in enumerate(weight):
        both += np.float32(share) * what @ _expect(terms, fits.take(np.array([i])))[0][:, 0]
    return both


def chance_of_levels(cells: Cells, fits: Fits) -> NDArray[np.float32]:
    """Chance of each of `LEVELS` in each cell under S fitted lights, shape (K, S, n)."""
    return _expect(_terms(cells), fits)[0]
