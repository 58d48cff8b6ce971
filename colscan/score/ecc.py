"""The affine change that makes one map most like another, found step by step.

Enhanced correlation coefficient, forward additive (Evangelidis & Psarakis 2008, doi:10.1109/TPAMI.2008.113).
OpenCV's own rounds places between pixels in its versions 4 and not in 5, which moves the answer.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from colscan.photo.between import affine_places, sample
from colscan.photo.model import Mask

Grid = NDArray[Any]
Affine = NDArray[np.float64]
Vector = NDArray[np.floating]
ROUNDS, ENOUGH = 25, 1e-4
"""Steps at most; and the change of likeness in one after which none is worth it."""


def align_affine(known: Grid, today: Grid, start: Affine, seen: Mask) -> tuple[float, Affine] | None:
    """How alike (correlation, at most 1) the second becomes to the first, and the change that does it.

    Parameters
    ----------
    known, today : ndarrays of one shape
        Detail of two maps.
    start : ndarray, shape (2, 3)
        Where to begin: from column, row of the first to those of the second.
    seen : ndarray of bool
        Where the second counts.

    Returns
    -------
    tuple or None
        None where the steps lead out of the picture.
    """
    change, likeness, before = np.asarray(start, np.float64), -1.0, -ENOUGH
    maps = np.dstack([today, *(slope * seen for slope in _slopes(today))])
    for _ in range(ROUNDS):
        if abs(likeness - before) < ENOUGH:
            break
        x, y = affine_places(change, known.shape)
        moved, across, down = sample(maps, x, y).reshape(-1, 3).T.astype(np.float64)
        inside = _nearest(seen, x, y).ravel()
        found = _step(known.ravel(), moved, _jacobian(across, down, known.shape), inside)
        if found is None:
            return None
        before, (likeness, step) = likeness, found
        change = change + step
    return likeness, change


def _slopes(values: Grid) -> tuple[Grid, Grid]:
    """Half the difference of what lies to both sides, across and down; a border is its own mirror."""
    wide = np.pad(values, 1, mode="reflect")
    return (wide[1:-1, 2:] - wide[1:-1, :-2]) / 2, (wide[2:, 1:-1] - wide[:-2, 1:-1]) / 2


def _nearest(mask: Mask, x: NDArray[np.float64], y: NDArray[np.float64]) -> Mask:
    """A mask at the pixels nearest to places; False beyond it."""
    column, row = np.rint(x).astype(np.intp), np.rint(y).astype(np.intp)
    height, width = mask.shape
    inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    return np.asarray(inside & mask[np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)])


def _jacobian(across: Vector, down: Vector, shape: tuple[int, ...]) -> NDArray[np.float64]:
    """What the moved map's values change by as each of the change's six numbers does, a row a number."""
    rows, columns = np.indices(shape).reshape(2, -1).astype(np.float64)
    return np.stack([across * columns, across * rows, across, down * columns, down * rows, down])


def _step(
    known: Vector, moved: Vector, jacobian: NDArray[np.float64], inside: NDArray[np.bool_]
) -> tuple[float, Affine] | None:
    """The likeness as it is, and the step that raises it most; None where there is none."""
    if not inside.any():
        return None
    template = np.where(inside, known - known[inside].mean(), 0.0)
    moved = np.where(inside, moved - moved[inside].mean(), moved)
    correlation = float(template @ moved)
    moved_norm = float(np.sqrt((moved[inside] ** 2).sum()))
    norms = moved_norm * float(np.sqrt((template**2).sum()))
    try:
        inverse = np.linalg.inv(jacobian @ jacobian.T)
    except np.linalg.LinAlgError:
        return None
    ahead = inverse @ (jacobian @ moved)
    over = correlation - float(jacobian @ template @ ahead)
    if norms == 0 or not over > 0:
        return None
    gain = (moved_norm**2 - float(jacobian @ moved @ ahead)) / over
    return correlation / norms, (inverse @ (jacobian @ (gain * template - moved))).reshape(2, 3)
