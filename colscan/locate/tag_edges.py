"""The four outer edges of a tag, fitted in linear light: where they are and how blurred."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import Points
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB

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


def fit_tag_edges(rgb: ImageRGB, corners_px: Points) -> tuple[TagEdge | None, ...]:
    """The tag's top, right, bottom and left edge, None for one that can't be fitted."""
    return tuple(_fit_side(rgb, corners_px[i], corners_px[(i + 1) % 4]) for i in range(4))


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


def _fit_side(rgb: ImageRGB, start: Floats, end: Floats) -> TagEdge | None:
    """One edge; pixels themselves are fitted, as interpolating them would blur them again."""
    height, width = rgb.shape[:2]
    length = float(np.hypot(*(end - start)))
    reach = max(_LEAST_REACH_PX, _REACH * length)
    low = np.maximum(np.floor(np.minimum(start, end) - reach), 0).astype(int)
    high = np.minimum(np.ceil(np.maximum(start, end) + reach), (width - 1, height - 1)).astype(int)
    if (high - low < 2).any():
        return None
    along = (end - start) / length
    x, y = np.meshgrid(np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1))
    t = ((x - start[0]) * along[0] + (y - start[1]) * along[1]) / length
    # Corners run clockwise, so the paper lies to the left of each side.
    outward = (x - start[0]) * along[1] - (y - start[1]) * along[0]
    near = (abs(outward) < reach) & (t > _FROM) & (t < _TO)
    light = to_linear(rgb[low[1] : high[1] + 1, low[0] : high[0] + 1, 1][near]).astype(np.float64)
    return _fit(outward[near], t[near] - 0.5, light)


def _fit(outward: Floats, t: Floats, light: Floats) -> TagEdge | None:
    """Least squares of light = ink + (paper - ink) * Phi((outward - shift - tilt t) / sigma)."""
    if len(light) < _LEAST_PIXELS:
        return None
    ink, paper = np.quantile(light, (0.1, 0.9))
    if paper <= ink:
        return None
    shift, tilt, log_sigma, dark, bright = _descend(
        _Pixels(outward, t, light, 0.1 * (paper - ink)), ink, paper
    )
    sigma = float(np.exp(log_sigma))
    reach = np.ptp(outward) / 2
    if abs(shift) + abs(tilt) / 2 > reach or sigma > reach or bright <= dark:
        return None
    return TagEdge(shift_px=shift, tilt_px=tilt, blur_px=sigma)


@dataclass(frozen=True, slots=True, eq=False)
class _Pixels:
    """Pixels at an edge: where they lie, how bright they are, and which misfit is a large one."""

    outward: Floats
    t: Floats
    light: Floats
    scale: float


@dataclass(frozen=True, slots=True, eq=False)
class _Try:
    """Parameters with what they give: z of each pixel, its share of paper, its misfit, and their sum."""

    p: Floats
    z: Floats
    share: Floats
    misfit: Floats
    weight: Floats
    cost: float


def _try(pixels: _Pixels, p: Floats) -> _Try:
    from scipy.special import ndtr

    z = (pixels.outward - p[0] - p[1] * pixels.t) / np.exp(p[2])
    share = ndtr(z)
    misfit = p[3] + (p[4] - p[3]) * share - pixels.light
    # A soft loss: film reflections and the tag's inner cells are no part of the edge.
    root = np.sqrt(1 + (misfit / pixels.scale) ** 2)
    return _Try(p=p, z=z, share=share, misfit=misfit, weight=1 / root, cost=float(root.sum()) - root.size)


def _descend(pixels: _Pixels, ink: float, paper: float) -> tuple[float, ...]:
    """Shift, tilt, log of sigma, ink and paper, by damped Gauss-Newton steps with reweighted pixels.

    Five parameters and some hundred pixels: a general solver spends most of its time on itself.
    """
    at, damping = _try(pixels, np.array([0.0, 0.0, 0.0, ink, paper])), 1e-3
    for _ in range(_MOST_STEPS):
        steep = (at.p[4] - at.p[3]) * np.exp(-0.5 * at.z * at.z) / np.sqrt(2 * np.pi)
        by_shift = -steep / np.exp(at.p[2])
        slopes = np.stack([by_shift, by_shift * pixels.t, -steep * at.z, 1 - at.share, at.share])
        weighted = slopes * at.weight
        normal, downhill = weighted @ slopes.T, -(weighted @ at.misfit)
        while damping < _MOST_DAMPING:
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal) + _TINY), downhill)
            tried = _try(pixels, at.p + step)
            if tried.cost <= at.cost:
                break
            damping *= 10
        else:
            break
        settled = at.cost - tried.cost <= _SETTLED * at.cost
        at, damping = tried, max(damping / 10, _LEAST_DAMPING)
        if settled:
            break
    return tuple(at.p.tolist())
