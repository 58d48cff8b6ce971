"""Photos taken upside down or sideways, and stripped of the tag that would say so: the cards tell."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from colscan.locate.model import Card, Points

Shape = tuple[int, int]
"""Rows and columns of a photo."""


def turns_to_upright(cards: Sequence[Card]) -> int:
    """How many quarter turns (counter-clockwise, as `numpy.rot90`) make most of the cards stand upright."""
    votes = Counter(_turns(card) for card in cards)
    # Upright wins a tie: a photo is turned only when the cards agree.
    return max(votes, key=lambda turns: (votes[turns], turns == 0)) if votes else 0


def _turns(card: Card) -> int:
    top_left, top_right, bottom_right, bottom_left = card.corners_px
    x, y = top_left + top_right - bottom_left - bottom_right
    if abs(x) > abs(y):
        return 1 if x > 0 else 3
    return 2 if y > 0 else 0


def turned_points(points_px: Points, turns: int, shape: Shape) -> Points:
    """Where points of a photo of this shape lie after so many quarter turns; negative turns go back.

    Parameters
    ----------
    points_px : ndarray, shape (N, 2)
        x, y in px.
    turns : int
        Quarter turns counter-clockwise.
    shape : tuple of int
        Rows, columns before turning.

    Examples
    --------
    >>> turned_points(np.array([[0.0, 0.0]]), 1, (30, 40)).tolist()
    [[0.0, 39.0]]
    """
    points, (rows, columns) = np.asarray(points_px, np.float64), shape
    for _ in range(turns % 4):
        points = np.stack([points[:, 1], columns - 1 - points[:, 0]], axis=1)
        rows, columns = columns, rows
    return points


def turned_cards(cards: Sequence[Card], turns: int, shape: Shape) -> tuple[Card, ...]:
    """The cards of a photo after so many quarter turns."""
    return tuple(replace(card, corners_px=turned_points(card.corners_px, turns, shape)) for card in cards)
