"""A photo and the faces in it → how they stand upright, and the white paper each is held against."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.locate.cards import TAG_MM, find_cards
from colscan.locate.model import Card, Points
from colscan.locate.reference import Reference, read_reference
from colscan.locate.standin import stand_in_references
from colscan.locate.turn import turned_points, turns_to_upright
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB

# Side to which tags are shrunk before they are sought: time goes with the photo's area. Bags that stand
# farther away than most still have tags that can be read.
_TAG_PX = 32.0
# Where nothing in a photo is known to be white, its brightest places are taken for paper: the light that
# one pixel in a hundred reaches.
_BRIGHTEST = 0.99
# Paper darker than this would multiply noise.
_LEAST_PAPER = 0.005


class HeldAgainst(StrEnum):
    """What the light on a face was told by."""

    OWN_CARD = "its card"
    BURNT_OUT = "its card, which is burnt out, so the face may look lighter than it is"
    OTHER_CARDS = "the photo's cards"
    PATCHES = "the bags' filter patches"
    BRIGHTEST = "the photo's brightest places"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceLight:
    """The light on one face: `paper`, shape (3,), is white paper there in linear light, 0-1."""

    paper: NDArray[np.float64]
    by: HeldAgainst


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lights:
    """A photo turned upright, and the light on its faces.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, turned so that most cards stand upright.
    outlines_px : tuple of ndarray, shape (n, 2)
        The faces' polygons in it.
    faces : tuple of FaceLight
        One for each polygon.
    """

    rgb: ImageRGB
    outlines_px: tuple[Points, ...]
    faces: tuple[FaceLight, ...]


def read_lights(
    rgb: ImageRGB, outlines_px: Sequence[Points], *, tags: Sequence[int | None], mm_per_px: float
) -> Lights:
    """Return a photo turned upright with the light on each of its faces.

    A bag's own card tells it best. Of one that is burnt out only the least light is known: it makes the
    median of the photo's cards so much brighter, in their colour. Where it is unread or missing that median
    tells, then the white filter patches, then the photo's brightest places.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo.
    outlines_px : sequence of ndarray, shape (n, 2)
        The faces' polygons.
    tags : sequence of int or None
        The tag on each bag's card.
    mm_per_px : float
        Scale at the bags.
    """
    small = _shrunk(rgb, _TAG_PX * mm_per_px / TAG_MM)
    cards = find_cards(small, smallest_px=0.75 * _TAG_PX)
    turns = turns_to_upright(cards)
    upright = np.rot90(rgb, turns)
    outlines = tuple(turned_points(outline, turns, rgb.shape[:2]) for outline in outlines_px)
    papers = _papers(small, cards)
    shared = _shared_paper(papers)
    if shared is not None:
        faces = tuple(_by_cards(papers.get(tag), shared) for tag in tags)
    else:
        faces = _without_cards(upright, outlines, mm_per_px)
    return Lights(rgb=upright, outlines_px=outlines, faces=faces)


def _by_cards(own: Reference | None, shared: NDArray[np.float64]) -> FaceLight:
    if own is None:
        return FaceLight(paper=shared, by=HeldAgainst.OTHER_CARDS)
    if Flag.REFERENCE_CLIPPED in own.flags:
        # The channel that is not burnt out has the largest ratio, and what all cards say has the colour.
        brighter = max(1.0, float((own.paper / shared).max()))
        return FaceLight(paper=shared * brighter, by=HeldAgainst.BURNT_OUT)
    return FaceLight(paper=own.paper, by=HeldAgainst.OWN_CARD)


def _shrunk(rgb: ImageRGB, factor: float) -> ImageRGB:
    """A photo at a size at which its cards are quick to find; never enlarged."""
    if factor >= 1:
        return rgb
    size = (max(1, round(rgb.shape[1] * factor)), max(1, round(rgb.shape[0] * factor)))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)


def _papers(rgb: ImageRGB, cards: Sequence[Card]) -> dict[int | None, Reference]:
    """What can be read of each card by its tag; burnt-out ones say so."""
    read = {card.tag: read_reference(rgb, card) for card in cards}
    return {tag: reference for tag, reference in read.items() if np.isfinite(reference.paper).all()}


def _shared_paper(papers: dict[int | None, Reference]) -> NDArray[np.float64] | None:
    """The median of the cards, of the burnt-out ones when there are no others."""
    good = [one.paper for one in papers.values() if Flag.REFERENCE_CLIPPED not in one.flags]
    shown = good or [one.paper for one in papers.values()]
    return np.asarray(np.median(shown, 0), np.float64) if shown else None


def _without_cards(rgb: ImageRGB, outlines: Sequence[Points], mm_per_px: float) -> tuple[FaceLight, ...]:
    patches = stand_in_references(rgb, outlines, mm_per_px=mm_per_px)
    seen = [patch.paper for patch in patches if patch.paper.min() > _LEAST_PAPER]
    if seen:
        # One for all: each hangs in light of its own, and may carry a tint of its own.
        paper = np.asarray(np.median(seen, 0), np.float64)
        return tuple(FaceLight(paper=paper, by=HeldAgainst.PATCHES) for _ in outlines)
    brightest = np.quantile(to_linear(rgb).reshape(-1, 3), _BRIGHTEST, axis=0).astype(np.float64)
    paper = np.maximum(brightest, _LEAST_PAPER)
    return tuple(FaceLight(paper=paper, by=HeldAgainst.BRIGHTEST) for _ in outlines)
