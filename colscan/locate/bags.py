"""A photo and its cards → a view of each bag that has one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colscan.flags import Flag
from colscan.locate.cards import card_outline_px, filled
from colscan.locate.edges import edge_log_probabilities
from colscan.locate.hidden import hidden_places
from colscan.locate.model import BagView, Card, Points
from colscan.locate.outline import Outline, find_outlines, simplified
from colscan.locate.reference import Reference, read_reference
from colscan.locate.window import Window, cut_window
from colscan.photo.model import ImageRGB, Mask
from colscan.trial.model import LAST_BAG_TAG

# Around the face, in the view's crop: room for what scoring smooths over.
_MARGIN_MM = 8.0
# Around the card: its edge stands off the film. Its far end is placed less surely than the rest.
_CARD_MARGIN_MM, _CARD_FAR_MARGIN_MM = 1.5, 4.0
# An outline this near to the photo's border is cut by it.
_BORDER_PX = 2.0


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
    cut_off, inside_px = kept_inside(window.to_px(outline.points_mm), shape)
    outline_px = simplified(inside_px)
    card_px = card_outline_px(card, margin_mm=_CARD_MARGIN_MM, far_margin_mm=_CARD_FAR_MARGIN_MM)
    both = np.concatenate([outline_px, card_px])
    (left, top), (right, bottom) = both.min(0).tolist(), both.max(0).tolist()
    flags = reference.flags
    flags += () if outline.sure else (Flag.FACE_UNSURE,)
    flags += (Flag.CUT_OFF,) if cut_off else ()
    return _Found(
        card=card,
        window=window,
        reference=reference,
        outline_px=outline_px,
        card_px=card_px,
        box_px=(left, top, right, bottom),
        flags=flags,
    )


def kept_inside(outline_px: Points, shape: tuple[int, int]) -> tuple[bool, Points]:
    """Whether a photo's border cuts an outline, and the part of it within the photo."""
    last = np.array([shape[1] - 1.0, shape[0] - 1.0])
    cut_off = bool(((outline_px < _BORDER_PX) | (outline_px > last - _BORDER_PX)).any())
    return cut_off, np.clip(outline_px, 0, last)


def _view(rgb: ImageRGB, bag: _Found, others: Sequence[_Found]) -> BagView:
    x0, y0, x1, y1 = crop_px(bag.outline_px, bag.card.mm_per_px, rgb.shape[:2])
    shape = (y1 - y0, x1 - x0)
    face = filled(bag.outline_px - (x0, y0), shape)
    return BagView(
        key=bag.card.tag,
        rgb=rgb[y0:y1, x0:x1].copy(),
        origin_px=(x0, y0),
        face=face,
        hidden=face & _hidden(bag, others, (x0, y0), shape),
        outline_px=bag.outline_px,
        mm_per_px=bag.card.mm_per_px,
        paper=bag.reference.paper,
        ink=bag.reference.ink,
        blur_px=bag.reference.blur_px,
        flags=bag.flags,
    )


def crop_px(outline_px: Points, mm_per_px: float, shape: tuple[int, int]) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of the crop around a face in a photo of this shape (rows, columns)."""
    margin = _MARGIN_MM / mm_per_px
    x0, y0 = np.maximum(np.floor(outline_px.min(0) - margin), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(outline_px.max(0) + margin) + 1, (shape[1], shape[0])).astype(int)
    return int(x0), int(y0), int(x1), int(y1)


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
