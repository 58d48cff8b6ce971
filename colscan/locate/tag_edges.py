"""The four outer edges of a tag, fitted in linear light: where they are and how blurred."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import Points
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB
from colscan.photo.ranks import quantiles

Floats = NDArray[np.float64]

# Share of a tag's side to either side of an edge that is looked at: 3.5 of 36 mm, within the black
# border's one cell and the paper's margin; two pixels at least.
_REACH, _LEAST_REACH_PX = 3.5 / 36, 2.0
# Corners are left out: there two edges meet.
_FROM, _TO = 0.15, 0.85
_LEAST_PIXELS = 12
_MOST_STEPS = 60
_LEAST_DAMPING, _MOST_DAMPING = 1e-12, 1e9
# The share of the misfit that a step must take off for another one to follow.
_SETTLED = 1e-10
_TINY = 1e-30
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
    lines = []
    for i, edge in enumerate(edges):
        if edge is None:
            return corners_px
        start, end = corners_px[i], corners_px[(i + 1) % 4]
        outward = np.array([end[1] - start[1], start[0] - end[0]]) / np.hypot(*(end - start))
        lines.append(
            np.cross(
                [*(start + outward * (edge.shift_px - edge.tilt_px / 2)), 1.0],
                [*(end + outward * (edge.shift_px + edge.tilt_px / 2)), 1.0],
            )
        )
    crossed = [np.cross(lines[i - 1], lines[i]) for i in range(4)]
    return np.array([point[:2] / point[2] for point in crossed])


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

    outward: Floats
    t: Floats
    light: Floats
    there: Floats
    scale: Floats

    @classmethod
    def of(cls, sides: Sequence[_Side]) -> _Pixels:
        """The pixels of some sides."""
        planes = np.zeros((4, len(sides), max(len(side.light) for side in sides)))
        for k, side in enumerate(sides):
            planes[:, k, : len(side.light)] = side.outward, side.t, side.light, np.ones_like(side.light)
        outward, t, light, there = planes
        return cls(outward, t, light, there, np.array([[0.1 * (side.paper - side.ink)] for side in sides]))

    def take(self, chosen: NDArray[np.intp]) -> _Pixels:
        """Those of some edges."""
        return _Pixels(
            self.outward[chosen], self.t[chosen], self.light[chosen], self.there[chosen], self.scale[chosen]
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Try:
    """Parameters (S, 5), with each pixel's z, share of paper, misfit and weight (S, n), and the cost (S,)."""

    p: Floats
    z: Floats
    share: Floats
    misfit: Floats
    weight: Floats
    cost: Floats

    def or_better(self, tried: _Try, better: NDArray[np.bool_]) -> _Try:
        """Others where they are better."""
        if better.all():
            return tried
        which = better[:, None]
        return _Try(
            p=np.where(which, tried.p, self.p),
            z=np.where(which, tried.z, self.z),
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
            share=self.share[chosen],
            misfit=self.misfit[chosen],
            weight=self.weight[chosen],
            cost=self.cost[chosen],
        )


def _sigma(log_sigma: Floats) -> Floats:
    """Sigma in px; steps that go astray stay within what can be worked with."""
    return np.asarray(np.exp(np.clip(log_sigma, -_MOST_LOG, _MOST_LOG)))


def _try(pixels: _Pixels, p: Floats) -> _Try:
    from scipy.special import ndtr

    shift, tilt, log_sigma, ink, paper = p.T[..., None]
    z = (pixels.outward - shift - tilt * pixels.t) / _sigma(log_sigma)
    share = ndtr(z)
    misfit = ink + (paper - ink) * share - pixels.light
    # A soft loss: film reflections and the tag's inner cells are no part of the edge.
    root = np.sqrt(1 + (misfit / pixels.scale) ** 2)
    cost = ((root - 1) * pixels.there).sum(1)
    return _Try(p=p, z=z, share=share, misfit=misfit, weight=pixels.there / root, cost=cost)


def _step(pixels: _Pixels, at: _Try, damping: Floats) -> Floats:
    """A damped Gauss-Newton step with reweighted pixels, (S, 5)."""
    sigma = _sigma(at.p[:, 2, None])
    steep = (at.p[:, 4, None] - at.p[:, 3, None]) * np.exp(-0.5 * at.z * at.z) / np.sqrt(2 * np.pi)
    by_shift = -steep / sigma
    slopes = np.stack([by_shift, by_shift * pixels.t, -steep * at.z, 1 - at.share, at.share], 1)
    weighted = slopes * at.weight[:, None]
    normal, downhill = weighted @ slopes.swapaxes(1, 2), -(weighted @ at.misfit[..., None])
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
        going = ~better & (damping < _MOST_DAMPING) | (at.cost - tried.cost > _SETTLED * at.cost)
        found[left[better]] = tried.p[better]
        damping = np.where(better, np.maximum(damping / 10, _LEAST_DAMPING), damping * 10)
        if not going.any():
            break
        kept = np.flatnonzero(going)
        pixels, left, damping = pixels.take(kept), left[kept], damping[kept]
        at = at.or_better(tried, better).take(kept)
    return found
