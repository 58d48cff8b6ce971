"""How likely each place around a card is the left, right, top or bottom edge of its bag's block.

For each side of the block a small network (one hidden layer, numbers in edges.json) scores a place by
what lies inward and outward of it along a line across the edge: steps of light and colour, texture, and
likeness to the block below the card. Each line's scores become log probabilities over that side's range.
The numbers are fitted by tests/locate/fit_edges.py to rendered shelves whose walls were given other
brightness and tint at random, so that no wall's own look is learnt.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.window import (
    BOTTOM_MM,
    BRIGHTEST,
    DARKEST,
    LEFT_MM,
    LUMINANCE,
    RIGHT_MM,
    TOP_MM,
    Window,
)
from colscan.photo.model import Mask

Side = Literal["left", "right", "top", "bottom"]
Plane = NDArray[np.float32]

STEP_MM = 2
"""Edges are looked for on a grid of 2 mm: blurred film and rounded blocks have no finer outline."""
RANGE_MM: dict[Side, tuple[float, float]] = {
    "left": (-155, -35),
    "right": (35, 160),
    "top": (-75, 5),
    "bottom": (100, 235),
}
"""Where each side of a block can be, from the card's middle."""
LEAST_LOG = -6.0
"""Floor of the log probabilities: one odd line can't outvote its neighbours."""

# Strips across an edge, in steps inward from it (negative: outward): 0-4, 4-10, 10-20, 20-40 mm.
_INWARD = ((0, 1), (2, 4), (5, 9), (10, 19))
_OUTWARD = ((-2, -1), (-5, -3), (-10, -6), (-20, -11))
_FARTHEST = 20
# Steps of log light and of log colour that count as one: about the block's own texture.
_LIGHT_STEP, _COLOUR_STEP = 0.1, 0.03


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeNet:
    """A network with one hidden layer and a linear path: tanh(F w + b) v + F u."""

    hidden: Plane
    bias: Plane
    out: Plane
    linear: Plane

    def score(self, features: Plane) -> Plane:
        """Scores (..., ) of features (..., K), up to a constant on each line."""
        return np.asarray(
            np.tanh(features @ self.hidden + self.bias) @ self.out + features @ self.linear, np.float32
        )


@cache
def _nets() -> dict[str, EdgeNet]:
    text = resources.files("colscan.locate").joinpath("edges.json").read_text(encoding="utf-8")
    return {
        kind: EdgeNet(**{name: np.array(values, np.float32) for name, values in net.items()})
        for kind, net in json.loads(text)["nets"].items()
    }


def edge_log_probabilities(window: Window) -> dict[Side, Plane]:
    """For each side a map (165, 160) of 2 mm: log probability that the block's edge is here on this line.

    Lines run across the side: rows for left and right, columns for top and bottom.
    """
    look = appearance(window)
    return {side: _log_probability(look, side) for side in RANGE_MM}


def _log_probability(look: Plane, side: Side) -> Plane:
    first, last = range_steps(side)
    score = _nets()[net_of(side)].score(line_features(look, side))
    score = score - score.max(1, keepdims=True)
    score = score - np.log(np.exp(score).sum(1, keepdims=True))
    turned = np.full(_turn(look, side).shape[:2], LEAST_LOG, np.float32)
    turned[:, first:last] = np.maximum(score, LEAST_LOG)
    return np.ascontiguousarray(_turn_back(turned, side))


def net_of(side: Side) -> str:
    """The name of a side's network; left and right are mirror images of one another."""
    return "side" if side in ("left", "right") else side


def range_steps(side: Side) -> tuple[int, int]:
    """First and past-last step of a side's range on a line that runs from outside to inside."""
    low, high = RANGE_MM[side]
    origin, length = (LEFT_MM, RIGHT_MM - LEFT_MM) if net_of(side) == "side" else (TOP_MM, BOTTOM_MM - TOP_MM)
    first, last = int((low - origin) / STEP_MM), int((high - origin) / STEP_MM)
    steps = length // STEP_MM
    return (first, last) if side in ("left", "top") else (steps - last, steps - first)


def appearance(window: Window) -> Plane:
    """How a window looks on the 2 mm grid: log light, two log colours, log texture, unlikeness to the block.

    The card is bridged from its left to its right neighbours, so that its own edges are none.
    """
    light = np.minimum(window.light, BRIGHTEST)
    log_light = np.log(light @ LUMINANCE + DARKEST)
    log_rgb = np.log(light + DARKEST)
    mean = cv2.blur(log_light, (5, 5))
    texture = np.sqrt(np.maximum(cv2.blur(log_light * log_light, (5, 5)) - mean * mean, 0))
    planes = np.dstack(
        [
            log_light,
            log_rgb[..., 0] - log_rgb[..., 1],
            log_rgb[..., 2] - log_rgb[..., 1],
            np.log(0.01 + texture),
        ]
    )
    size = (planes.shape[1] // STEP_MM, planes.shape[0] // STEP_MM)
    coarse = np.asarray(cv2.resize(planes, size, interpolation=cv2.INTER_AREA), np.float32)
    # Two steps more, so that the card's blurred edge is bridged too.
    card = cv2.resize(window.card.astype(np.uint8), size, interpolation=cv2.INTER_AREA)
    bridged = _bridge(coarse, cv2.dilate(card, np.ones((5, 5), np.uint8)) > 0)
    return np.dstack([bridged, _unlikeness(bridged[..., :3])])


def _bridge(planes: Plane, hidden: Mask) -> Plane:
    """Planes whose hidden places run evenly, row by row, from the 6 mm left of them to the 6 mm right."""
    planes = planes.copy()
    for row in np.flatnonzero(hidden.any(1)):
        columns = np.flatnonzero(hidden[row])
        first, last = columns[0], columns[-1]
        before, after = planes[row, max(0, first - 3) : first], planes[row, last + 1 : last + 4]
        if len(before) or len(after):
            left = (before if len(before) else after).mean(0)
            right = (after if len(after) else before).mean(0)
            share = ((np.arange(first, last + 1) - first + 1) / (last - first + 2))[:, None]
            planes[row, first : last + 1] = left * (1 - share) + right * share
    return planes


def _unlikeness(colour: Plane) -> Plane:
    """0-1: how far each place is from the block's own colours, seen 7-70 mm below the card."""
    rows = slice((32 - TOP_MM) // STEP_MM, (95 - TOP_MM) // STEP_MM)
    columns = slice((-35 - LEFT_MM) // STEP_MM, (35 - LEFT_MM) // STEP_MM)
    block = colour[rows, columns].reshape(-1, 3)
    median = np.median(block, 0)
    spread = 1.48 * np.median(abs(block - median), 0) + np.array([_LIGHT_STEP, _COLOUR_STEP, _COLOUR_STEP])
    return np.asarray(np.tanh(np.sqrt((((colour - median) / spread) ** 2).sum(2)) / 3), np.float32)


def line_features(look: Plane, side: Side) -> Plane:
    """Features (lines, steps of the side's range, K) of an edge at each place, from outside to inside."""
    first, last = range_steps(side)
    strips = _strips(_turn(look, side), first, last)
    inner, outer = strips[: len(_INWARD)], strips[len(_INWARD) :]
    (i1, i2, i3, i4), (o1, o2, o3, o4) = inner, outer
    pairs = [
        (i1, o1),
        (i2, o1),
        (i2, o2),
        (i3, o3),
        (o1, o2),
        (o2, o3),
        (i1, i2),
        (i2, i3),
        (i3, i4),
        (o3, o4),
    ]
    planes = []
    for a, b in pairs:
        planes.append(np.log1p(abs(a[..., 0] - b[..., 0]) / _LIGHT_STEP))
        colour = np.hypot(a[..., 1] - b[..., 1], a[..., 2] - b[..., 2])
        planes.append(np.log1p(colour / _COLOUR_STEP))
    planes += [strip[..., 3] for strip in strips]
    planes += [strip[..., 4] for strip in strips]
    planes.append(i1[..., 0] - i2[..., 0])
    planes.append(i1[..., 0] - o1[..., 0])
    planes.append(np.minimum(i1[..., 0], i2[..., 0]) - np.minimum(i2[..., 0], i3[..., 0]))
    planes += [abs(i1[..., 4] - o1[..., 4]), abs(i2[..., 4] - o2[..., 4]), i3[..., 4] - o3[..., 4]]
    return np.asarray(np.dstack(planes), np.float32)


def _strips(turned: Plane, first: int, last: int) -> list[Plane]:
    """Means over each strip at places first to last of lines, smoothed over three lines (6 mm)."""
    smooth = cv2.blur(turned, (1, 3))
    padded = np.pad(smooth, ((0, 0), (_FARTHEST + 1, _FARTHEST), (0, 0)), mode="edge")
    total = np.cumsum(padded, 1, dtype=np.float64)
    at = _FARTHEST + 1
    return [
        np.asarray(
            (total[:, at + b + first : at + b + last] - total[:, at + a - 1 + first : at + a - 1 + last])
            / (b - a + 1),
            np.float32,
        )
        for a, b in _INWARD + _OUTWARD
    ]


def _turn(planes: Plane, side: Side) -> Plane:
    """Planes turned so that lines are rows and run from outside to inside."""
    if net_of(side) != "side":
        planes = planes.swapaxes(0, 1)
    return np.ascontiguousarray(planes if side in ("left", "top") else planes[:, ::-1])


def _turn_back(plane: Plane, side: Side) -> Plane:
    plane = plane if side in ("left", "top") else plane[:, ::-1]
    return plane if net_of(side) == "side" else plane.T
