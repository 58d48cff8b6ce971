"""A rough outline in a photo → the view of its bag, where no card hangs on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from colscan.flags import Flag
from colscan.locate.bags import crop_px, kept_inside
from colscan.locate.cards import filled
from colscan.locate.edges import STEP_MM, Plane, Side, edge_log_probabilities
from colscan.locate.hidden import hidden_places
from colscan.locate.model import BagView, Points
from colscan.locate.outline import find_outlines, simplified
from colscan.locate.reference import Reference
from colscan.locate.standin import stand_in_references
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
    reference: Reference | None,
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
    reference : Reference or None
        The light on the bag, as a shelf card or other bags' filter patches say; None: its own filter patch.
    others_px : sequence of ndarray, shape (n, 2)
        Outlines of the photo's other blocks: where they overlap this one it is hidden.

    Returns
    -------
    BagView
        Its flags may be `no-reference`, `reference-clipped`, `face-unsure` (then the outline is the rough
        one) and `cut-off`.
    """
    if reference is None:
        (reference,) = stand_in_references(rgb, [outline_px], mm_per_px=mm_per_px)
    window = window_without_card(rgb, outline_px, mm_per_px=mm_per_px, reference=reference)
    (outline,) = find_outlines([_leaning(edge_log_probabilities(window), window.filled(outline_px))])
    refined_px = window.to_px(outline.points_mm) if outline.sure else outline_px
    cut_off, inside_px = kept_inside(refined_px, rgb.shape[:2])
    face_px = simplified(inside_px)
    x0, y0, x1, y1 = crop_px(face_px, mm_per_px, rgb.shape[:2])
    shape = (y1 - y0, x1 - x0)
    face = filled(face_px - (x0, y0), shape)
    hidden = _hidden(window, face_px, others_px, (x0, y0), shape)
    flags = reference.flags
    flags += () if outline.sure else (Flag.FACE_UNSURE,)
    flags += (Flag.CUT_OFF,) if cut_off else ()
    return BagView(
        key=key,
        rgb=rgb[y0:y1, x0:x1].copy(),
        origin_px=(x0, y0),
        face=face,
        hidden=face & hidden,
        outline_px=face_px,
        mm_per_px=mm_per_px,
        paper=reference.paper,
        ink=reference.ink,
        blur_px=reference.blur_px,
        flags=flags,
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
