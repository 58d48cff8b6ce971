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
from typing import Any, Literal

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
from colscan.photo.ranks import median

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
_SHAPE = ((BOTTOM_MM - TOP_MM) // STEP_MM, (RIGHT_MM - LEFT_MM) // STEP_MM)
LINES_EVERY = 2
"""Edges are sought on every second line: each is a mean over three."""
LEAST_LOG = -6.0
"""Floor of the log probabilities: one odd line can't outvote its neighbours."""

# Strips across an edge, in steps inward from it: 0-4, 4-10, 10-20, 20-40 mm; and as many outward.
_FROM, _WIDTHS = (0, 2, 5, 10), (2, 3, 5, 10)
_FARTHEST = 20
# Pairs of strips, counted from the innermost (i) and from the outermost (o) side of the edge, that are
# compared.
_PAIRS = (
    ("i1", "o1"),
    ("i2", "o1"),
    ("i2", "o2"),
    ("i3", "o3"),
    ("o1", "o2"),
    ("o2", "o3"),
    ("i1", "i2"),
    ("i2", "i3"),
    ("i3", "i4"),
    ("o3", "o4"),
)
# Steps of log light and of log colour that count as one: about the block's own texture.
_LIGHT_STEP, _COLOUR_STEP = 0.1, 0.03


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeNet:
    """A network with one hidden layer and a linear path: tanh(F w + b) v + F u.

    Parameters
    ----------
    inner : ndarray, shape (H + 1, K)
        w, and u as its last row: one product for both.
    bias, out : ndarray, shape (H,)
        b and v.
    """

    inner: Plane
    bias: Plane
    out: Plane

    def score(self, features: Plane) -> Plane:
        """Scores (...) of features (K, ...), up to a constant on each line."""
        flat = features.reshape(len(features), -1)
        inner = self.inner @ flat
        hidden, linear = inner[:-1], inner[-1]
        hidden += self.bias[:, None]
        np.tanh(hidden, out=hidden)
        return np.asarray((self.out @ hidden + linear).reshape(features.shape[1:]))


@cache
def _nets() -> dict[str, EdgeNet]:
    text = resources.files("colscan.locate").joinpath("edges.json").read_text(encoding="utf-8")
    nets = {}
    for kind, net in json.loads(text)["nets"].items():
        hidden, bias, out, linear = (
            np.array(net[name], np.float32) for name in ("hidden", "bias", "out", "linear")
        )
        nets[kind] = EdgeNet(inner=np.vstack([hidden.T, linear]), bias=bias, out=out)
    return nets


def edge_log_probabilities(window: Window) -> dict[Side, Plane]:
    """For each side a map (165, 160) of 2 mm: log probability that the block's edge is here on this line.

    Lines run across the side: rows for left and right, columns for top and bottom.
    """
    means = strip_means(appearance(window))
    return {side: _log_probability(means, side) for side in RANGE_MM}


def _log_probability(means: StripMeans, side: Side) -> Plane:
    across = _across(side)
    score = _nets()[net_of(side)].score(line_features(means, side))
    score -= score.max(across, keepdims=True)
    score -= np.log(np.exp(score).sum(across, keepdims=True))
    np.maximum(score, LEAST_LOG, out=score)
    plane = np.full(_SHAPE, LEAST_LOG, np.float32)
    first, last = range_steps(side)
    within, score = (plane[:, first:last], score) if across else (plane[first:last].T, score.T)
    within[::2], within[-1] = score, score[-1]
    within[1:-1:2] = (score[:-1] + score[1:])[: len(within[1:-1:2])] / 2
    return plane


def net_of(side: Side) -> str:
    """The name of a side's network; left and right are mirror images of one another."""
    return "side" if side in ("left", "right") else side


def _across(side: Side) -> int:
    """The axis of the map that runs across a side."""
    return 1 if net_of(side) == "side" else 0


def range_steps(side: Side) -> tuple[int, int]:
    """First and past-last step of a side's range, along the axis across it."""
    low, high = RANGE_MM[side]
    origin = LEFT_MM if net_of(side) == "side" else TOP_MM
    return int((low - origin) / STEP_MM), int((high - origin) / STEP_MM)


def appearance(window: Window) -> Plane:
    """How a window looks on the 2 mm grid, (5, 165, 160).

    Log light, two log colours, log texture, unlikeness to the block. The card is bridged from its left to its
    right neighbours, so that its own edges are none.
    """
    light = np.minimum(window.light, BRIGHTEST)
    log_light = np.log(cv2.transform(light, LUMINANCE[None]) + DARKEST)
    mean = cv2.blur(log_light, (5, 5))
    texture = np.sqrt(np.maximum(cv2.blur(log_light * log_light, (5, 5)) - mean * mean, 0))
    light += DARKEST
    red, green, blue = cv2.split(_halved(np.log(light, out=light)))
    coarse = np.stack([_halved(log_light), red - green, blue - green, _halved(np.log(0.01 + texture))])
    # Two steps more, so that the card's blurred edge is bridged too.
    card = _halved(window.card.astype(np.uint8))
    bridged = _bridge(coarse, cv2.dilate(card, np.ones((5, 5), np.uint8)) > 0)
    return np.concatenate([bridged, _unlikeness(bridged[:3])[None]])


def _halved(plane: NDArray[Any]) -> NDArray[Any]:
    """A plane of the window on the 2 mm grid."""
    return np.asarray(cv2.resize(plane, _SHAPE[::-1], interpolation=cv2.INTER_AREA))


def _bridge(planes: Plane, hidden: Mask) -> Plane:
    """Planes whose hidden places run evenly, row by row, from the 6 mm left of them to the 6 mm right."""
    rows = np.flatnonzero(hidden.any(1))
    if not len(rows):
        return planes
    width = hidden.shape[1]
    first, last = hidden[rows].argmax(1), width - 1 - hidden[rows, ::-1].argmax(1)
    near = np.arange(3)
    before = planes[:, rows[:, None], np.maximum(first[:, None] - 3 + near, 0)].mean(-1)
    after = planes[:, rows[:, None], np.minimum(last[:, None] + 1 + near, width - 1)].mean(-1)
    # Where the window ends there is one neighbour only; where both ends do, none.
    left = np.where(first > 0, before, after)[..., None]
    right = np.where(last < width - 1, after, before)[..., None]
    column = np.arange(width)
    share = (column - first[:, None] + 1) / (last - first + 2)[:, None]
    run = (column >= first[:, None]) & (column <= last[:, None])
    bridged = planes.copy()
    bridged[:, rows] = np.where(run, left * (1 - share) + right * share, planes[:, rows])
    return bridged


def _unlikeness(colour: Plane) -> Plane:
    """0-1: how far each place (3, h, w) is from the block's own colours, seen 7-70 mm below the card."""
    rows = slice((32 - TOP_MM) // STEP_MM, (95 - TOP_MM) // STEP_MM)
    columns = slice((-35 - LEFT_MM) // STEP_MM, (35 - LEFT_MM) // STEP_MM)
    block = colour[:, rows, columns].reshape(3, -1)
    middle = median(block)[:, None]
    steps = np.array([_LIGHT_STEP, _COLOUR_STEP, _COLOUR_STEP], np.float32)
    spread = np.float32(1.48) * median(abs(block - middle)) + steps
    light, one, other = (colour - middle[..., None]) / (3 * spread[:, None, None])
    return np.asarray(np.tanh(np.sqrt(light * light + one * one + other * other)), np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class StripMeans:
    """Means over strips of 2, 3, 5 and 10 steps on every second line, smoothed over three lines (6 mm).

    Parameters
    ----------
    along : tuple of tuple of ndarray
        For strips along columns, then along rows: for each width (5, h + 40, w / 2) or (5, h / 2, w + 40), at
        the strip's first step.
    """

    along: tuple[tuple[Plane, ...], tuple[Plane, ...]]


def strip_means(look: Plane) -> StripMeans:
    """The strips of an appearance that edges are told by; beyond the window it goes on as at its border."""
    level = np.pad(look, ((0, 0), (1, 1), (0, 0)), mode="reflect")
    level = level[:, :-2:LINES_EVERY] + level[:, 1:-1:LINES_EVERY] + level[:, 2::LINES_EVERY]
    upright = np.pad(look, ((0, 0), (0, 0), (1, 1)), mode="reflect")
    upright = upright[..., :-2:LINES_EVERY] + upright[..., 1:-1:LINES_EVERY] + upright[..., 2::LINES_EVERY]
    around = (_FARTHEST, _FARTHEST)
    return StripMeans(
        (
            _running_means(np.pad(upright, ((0, 0), around, (0, 0)), mode="edge"), upright.shape[2]),
            _running_means(np.pad(level, ((0, 0), (0, 0), around), mode="edge"), 1),
        )
    )


def _running_means(three: Plane, step: int) -> tuple[Plane, ...]:
    """Means over strips of each width, from sums over three lines whose next value lies `step` further on.

    Strips that don't end before their line does mean nothing.
    """
    one, two, wide, wider, widest = three.ravel(), *np.empty((4, three.size), np.float32)
    # Each width is the sum of two that are known.
    np.add(one[:-step], one[step:], out=two[:-step])
    np.add(two[: -2 * step], one[2 * step :], out=wide[: -2 * step])
    np.add(wide[: -4 * step], two[3 * step : -step], out=wider[: -4 * step])
    np.add(wider[: -9 * step], wider[5 * step : -4 * step], out=widest[: -9 * step])
    means = []
    for sums, width in zip((two, wide, wider, widest), _WIDTHS, strict=True):
        whole = sums[: (1 - width) * step]
        whole *= np.float32(1 / (3 * width))
        means.append(sums.reshape(three.shape))
    return tuple(means)


def line_features(means: StripMeans, side: Side) -> Plane:
    """Features (K, ...) of an edge at each place of the map that is within the side's range."""
    strips = _strips(means, side)
    i1, i2, i3, _, o1, o2, o3, _ = strips.values()
    count = 2 * len(_PAIRS)
    features = np.empty((count + 2 * len(strips) + 6, *i1.shape[1:]), np.float32)
    compared, own, more = np.split(features, [count, count + 2 * len(strips)])
    for k, (one, other) in enumerate(_PAIRS):
        off = strips[one][:3] - strips[other][:3]
        np.abs(off[0], out=compared[2 * k])
        cv2.magnitude(off[1], off[2], compared[2 * k + 1])
    compared[::2] *= 1 / _LIGHT_STEP
    compared[1::2] *= 1 / _COLOUR_STEP
    compared += 1
    np.log(compared, out=compared)
    for k, strip in enumerate(strips.values()):
        own[k], own[k + len(strips)] = strip[3], strip[4]
    more[0] = i1[0] - i2[0]
    more[1] = i1[0] - o1[0]
    more[2] = np.minimum(i1[0], i2[0]) - np.minimum(i2[0], i3[0])
    more[3] = abs(i1[4] - o1[4])
    more[4] = abs(i2[4] - o2[4])
    more[5] = i3[4] - o3[4]
    return features


def _strips(means: StripMeans, side: Side) -> dict[str, Plane]:
    """The strips inward (i) and outward (o) of each place of a side's range, the nearest first."""
    first, last = range_steps(side)
    # Where a strip begins on the map, from a place: outside is where steps begin for left and top.
    inward: tuple[int, ...] = _FROM
    outward = tuple(-begin - width for begin, width in zip(_FROM, _WIDTHS, strict=True))
    if side in ("right", "bottom"):
        inward, outward = tuple(begin + 1 for begin in outward), tuple(begin + 1 for begin in inward)
    strips = {}
    for name, begins in (("i", inward), ("o", outward)):
        for k, (begin, mean) in enumerate(zip(begins, means.along[_across(side)], strict=True)):
            span = slice(_FARTHEST + first + begin, _FARTHEST + last + begin)
            strips[f"{name}{k + 1}"] = mean[:, :, span] if _across(side) else mean[:, span]
    return strips
