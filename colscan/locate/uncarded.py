"""A rough outline in a photo → the view of its bag, where no card hangs on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from colscan.locate.cards import filled
from colscan.locate.crop import face_within, is_cut, outline_doubts, view_of
from colscan.locate.edges import STEP_MM, Plane, Side, edge_log_probabilities
from colscan.locate.hidden import hidden_places
from colscan.locate.model import BagView, Points
from colscan.locate.outline import find_outlines
from colscan.locate.reference import Reference
from colscan.locate.window import Window, cut_bare_window
from colscan.locate.writing import find_writing
from colscan.photo.model import ImageRGB, Mask

# Where a card's middle would be, below the top of the block: in the middle of the ranges in which the
# edges of blocks of all sizes are looked for.
_ANCHOR_BELOW_TOP_MM = 38.0
# A proposal's edges are off by about this much; an outline carried from another photo errs more, and
# should give way to the photo's own proposal where there is one.
_ROUGH_MM = 8.0
# However far off an edge, the rough outline takes no more than this log probability from it.
_MOST_LEAN = 3.0


def view_without_card(
    rgb: ImageRGB,
    outline_px: Points,
    *,
    key: int,
    mm_per_px: float,
    reference: Reference,
    others_px: Sequence[Points],
) -> BagView:
    """The view of a bag that is known by its place.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright sRGB.
    outline_px : ndarray, shape (n, 2)
        Its block's outline: the photo's own proposal, or one that is at most a centimetre or two off.
    key : int
        `Bag.key`.
    mm_per_px : float
        Scale at the bag.
    reference : Reference
        The light on the bag.
    others_px : sequence of ndarray, shape (n, 2)
        Outlines of the photo's other blocks: where they overlap this one it is hidden.

    Returns
    -------
    BagView
        Its flags may be `no-reference`, `reference-clipped`, `face-unsure` (then the outline is the rough
        one) and `cut-off`.
    """
    window = window_without_card(rgb, outline_px, mm_per_px=mm_per_px, reference=reference)
    (outline,) = find_outlines([_leaning(edge_log_probabilities(window), window.filled(outline_px))])
    refined_px = window.to_px(outline.points_mm) if outline.sure else outline_px
    face_px = face_within(refined_px, rgb.shape[:2])
    return view_of(
        rgb,
        face_px,
        key=key,
        mm_per_px=mm_per_px,
        reference=reference,
        flags=outline_doubts(sure=outline.sure, cut=is_cut(refined_px, rgb.shape[:2])),
        hide=lambda origin_px, shape: _hidden(window, face_px, others_px, origin_px, shape),
    )


def window_without_card(
    rgb: ImageRGB, outline_px: Points, *, mm_per_px: float, reference: Reference
) -> Window:
    """The surroundings of the place at which a block's card would hang."""
    x = (outline_px[:, 0].min() + outline_px[:, 0].max()) / 2
    middle_px = np.array([x, outline_px[:, 1].min() + _ANCHOR_BELOW_TOP_MM / mm_per_px])
    return cut_bare_window(rgb, middle_px, mm_per_px=mm_per_px, paper=reference.paper)


def _leaning(log_probability: dict[Side, Plane], block: Mask) -> dict[Side, Plane]:
    """Edges' log probabilities, less where they are far from a rough block on the window's grid."""
    block = block[::STEP_MM, ::STEP_MM]
    return {
        "left": log_probability["left"] - _lean(block),
        "right": log_probability["right"] - _lean(block[:, ::-1])[:, ::-1],
        "top": log_probability["top"] - _lean(block.T).T,
        "bottom": log_probability["bottom"] - _lean(block.T[:, ::-1])[:, ::-1].T,
    }


def _lean(block: Mask) -> Plane:
    """What each place of lines, which are rows, loses for its distance from the block's left edge."""
    edge = np.where(block.any(1), block.argmax(1), block.any(0).argmax())
    off_mm = STEP_MM * (np.arange(block.shape[1]) - edge[:, None])
    return np.asarray(_MOST_LEAN * (1 - np.exp(-((off_mm / _ROUGH_MM) ** 2) / (2 * _MOST_LEAN))), np.float32)


def _hidden(
    window: Window,
    face_px: Points,
    others_px: Sequence[Points],
    origin_px: tuple[int, int],
    shape: tuple[int, int],
) -> Mask:
    """Places of a crop under patch, rods, writing or other bags."""
    face = window.filled(face_px)
    hidden = window.laid_over(hidden_places(window, face) | find_writing(window, face), origin_px, shape)
    for other in others_px:
        hidden |= filled(other - origin_px, shape)
    return hidden
