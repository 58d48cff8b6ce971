"""Edge probabilities around a card → the outline of its block.

First the upright rectangle that its four sides support best, then, along the normals of that rectangle with
rounded corners, the closed curve of highest probability that doesn't jump: dynamic programming.
"""

from __future__ import annotations

from dataclasses import dataclass

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


def find_outline(log_probability: dict[Side, Plane]) -> Outline:
    """The block's outline that the edges support best."""
    start, normals = _rounded_rectangle(*_best_rectangle(log_probability))
    offsets = np.arange(-_REACH_MM, _REACH_MM + 1.0)
    places = start[:, None] + normals[:, None] * offsets[None, :, None]
    support = _support(log_probability, places, normals)
    leash = (0.25 * (offsets / _REACH_MM) ** 2).astype(np.float32)
    path = _smooth_cycle(support - leash)
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
    steps = np.arange(len(first))
    apart_mm = (steps[None, :] - steps[:, None]) * float(STEP_MM)
    usual = -0.5 * ((apart_mm - usual_mm) / _SPREAD_MM) ** 2
    score = _INDEPENDENT_LINES * (first[:, None] + second[None, :]) + usual
    score[apart_mm < _LEAST_MM] = -np.inf
    a, b = np.unravel_index(int(score.argmax()), score.shape)
    return int(a), int(b)


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
    nx, ny = normals[:, :1], normals[:, 1:]
    sideways = np.where(nx < 0, _at(log_probability["left"], places), _at(log_probability["right"], places))
    upright = np.where(ny < 0, _at(log_probability["top"], places), _at(log_probability["bottom"], places))
    return np.asarray(nx**2 * sideways + ny**2 * upright, np.float32)


def _at(plane: Plane, places: Points) -> Plane:
    steps = (places - (LEFT_MM, TOP_MM)) / STEP_MM - 0.5
    return sample(plane, steps[..., 0], steps[..., 1], outside=LEAST_LOG)


def _smooth_cycle(support: Plane) -> NDArray[np.intp]:
    """For each of N points round the block the offset's index, of the closed path with the best sum."""
    half = len(support) // 2
    # The path that starts opposite tells where a closed one passes the first point.
    opened = _smooth_path(np.roll(support, half, axis=0))
    return _smooth_path(support, through=int(opened[len(support) - half]))


def _smooth_path(support: Plane, *, through: int | None = None) -> NDArray[np.intp]:
    """The best path, free at both ends, or one that starts and ends at the offset `through`."""
    count, width = support.shape
    never, steepest = np.float32(-1e9), _STEEPEST
    # The best sum of a path to each place; borders that no path comes from.
    best = np.full((count, width + 2 * steepest), never)
    inner = best[:, steepest:-steepest]
    if through is None:
        inner[0] = support[0]
    else:
        inner[0, through] = support[0, through]
    cost = (_MOVE_COST * abs(np.arange(-steepest, steepest + 1))).astype(np.float32)
    near = np.lib.stride_tricks.sliding_window_view(best, width, axis=1)
    moved = np.empty((len(cost), width), np.float32)
    for k in range(1, count):
        np.subtract(near[k - 1], cost[:, None], out=moved)
        moved.max(0, out=inner[k])
        inner[k] += support[k]
    last = inner[-1]
    if through is not None:
        home = abs(np.arange(width) - through)
        last = np.where(home <= steepest, last - _MOVE_COST * home, never)
    path = np.zeros(count, np.intp)
    path[-1] = last.argmax()
    for k in range(count - 1, 0, -1):
        # Of equals the one farthest along.
        back = (near[k - 1, ::-1, path[k]] - cost).argmax()
        path[k - 1] = path[k] + steepest - back
    return path


def simplified(points: Points, *, most: int = MOST_CORNERS) -> Points:
    """A polygon with at most this many corners that keeps as near to the given one as that allows."""
    outline = np.asarray(points, np.float32)[:, None]
    tolerance = 0.2
    while True:
        fewer = cv2.approxPolyDP(outline, tolerance, closed=True)
        if len(fewer) <= most:
            return np.asarray(fewer[:, 0], np.float64)
        tolerance *= 1.2
