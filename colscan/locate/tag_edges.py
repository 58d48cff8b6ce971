"""The four outer edges of a tag, fitted in linear light: where they are and how blurred."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import Points
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB
from colscan.photo.ranks import quantiles

Floats = NDArray[np.float64]
Values = NDArray[np.float32]
"""Of pixels: all of them at once are quick in single precision only."""

# Share of a tag's side to either side of an edge that is looked at: 3.5 of 36 mm, within the black
# border's one cell and the paper's margin; two pixels at least.
_REACH, _LEAST_REACH_PX = 3.5 / 36, 2.0
# Corners are left out: there two edges meet.
_FROM, _TO = 0.15, 0.85
_LEAST_PIXELS = 12
_MOST_STEPS = 60
_LEAST_DAMPING, _MOST_DAMPING = 1e-12, 1e9
# The share of the misfit that a step must take off for another one to follow: corners are then within
# 0.01 px of where all further steps would take them.
_SETTLED = 1e-6
_TINY = 1e-30
# The normal distribution is nothing beyond: numbers that are nearly nothing take far longer to work with.
_FAR_Z = np.float32(8.0)
_ROOT_TAU = np.float32(np.sqrt(2 * np.pi))
# Of the normal distribution's tail: half the numbers that are given for the error function's, last first.
_HASTINGS_P = np.float32(0.3275911 / np.sqrt(2))
_HASTINGS = [np.float32(a / 2) for a in (1.061405429, -1.453152027, 1.421413741, -0.284496736, 0.254829592)]
_MOST_LOG = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TagEdge:
    """One edge as fitted.

    Parameters
    ----------
    shift_px, tilt_px : float
        How far outward of the given line its middle lies, and its end more so than its start.
    blur_px : float
        Sigma of the blur across it.
    """

    shift_px: float
    tilt_px: float
    blur_px: float


def fit_tag_edges(rgb: ImageRGB, tags_px: Sequence[Points]) -> list[tuple[TagEdge | None, ...]]:
    """Each tag's top, right, bottom and left edge, None for one that can't be fitted.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo.
    tags_px : sequence of ndarray, shape (4, 2)
        The tags' corners.
    """
    sides = [_side(rgb, corners[i], corners[(i + 1) % 4]) for corners in tags_px for i in range(4)]
    able = [side for side in sides if side is not None]
    fitted = iter(_fit(able) if able else ())
    edges = [None if side is None else next(fitted) for side in sides]
    return [tuple(edges[i : i + 4]) for i in range(0, len(edges), 4)]


def refine_corners(corners_px: Points, edges: Sequence[TagEdge | None]) -> Points:
    """Corners where the edges fitted to them cross; as given when an edge couldn't be fitted.

    Corners refined in encoded values lie about half a pixel inside: paper outshines ink there, in
    linear light an edge lies where it is half as bright.
    """
    fitted = [edge for edge in edges if edge is not None]
    if len(fitted) < len(edges):
        return corners_px
    ends = np.roll(corners_px, -1, axis=0)
    along = ends - corners_px
    outward = np.stack([along[:, 1], -along[:, 0]], 1) / np.hypot(*along.T)[:, None]
    shift, tilt = np.array([(edge.shift_px, edge.tilt_px) for edge in fitted]).T[..., None]
    lines = np.cross(
        np.column_stack([corners_px + outward * (shift - tilt / 2), np.ones(4)]),
        np.column_stack([ends + outward * (shift + tilt / 2), np.ones(4)]),
    )
    crossed = np.cross(np.roll(lines, 1, axis=0), lines)
    return np.asarray(crossed[:, :2] / crossed[:, 2:])


def blur_of(edges: Iterable[TagEdge | None]) -> float:
    """The median blur of edges, px; NaN when none could be fitted."""
    widths = [edge.blur_px for edge in edges if edge is not None]
    return float(np.median(widths)) if widths else float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """Pixels at one edge: how far outward of it, where along it (-0.5 to 0.5), their light; ink and paper."""

    outward: Floats
    t: Floats
    light: Floats
    ink: float
    paper: float


def _side(rgb: ImageRGB, start: Floats, end: Floats) -> _Side | None:
    """One edge; pixels themselves are fitted, as interpolating them would blur them again."""
    height, width = rgb.shape[:2]
    length = float(np.hypot(*(end - start)))
    reach = max(_LEAST_REACH_PX, _REACH * length)
    low = np.maximum(np.floor(np.minimum(start, end) - reach), 0).astype(int)
    high = np.minimum(np.ceil(np.maximum(start, end) + reach), (width - 1, height - 1)).astype(int)
    if (high - low < 2).any():
        return None
    along = (end - start) / length
    x, y = np.arange(low[0], high[0] + 1) - start[0], np.arange(low[1], high[1] + 1)[:, None] - start[1]
    t = (x * along[0] + y * along[1]) / length
    # Corners run clockwise, so the paper lies to the left of each side.
    outward = x * along[1] - y * along[0]
    near = (abs(outward) < reach) & (t > _FROM) & (t < _TO)
    light = to_linear(rgb[low[1] : high[1] + 1, low[0] : high[0] + 1, 1][near]).astype(np.float64)
    if len(light) < _LEAST_PIXELS:
        return None
    ink, paper = quantiles(light, (0.1, 0.9))
    return _Side(outward[near], t[near] - 0.5, light, ink, paper) if paper > ink else None


def _fit(sides: Sequence[_Side]) -> list[TagEdge | None]:
    """Least squares of light = ink + (paper - ink) * Phi((outward - shift - tilt t) / sigma), all at once."""
    found = _descend(_Pixels.of(sides), np.array([(0.0, 0.0, 0.0, side.ink, side.paper) for side in sides]))
    edges: list[TagEdge | None] = []
    for side, (shift, tilt, log_sigma, dark, bright) in zip(sides, found.tolist(), strict=True):
        sigma = float(_sigma(log_sigma))
        reach = np.ptp(side.outward) / 2
        off = abs(shift) + abs(tilt) / 2 > reach or sigma > reach or bright <= dark
        edges.append(None if off else TagEdge(shift_px=shift, tilt_px=tilt, blur_px=sigma))
    return edges


@dataclass(frozen=True, slots=True, eq=False)
class _Pixels:
    """Pixels at S edges, (S, n), filled up: where they lie, how bright they are, whether they are there.

    `scale`, (S, 1), is which misfit is a large one.
    """

    outward: Values
    t: Values
    light: Values
    there: Values
    scale: Values

    @classmethod
    def of(cls, sides: Sequence[_Side]) -> _Pixels:
        """The pixels of some sides."""
        planes = np.zeros((4, len(sides), max(len(side.light) for side in sides)), np.float32)
        for k, side in enumerate(sides):
            planes[:, k, : len(side.light)] = side.outward, side.t, side.light, np.ones_like(side.light)
        outward, t, light, there = planes
        scale = np.array([[0.1 * (side.paper - side.ink)] for side in sides], np.float32)
        return cls(outward, t, light, there, scale)

    def take(self, chosen: NDArray[np.intp]) -> _Pixels:
        """Those of some edges."""
        return _Pixels(
            self.outward[chosen], self.t[chosen], self.light[chosen], self.there[chosen], self.scale[chosen]
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Try:
    """Parameters (S, 5) and cost (S,), with each pixel's z, exp(-z^2 / 2), share of paper, misfit, weight."""

    p: Floats
    z: Values
    bell: Values
    share: Values
    misfit: Values
    weight: Values
    cost: Floats

    def or_better(self, tried: _Try, better: NDArray[np.bool_]) -> _Try:
        """Others where they are better."""
        if better.all():
            return tried
        which = better[:, None]
        return _Try(
            p=np.where(which, tried.p, self.p),
            z=np.where(which, tried.z, self.z),
            bell=np.where(which, tried.bell, self.bell),
            share=np.where(which, tried.share, self.share),
            misfit=np.where(which, tried.misfit, self.misfit),
            weight=np.where(which, tried.weight, self.weight),
            cost=np.where(better, tried.cost, self.cost),
        )

    def take(self, chosen: NDArray[np.intp]) -> _Try:
        """Those of some edges."""
        return _Try(
            p=self.p[chosen],
            z=self.z[chosen],
            bell=self.bell[chosen],
            share=self.share[chosen],
            misfit=self.misfit[chosen],
            weight=self.weight[chosen],
            cost=self.cost[chosen],
        )


def _sigma(log_sigma: Any) -> Any:
    """Sigma in px; steps that go astray stay within what can be worked with."""
    return np.exp(np.clip(log_sigma, -_MOST_LOG, _MOST_LOG))


def _try(pixels: _Pixels, p: Floats) -> _Try:
    shift, tilt, log_sigma, ink, paper = p.astype(np.float32).T[..., None]
    z = np.clip((pixels.outward - shift - tilt * pixels.t) / _sigma(log_sigma), -_FAR_Z, _FAR_Z)
    bell = np.exp(-0.5 * z * z)
    share = _normal_share(z, bell)
    misfit = ink + (paper - ink) * share - pixels.light
    # A soft loss: film reflections and the tag's inner cells are no part of the edge.
    root = np.sqrt(1 + (misfit / pixels.scale) ** 2)
    cost = ((root - 1) * pixels.there).sum(1, dtype=np.float64)
    return _Try(p=p, z=z, bell=bell, share=share, misfit=misfit, weight=pixels.there / root, cost=cost)


def _normal_share(z: Values, bell: Values) -> Values:
    """The normal distribution function of z, within 1e-7, with `bell` = exp(-z^2 / 2) at hand.

    References
    ----------
    Abramowitz and Stegun 1964, Handbook of Mathematical Functions, 7.1.26.
    """
    t = 1 / (1 + _HASTINGS_P * abs(z))
    tail = _HASTINGS[0] * t
    for more in _HASTINGS[1:]:
        tail += more
        tail *= t
    tail *= bell
    return np.where(z > 0, 1 - tail, tail)


def _step(pixels: _Pixels, at: _Try, damping: Floats) -> Floats:
    """A damped Gauss-Newton step with reweighted pixels, (S, 5)."""
    _, _, log_sigma, ink, paper = at.p.astype(np.float32).T[..., None]
    sigma = _sigma(log_sigma)
    steep = (paper - ink) / _ROOT_TAU * at.bell
    by_shift = -steep / sigma
    slopes = np.stack([by_shift, by_shift * pixels.t, -steep * at.z, 1 - at.share, at.share], 1)
    weighted = slopes * at.weight[:, None]
    normal = (weighted @ slopes.swapaxes(1, 2)).astype(np.float64)
    downhill = -(weighted @ at.misfit[..., None])
    diagonal = np.einsum("skk->sk", normal)
    diagonal += damping[:, None] * (diagonal + _TINY)
    return np.asarray(np.linalg.solve(normal, downhill)[..., 0])


def _descend(pixels: _Pixels, p: Floats) -> Floats:
    """Shift, tilt, log of sigma, ink and paper of each edge (S, 5), from a first guess.

    Five parameters and some hundred pixels each: a general solver spends most of its time on itself.
    """
    found, left = p.copy(), np.arange(len(p))
    at, damping = _try(pixels, p), np.full(len(p), 1e-3)
    for _ in range(_MOST_STEPS):
        tried = _try(pixels, at.p + _step(pixels, at, damping))
        better = tried.cost <= at.cost
        going = (abs(at.cost - tried.cost) > _SETTLED * at.cost) & (better | (damping < _MOST_DAMPING))
        found[left[better]] = tried.p[better]
        damping = np.where(better, np.maximum(damping / 10, _LEAST_DAMPING), damping * 10)
        if not going.any():
            break
        kept = np.flatnonzero(going)
        pixels, left, damping = pixels.take(kept), left[kept], damping[kept]
        at = at.or_better(tried, better).take(kept)
    return found
