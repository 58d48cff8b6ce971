"""A photo and its cards → a view of each bag that has one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colscan.flags import Flag
from colscan.locate.cards import card_outline_px, filled
from colscan.locate.crop import face_within, is_cut, outline_doubts, view_of
from colscan.locate.edges import edge_log_probabilities
from colscan.locate.hidden import hidden_places
from colscan.locate.model import BagView, Card, Points
from colscan.locate.outline import Outline, find_outlines
from colscan.locate.reference import Reference, read_reference
from colscan.locate.window import Window, cut_window
from colscan.photo.model import ImageRGB, Mask
from colscan.trial.model import LAST_BAG_TAG

# Around the card: its edge stands off the film. Its far end is placed less surely than the rest.
_CARD_MARGIN_MM, _CARD_FAR_MARGIN_MM = 1.5, 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Found:
    """A bag's card and outline, and the box around both, before its neighbours are known."""

    card: Card
    window: Window
    reference: Reference
    outline_px: Points
    card_px: Points
    box_px: tuple[float, float, float, float]
    flags: tuple[Flag, ...]


def carded_views(rgb: ImageRGB, cards: Sequence[Card]) -> tuple[BagView, ...]:
    """A view of each bag whose card stands once among these.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright.
    cards : sequence of Card
        Its cards; shelf cards have no view.
    """
    counts = Counter(card.tag for card in cards)
    own = [card for card in cards if card.tag <= LAST_BAG_TAG and counts[card.tag] == 1]
    references = [read_reference(rgb, card) for card in own]
    windows = [cut_window(rgb, card, one.paper) for card, one in zip(own, references, strict=True)]
    outlines = find_outlines([edge_log_probabilities(window) for window in windows])
    found = [_found(rgb.shape[:2], *each) for each in zip(own, windows, references, outlines, strict=True)]
    return tuple(_view(rgb, bag, [other for other in found if other is not bag]) for bag in found)


def _found(
    shape: tuple[int, int], card: Card, window: Window, reference: Reference, outline: Outline
) -> _Found:
    """A bag in a photo of this shape (rows, columns)."""
    whole_px = window.to_px(outline.points_mm)
    outline_px = face_within(whole_px, shape)
    card_px = card_outline_px(card, margin_mm=_CARD_MARGIN_MM, far_margin_mm=_CARD_FAR_MARGIN_MM)
    both = np.concatenate([outline_px, card_px])
    (left, top), (right, bottom) = both.min(0).tolist(), both.max(0).tolist()
    return _Found(
        card=card,
        window=window,
        reference=reference,
        outline_px=outline_px,
        card_px=card_px,
        box_px=(left, top, right, bottom),
        flags=outline_doubts(sure=outline.sure, cut=is_cut(whole_px, shape)),
    )


def _view(rgb: ImageRGB, bag: _Found, others: Sequence[_Found]) -> BagView:
    return view_of(
        rgb,
        bag.outline_px,
        key=bag.card.tag,
        mm_per_px=bag.card.mm_per_px,
        reference=bag.reference,
        flags=bag.flags,
        hide=lambda origin_px, shape: _hidden(bag, others, origin_px, shape),
    )


def _hidden(
    bag: _Found, others: Sequence[_Found], origin_px: tuple[int, int], shape: tuple[int, int]
) -> Mask:
    """Places of a crop that are covered by the bag's card, patch, rods, or by other bags and their cards.

    Where two faces overlap it can't be told whose film is seen: the place is hidden in both.
    """
    hidden = filled(bag.card_px - origin_px, shape)
    left, top = origin_px
    for other in others:
        low_x, low_y, high_x, high_y = other.box_px
        # Most bags are far from one another.
        if high_x > left - 1 and high_y > top - 1 and low_x < left + shape[1] and low_y < top + shape[0]:
            hidden |= filled(other.outline_px - origin_px, shape)
            hidden |= filled(other.card_px - origin_px, shape)
    return hidden | _covered(bag, origin_px, shape)


def _covered(bag: _Found, origin_px: tuple[int, int], shape: tuple[int, int]) -> Mask:
    """Patch and rods, found on the millimetre grid, laid over a crop."""
    covered = hidden_places(bag.window, bag.window.filled(bag.outline_px))
    return bag.window.laid_over(covered, origin_px, shape)
