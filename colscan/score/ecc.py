"""The affine change that makes one map most like another, found step by step.

Likeness is the correlation of what both show, in all their layers (Evangelidis & Psarakis 2008,
doi:10.1109/TPAMI.2008.113); each layer varies around 0.
Maps of one face share only a part of their detail: mycelium and noise are in one of them alone. Steps that
go by one map's own slopes take that for signal and overshoot; these go by the product of both maps' slopes,
which noise is not in (after Benhimane & Malis 2004, doi:10.1109/IROS.2004.1389474), damped until likeness
rises. OpenCV's own rounds places between pixels in its versions 4 and not in 5, which moves the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colscan.photo.between import Between
from colscan.photo.model import Mask
from colscan.score.face import channels_of, merged

Grid = NDArray[Any]
Affine = NDArray[np.float64]
Vector = NDArray[np.float32]
# Every second cell of every second row leads to the same place as all of them, four times as quickly;
# of blurred maps every third does.
_EVERY, _EVERY_BLURRED = 2, 3
LOOKS, ENOUGH = 25, 5e-4
"""Looks at most; and the gain of likeness in one step after which none is worth it."""
# A step shorter than this (share of the face) that makes nothing better is the end.
_SHORTEST = 0.03 / 70
# Damping: at first, least and most; by how much less after a good step, and more after a bad one.
_DAMPED, _LEAST_DAMPED, _MOST_DAMPED = 0.1, 0.03, 100.0
_LESS, _MORE = 3.0, 5.0
_FEWEST = 100


def align_affine(known: Grid, today: Grid, start: Affine, seen: Mask) -> tuple[float, Affine] | None:
    """How alike (correlation, at most 1) the second becomes to the first, and the change that does it.

    Parameters
    ----------
    known, today : ndarrays of one shape, (h, w, n)
        Detail of two faces, in one layer or several.
    start : ndarray, shape (2, 3)
        Where to begin: from column, row of the first to those of the second.
    seen : ndarray of bool
        Where the second counts.

    Returns
    -------
    tuple or None
        None where both have nothing in common, or one shows nothing.
    """
    return _climbed(known, today, start, seen, every=_EVERY)


def align_blurred(known: Grid, today: Grid, start: Affine, seen: Mask) -> tuple[float, Affine] | None:
    """The same of blurred maps, of which fewer cells say as much."""
    return _climbed(known, today, start, seen, every=_EVERY_BLURRED)


def _climbed(
    known: Grid, today: Grid, start: Affine, seen: Mask, *, every: int
) -> tuple[float, Affine] | None:
    layers = channels_of(today)
    slopes = (slope * seen for layer in layers for slope in _slopes(layer))
    maps = Between(merged([*layers, *slopes, seen.astype(np.float32)]))
    cells = _Cells.of(known, every)
    look = _Look.at(cells, maps, np.asarray(start, np.float64) @ cells.to_px)
    if look is None:
        return None
    top = _climb(cells, maps, look)
    return top.likeness, top.change @ np.linalg.inv(cells.to_px)


def _slopes(values: Grid) -> tuple[Grid, Grid]:
    """Half the difference of what lies to both sides, across and down; a border is its own mirror."""
    wide = np.pad(values, 1, mode="reflect")
    return (wide[1:-1, 2:] - wide[1:-1, :-2]) / 2, (wide[2:, 1:-1] - wide[:-2, 1:-1]) / 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cells:
    """Cells of the known map.

    Parameters
    ----------
    place : ndarray, shape (3, n)
        Each cell's column and row from the map's middle, in half lengths of its longer side; and 1.
    to_px : ndarray, shape (3, 3)
        From those to columns and rows.
    known : ndarray, shape (layers n,)
        What the map shows there, layer after layer.
    in_layers : ndarray, shape (3, layers n)
        The places as often.
    slopes : ndarray, shape (6, layers n)
        How `known` changes as each of an affine change's six numbers does.
    """

    place: Vector
    in_layers: Vector
    to_px: Affine
    known: Vector
    slopes: Vector

    @classmethod
    def of(cls, known: Grid, every: int) -> _Cells:
        """One cell of each `every` in both directions."""
        chosen = (slice(every // 2, None, every),) * 2
        layers, (h, w), half = channels_of(known), known.shape[:2], max(known.shape[:2]) / 2
        rows, columns = np.indices((h, w), np.float32)[:, *chosen].reshape(2, -1)
        to_px = np.array([[half, 0, (w - 1) / 2], [0, half, (h - 1) / 2], [0, 0, 1]])
        place = np.stack([(columns - to_px[0, 2]) / half, (rows - to_px[1, 2]) / half, np.ones_like(rows)])
        place = place.astype(np.float32)
        across, down = (
            np.concatenate([slope[chosen].ravel() for slope in slopes])
            for slopes in zip(*map(_slopes, layers), strict=True)
        )
        in_layers = np.tile(place, len(layers))
        return cls(
            place=place,
            in_layers=in_layers,
            to_px=to_px,
            known=np.concatenate([layer[chosen].ravel() for layer in layers]),
            slopes=np.concatenate([in_layers * across, in_layers * down]),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """Both maps under one change.

    Parameters
    ----------
    change : ndarray, shape (2, 3)
        From cells' places to px of the second map.
    likeness : float
        Their correlation.
    known, moved : ndarrays, shape (layers n,)
        What both show at the cells, of length 1; 0 where the second doesn't count.
    inside : ndarray, shape (layers n,)
        1 at the cells that count, else 0.
    across, down : ndarrays, shape (layers n,)
        The second's slopes there.
    lengths : tuple of float
        What both were divided by.
    """

    change: Affine
    likeness: float
    known: Vector
    moved: Vector
    inside: Vector
    across: Vector
    down: Vector
    lengths: tuple[np.float32, np.float32]

    @classmethod
    def at(cls, cells: _Cells, maps: Between, change: Affine) -> _Look | None:
        """None where too little is seen of either map, or one shows nothing there."""
        x, y = change.astype(np.float32) @ cells.place
        *values, seen = maps.at(x, y).T
        layers = len(values) // 3
        moved, across, down = (
            np.concatenate(x) for x in (values[:layers], values[layers::2], values[layers + 1 :: 2])
        )
        one = (seen >= 0.5).astype(np.float32)
        if one.sum() < _FEWEST:
            return None
        inside = np.tile(one, layers)
        known, moved = cells.known * inside, moved * inside
        of_known, of_moved = (float(np.sqrt(map_ @ map_)) for map_ in (known, moved))
        if not of_known or not of_moved:
            return None
        lengths = np.float32(of_known), np.float32(of_moved)
        return cls(
            change=change,
            likeness=float(known @ moved) / (of_known * of_moved),
            known=known / lengths[0],
            moved=moved / lengths[1],
            inside=inside,
            across=across,
            down=down,
            lengths=lengths,
        )

    def uphill(self, cells: _Cells) -> tuple[Affine, Affine, Affine]:
        """How likeness rises (6,), and how it bends (6, 6), by both maps' slopes and by the second's."""
        of_known, of_moved = (self.inside / length for length in self.lengths)
        slopes = np.concatenate([cells.in_layers * (along * of_moved) for along in (self.across, self.down)])
        own = (slopes @ self.moved).astype(np.float64)
        rise = slopes @ self.known - self.likeness * own
        both = (slopes @ (cells.slopes * of_known).T).astype(np.float64)
        alone = slopes @ slopes.T - np.outer(own, own)
        return rise, (both + both.T) / 2, alone


def _climb(cells: _Cells, maps: Between, best: _Look) -> _Look:
    """The look after which no step makes the maps more alike."""
    damped, (rise, both, alone) = _DAMPED, best.uphill(cells)
    for _ in range(LOOKS):
        while (step := _solved(both + damped * alone, rise)) is None and damped < _MOST_DAMPED:
            damped *= _LESS
        if step is None:
            return best
        look = _Look.at(cells, maps, best.change + step)
        if look is None or look.likeness <= best.likeness:
            damped *= _MORE
            if damped > _MOST_DAMPED or np.abs(step).max() < _SHORTEST * cells.to_px[0, 0]:
                return best
            continue
        gain, best = look.likeness - best.likeness, look
        if gain < ENOUGH:
            return best
        damped, (rise, both, alone) = max(damped / _LESS, _LEAST_DAMPED), best.uphill(cells)
    return best


def _solved(bend: Affine, rise: Affine) -> Affine | None:
    """The step to the top of what rises and bends so; None where it doesn't bend down on all sides."""
    try:
        np.linalg.cholesky(bend)
    except np.linalg.LinAlgError:
        return None
    return np.asarray(np.linalg.solve(bend, rise)).reshape(2, 3)
