"""A photo → the bags in it: those that a card names, and those that a shelf's map does."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colscan.flags import Flag
from colscan.locate.bags import carded_views
from colscan.locate.cards import find_cards
from colscan.locate.model import Card, Points, Sighting
from colscan.locate.shelf import MappedShelf, Placed, place_bags, propose_uncarded
from colscan.locate.turn import turned_cards, turns_to_upright
from colscan.photo.model import ImageRGB


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shown:
    """The bags that a photo shows.

    Parameters
    ----------
    carded : tuple of (int, ndarray)
        Tag and face of the bags that have a card.
    uncarded : tuple of ndarray
        Faces of the others, tiers from top to bottom, each from left to right; those of `carded` by tag.
    """

    carded: tuple[tuple[int, Points], ...]
    uncarded: tuple[Points, ...]


def locate_bags(rgb: ImageRGB, shelves: Sequence[MappedShelf] = ()) -> Sighting:
    """The bags in a photo whose card stands there once, and those that stand where a map has them.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo in sRGB. Where most cards stand on their heads or sides it is turned first.
    shelves : sequence of MappedShelf
        Maps of the shelves whose bags have no card.

    Returns
    -------
    Sighting
        Views by key; shelf cards have none. Their flags may be `no-reference`, `reference-clipped`,
        `face-unsure`, `cut-off` and `card-and-place-disagree`.
    """
    cards, turns, rgb = _upright(rgb)
    counts = Counter(card.tag for card in cards)
    views = carded_views(rgb, cards)
    carded = [(view.key, view.outline_px) for view in views]
    placed = place_bags(rgb, cards, carded, shelves) if shelves else Placed()
    told = tuple(
        view.flagged(Flag.CARD_AND_PLACE_DISAGREE) if view.key in placed.disputed else view for view in views
    )
    return Sighting(
        views=told + placed.views,
        repeated_tags=tuple(tag for tag, count in sorted(counts.items()) if count > 1),
        turns=turns,
        standing=placed.standing,
    )


def find_shown(rgb: ImageRGB) -> Shown:
    """The bags that a photo shows, without a map.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright sRGB.
    """
    cards = find_cards(rgb)
    carded = tuple((view.key, view.outline_px) for view in carded_views(rgb, cards))
    proposals = propose_uncarded(rgb, cards, [face for _, face in carded])
    return Shown(carded=carded, uncarded=tuple(proposal.outline_px for proposal in proposals))


def _upright(rgb: ImageRGB) -> tuple[tuple[Card, ...], int, ImageRGB]:
    cards = find_cards(rgb)
    turns = turns_to_upright(cards)
    return turned_cards(cards, turns, rgb.shape[:2]), turns, np.rot90(rgb, turns)
