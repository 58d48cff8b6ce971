"""Edge probabilities around a card → the outline of its block.

First the upright rectangle that its four sides support best, then, along the normals of that rectangle with
rounded corners, the closed curve of highest probability that doesn't jump: dynamic programming.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.edges import LEAST_LOG, STEP_MM, Plane, Side
from colscan.locate.model import Points
from colscan.locate.window import LEFT_MM, TOP_MM
from colscan.photo.between import sample

MOST_CORNERS = 32

# A filled block is some 20 cm wide and high; the spread is wide, as bags of all makes are hung with cards.
USUAL_MM, _SPREAD_MM, _LEAST_MM = (190.0, 205.0), 40.0, 90.0
# Lines of one edge are not independent: all of them count for about as much as this many.
_INDEPENDENT_LINES = 2.5
# Rows on which left and right are looked for: below the card, above the lowest blocks' rounding.
_SIDE_ROWS_MM = (32, 110)
# A block's sides bulge: support within 4 mm of a straight line counts as on it.
_BULGE_STEPS = 2
# Films are filled round: the corners' radius to begin with.
_CORNER_MM = 28.0
_ALONG_MM = 4.0
_REACH_MM = 24
# Log probability lost for each mm by which the curve moves in or out over 4 mm of its length.
_MOVE_COST = 0.5
_STEEPEST = 2
_NEVER = np.float32(-1e9)
# Evenly spread over a side's range of 120 mm the log probability would be -4; sure edges reach -1 to -2.
_UNSURE_LOG = -2.6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """A block's outline around a card.

    Parameters
    ----------
    points_mm : ndarray, shape (N, 2)
        Closed polygon, x, y in mm from the card's middle.
    sure : bool
        False when the edges carry none: then it is a rectangle of usual size.
    """

    points_mm: Points
    sure: bool


def find_outlines(log_probabilities: Sequence[dict[Side, Plane]]) -> list[Outline]:
    """Each block's outline that its edges support best; many together take little longer than one."""
    if not log_probabilities:
        return []
    offsets = np.arange(-_REACH_MM, _REACH_MM + 1.0)
    leash = (0.25 * (offsets / _REACH_MM) ** 2).astype(np.float32)
    all_places, supports = [], []
    for log_probability in log_probabilities:
        start, normals = _rounded_rectangle(*_best_rectangle(log_probability))
        places = start[:, None] + normals[:, None] * offsets[None, :, None]
        all_places.append(places)
        supports.append(_support(log_probability, places, normals))
    paths = _smooth_cycles([support - leash for support in supports])
    return [_along(*each) for each in zip(all_places, supports, paths, strict=True)]


def _along(places: Points, support: Plane, path: NDArray[np.intp]) -> Outline:
    """The outline through the chosen one of each point's places, if the edges support it."""
    chosen = np.arange(len(path))
    if support[chosen, path].mean() < _UNSURE_LOG:
        return Outline(points_mm=_usual_rectangle(), sure=False)
    return Outline(points_mm=places[chosen, path], sure=True)


def _usual_rectangle() -> Points:
    """A block of usual size, hung with its card a little above its upper fifth."""
    width, height = USUAL_MM
    x, top, bottom = width / 2, -0.2 * height, 0.8 * height
    return np.array([(-x, top), (x, top), (x, bottom), (-x, bottom)])


def _best_rectangle(log_probability: dict[Side, Plane]) -> tuple[float, float, float, float]:
    """Left, top, right, bottom in mm from the card's middle."""
    across = np.ones((1, 2 * _BULGE_STEPS + 1), np.uint8)
    rows = slice(*((mm - TOP_MM) // STEP_MM for mm in _SIDE_ROWS_MM))
    left, right = _best_pair(
        cv2.dilate(log_probability["left"], across)[rows].mean(0),
        cv2.dilate(log_probability["right"], across)[rows].mean(0),
        USUAL_MM[0],
    )
    # Columns well within the block: its corners are rounded.
    inset = int(_CORNER_MM) // STEP_MM - 2
    columns = slice(left + inset, right + 1 - inset)
    top, bottom = _best_pair(
        cv2.dilate(log_probability["top"], across.T)[:, columns].mean(1),
        cv2.dilate(log_probability["bottom"], across.T)[:, columns].mean(1),
        USUAL_MM[1],
    )
    middle = STEP_MM / 2
    return (
        left * STEP_MM + LEFT_MM + middle,
        top * STEP_MM + TOP_MM + middle,
        right * STEP_MM + LEFT_MM + middle,
        bottom * STEP_MM + TOP_MM + middle,
    )


def _best_pair(first: Plane, second: Plane, usual_mm: float) -> tuple[int, int]:
    """Steps of two opposite sides: what supports them, and how usual their distance is."""
    score = _INDEPENDENT_LINES * (first[:, None] + second) + _usual(len(first), usual_mm)
    a, b = np.unravel_index(int(score.argmax()), score.shape)
    return int(a), int(b)


@cache
def _usual(count: int, usual_mm: float) -> Plane:
    """How usual the distance is between two of so many steps."""
    steps = np.arange(count)
    apart_mm = (steps[None, :] - steps[:, None]) * float(STEP_MM)
    usual = -0.5 * ((apart_mm - usual_mm) / _SPREAD_MM) ** 2
    return np.where(apart_mm < _LEAST_MM, -np.inf, usual).astype(np.float32)


def _rounded_rectangle(left: float, top: float, right: float, bottom: float) -> tuple[Points, Points]:
    """Points about every 4 mm of a rectangle with rounded corners, clockwise, and their outward normals."""
    radius = min(_CORNER_MM, (right - left) / 3, (bottom - top) / 3)
    corners = [
        (right - radius, top + radius, -90.0),
        (right - radius, bottom - radius, 0.0),
        (left + radius, bottom - radius, 90.0),
        (left + radius, top + radius, 180.0),
    ]
    points, normals = [], []
    for k, (x, y, begin) in enumerate(corners):
        turns = max(3, round(radius * np.pi / 2 / _ALONG_MM))
        angles = np.deg2rad(begin + 90 * np.arange(turns) / turns)
        normal = np.stack([np.cos(angles), np.sin(angles)], 1)
        points.append((x, y) + radius * normal)
        normals.append(normal)
        out = np.array([np.cos(np.deg2rad(begin + 90)), np.sin(np.deg2rad(begin + 90))]).round()
        begin_at, end_at = (x, y) + radius * out, np.array(corners[(k + 1) % 4][:2]) + radius * out
        count = max(2, round(float(np.hypot(*(end_at - begin_at))) / _ALONG_MM))
        share = (np.arange(count) / count)[:, None]
        points.append(begin_at * (1 - share) + end_at * share)
        normals.append(np.repeat(out[None], count, 0))
    return np.concatenate(points), np.concatenate(normals)


def _support(log_probability: dict[Side, Plane], places: Points, normals: Points) -> Plane:
    """Log probability of an edge at places (N, M, 2) with normals (N, 2): of the two sides they face."""
    nx, ny = normals.T
    support = np.zeros(places.shape[:2])
    facing: dict[Side, tuple[NDArray[np.bool_], NDArray[np.float64]]] = {
        "left": (nx < 0, nx),
        "right": (nx > 0, nx),
        "top": (ny < 0, ny),
        "bottom": (ny > 0, ny),
    }
    for side, (faces, part) in facing.items():
        support[faces] += part[faces, None] ** 2 * _at(log_probability[side], places[faces])
    return support.astype(np.float32)


def _at(plane: Plane, places: Points) -> Plane:
    steps = (places - (LEFT_MM, TOP_MM)) / STEP_MM - 0.5
    return sample(plane, steps[..., 0], steps[..., 1], outside=LEAST_LOG)


def _smooth_cycles(supports: Sequence[Plane]) -> list[NDArray[np.intp]]:
    """For each of N points round each block the offset's index, of the closed path with the best sum."""
    halves = [len(support) // 2 for support in supports]
    # The path that starts opposite tells where a closed one passes the first point.
    opened = _smooth_paths([np.roll(one, half, axis=0) for one, half in zip(supports, halves, strict=True)])
    through = [path[len(path) - half] for path, half in zip(opened, halves, strict=True)]
    return _smooth_paths(supports, through=np.array(through))


def _smooth_paths(
    supports: Sequence[Plane], *, through: NDArray[np.intp] | None = None
) -> list[NDArray[np.intp]]:
    """The best paths, free at both ends, or ones that start and end at the offset `through` of each."""
    counts = np.array([len(support) for support in supports])
    blocks, width, steepest = np.arange(len(supports)), supports[0].shape[1], _STEEPEST
    # The best sum of a path to each place; borders that no path comes from.
    best = np.full((counts.max(), len(supports), width + 2 * steepest), _NEVER)
    inner = best[..., steepest:-steepest]
    for block, support in enumerate(supports):
        inner[: len(support), block] = support
    if through is not None:
        started = inner[0, blocks, through]
        inner[0] = _NEVER
        inner[0, blocks, through] = started
    cost = (_MOVE_COST * abs(np.arange(-steepest, steepest + 1))).astype(np.float32)
    near = np.lib.stride_tricks.sliding_window_view(best, width, axis=2)
    for before, here in zip(near, inner[1:], strict=False):
        here += (before - cost[:, None]).max(1)
    last = inner[counts - 1, blocks]
    if through is not None:
        home = abs(np.arange(width) - through[:, None])
        last = np.where(home <= steepest, last - _MOVE_COST * home, _NEVER)
    path = np.zeros((counts.max(), len(supports)), np.intp)
    path[counts - 1, blocks] = last.argmax(1)
    for k in range(counts.max() - 1, 0, -1):
        # Of equals the one farthest along.
        back = (near[k - 1, blocks, ::-1, path[k]] - cost).argmax(1)
        path[k - 1] = np.where(k < counts, path[k] + steepest - back, path[k - 1])
    return [path[:count, block] for block, count in enumerate(counts)]


def simplified(points: Points, *, most: int = MOST_CORNERS) -> Points:
    """A polygon with at most this many corners that keeps as near to the given one as that allows."""
    outline = np.asarray(points, np.float32)[:, None]
    tolerance = 0.2
    while True:
        fewer = cv2.approxPolyDP(outline, tolerance, closed=True)
        if len(fewer) <= most:
            return np.asarray(fewer[:, 0], np.float64)
        tolerance *= 1.2
