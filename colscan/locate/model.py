"""A card and a bag as seen in one photo."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.photo.model import ImageRGB, Mask

Points = NDArray[np.float64]
"""(N, 2) x, y in px; origin at the centre of the photo's top left pixel."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Card:
    """A card's tag as found in a photo.

    Parameters
    ----------
    tag : int
        AprilTag 36h11 id.
    corners_px : ndarray, shape (4, 2)
        Outer corners of the black square: top left, top right, bottom right, bottom left of the tag.
    mm_per_px : float
        Scale at the card.
    blur_px : float
        Sigma of the tag's edges; NaN when they can't be read.
    """

    tag: int
    corners_px: Points
    mm_per_px: float
    blur_px: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BagView:
    """One bag's face in one photo: its own crop, what of it is hidden, and its reference paper.

    Parameters
    ----------
    key : int
        What the photo knows the bag by: the id on its card, or a number over all of these (`Bag.key`).
    rgb : ndarray, shape (h, w, 3), uint8
        Crop of the photo around the face, at the photo's resolution.
    origin_px : tuple of int
        x, y of the crop's top left pixel in the photo.
    face : ndarray of bool, shape (h, w)
        The face: all of the block that the camera sees, hidden places included.
    hidden : ndarray of bool, shape (h, w)
        Face under card, filter patch, wires or a neighbour. (Reflections are found when scoring.)
    outline_px : ndarray, shape (n, 2), n <= 32
        The face's polygon in the photo.
    mm_per_px : float
        Scale at the middle of the face.
    paper : ndarray, shape (3,), float
        The card's white paper in linear light, 0-1: the neutral reference. NaN when it can't be read.
    ink : ndarray, shape (3,), float
        The card's black ink in linear light: what haze and lens flare add. NaN when it can't be read.
    blur_px : float
        Width (sigma) of the tag's own edges: how blurred the photo is here.
    flags : tuple of Flag
        `cut-off`, `face-unsure`, `reference-clipped`, `no-reference`, ...
    colour_error : float
        How far the file's coding puts colours off (standard deviation of Cb and Cr, levels of 255).
    """

    key: int
    rgb: ImageRGB
    origin_px: tuple[int, int]
    face: Mask
    hidden: Mask
    outline_px: Points
    mm_per_px: float
    paper: NDArray[np.float64]
    ink: NDArray[np.float64]
    blur_px: float
    flags: tuple[Flag, ...] = ()
    colour_error: float = 0.0

    def flagged(self, flag: Flag) -> BagView:
        """The view with one flag more."""
        return replace(self, flags=(*self.flags, flag))


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How the bags without a card stand in a photo, beside those that are in their places.

    Parameters
    ----------
    empty, doubtful : tuple of int
        Bags whose place is in view without a bag in it, and with one that may be another.
    strangers : int
        Bags without a card that stand in no place of the map.
    shelf_known : bool
        Whether the photo shows a mapped shelf.
    """

    empty: tuple[int, ...] = ()
    doubtful: tuple[int, ...] = ()
    strangers: int = 0
    shelf_known: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sighting:
    """What was found in one photo.

    Parameters
    ----------
    views : tuple of BagView
        One for each card that stands once in the photo and is no shelf card, and for each bag without one
        that stands where a map has it.
    repeated_tags : tuple of int
        Tags that stand more than once: whose bag is which can't be told, so they have no view.
    turns : int
        Quarter turns, counter-clockwise, after which the cards stand upright. The views' px are those of
        the turned photo; `turned_points` with ``-turns`` leads back.
    standing : Standing
        How the bags without a card stand.
    """

    views: tuple[BagView, ...]
    repeated_tags: tuple[int, ...] = ()
    turns: int = 0
    standing: Standing = Standing()
