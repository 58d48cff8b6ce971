"""A mask that a person painted over a photo: which share of a bag's face is covered."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from colscan.errors import PhotoError
from colscan.photo.load import load_rgba

_LIGHT, _DARK = 192, 64
"""Brighter in all channels is painted white, darker in all is black; edges of soft brushes lie between."""
_HALF = 128
_MOST_OTHER = 0.10
"""Edges of a soft brush; a photo, painted on itself, has far more of it."""
_SHAPE_TOLERANCE = 0.01
BARE, COVERED, HIDDEN = 0, 1, 2
"""Marks of a painting, and their places in the palette of its mask."""
_PALETTE = (0, 0, 0, 255, 255, 255, 255, 0, 0)
Points = tuple[tuple[float, float], ...]
_HOW = (
    "Paint on a layer of its own over the photo: white is covered, red is hidden (card, glare), all else is"
    " bare; save that layer alone as PNG."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Paint:
    """Which fractions of a face are painted as covered, and as hidden."""

    covered: float
    hidden: float

    @property
    def share(self) -> float:
        """What is covered, as a fraction of what isn't hidden."""
        return self.covered / (1.0 - self.hidden)


def encode_paint(
    marks: NDArray[np.uint8], box: tuple[int, int, int, int], *, photo_size_px: tuple[int, int]
) -> bytes:
    """Return the mask, a PNG of the photo's size, of what was painted over a part of a photo.

    Parameters
    ----------
    marks : ndarray, shape (h, w), uint8
        `BARE`, `COVERED` or `HIDDEN`, at any scale.
    box : tuple of int
        x0, y0, x1, y1 of the part, px of the upright photo; the last ones lie outside it.
    photo_size_px : tuple of int
        Width and height of the upright photo.
    """
    x0, y0, x1, y1 = box
    part = Image.fromarray(marks).resize((x1 - x0, y1 - y0), Image.Resampling.NEAREST)
    mask = Image.new("P", photo_size_px)
    mask.putpalette(_PALETTE)
    mask.paste(part, (x0, y0))
    file = io.BytesIO()
    mask.save(file, "PNG")
    return file.getvalue()


def read_paint(
    path: Path, outline: Points, *, photo_size_px: tuple[int, int], max_megapixels: float
) -> Paint:
    """Return what is painted of a face.

    White is covered, red is hidden and left out, black or transparent is bare; a soft brush's edge counts
    from its middle on.

    Parameters
    ----------
    path : Path
        A PNG of the photo's size, or smaller in its shape.
    outline : tuple of (x, y)
        The face's polygon, px of the upright photo.
    photo_size_px : tuple of int
        Width and height of the upright photo.
    max_megapixels : float
        Larger masks are refused before they are decoded.

    Raises
    ------
    PhotoError
        When it can't be read, is of another shape than the photo or no mask, or hides the whole face.
    """
    pixels = load_rgba(path, max_megapixels=max_megapixels)
    height, width = pixels.shape[:2]
    scale = width / photo_size_px[0]
    if abs(height - scale * photo_size_px[1]) > max(1.0, _SHAPE_TOLERANCE * height):
        msg = f"{path.name}: is {width} x {height} px, of another shape than its photo."
        raise PhotoError(msg, f"The photo has {photo_size_px[0]} x {photo_size_px[1]} px. {_HOW}")
    face = _fill(outline, scale, (height, width))
    covered, hidden = _tell_colours(pixels[face], path)
    if hidden.all():
        msg = f"{path.name}: nothing of the face is left to be seen."
        raise PhotoError(msg, _HOW)
    return Paint(covered=float(covered.mean()), hidden=float(hidden.mean()))


def _fill(outline: Points, scale: float, shape: tuple[int, int]) -> NDArray[np.bool_]:
    # Places are from the centre of the top left pixel: a scaled picture's corner stays the photo's corner.
    corners = np.rint((np.array(outline) + 0.5) * scale - 0.5).astype(np.int32)
    face = np.zeros(shape, np.uint8)
    cv2.fillPoly(face, [corners], 1)
    return face.astype(bool)


def _tell_colours(pixels: NDArray[np.uint8], path: Path) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which of a face's pixels (N, 4) are covered, and which are hidden."""
    shown = pixels[:, 3] >= _HALF
    red, green, blue = pixels[:, 0], pixels[:, 1], pixels[:, 2]
    hidden = shown & (red >= _LIGHT) & (green < _DARK) & (blue < _DARK)
    light = pixels[:, :3].min(axis=1) >= _LIGHT
    dark = pixels[:, :3].max(axis=1) < _DARK
    other = shown & ~hidden & ~light & ~dark
    if not len(pixels) or other.mean() > _MOST_OTHER:
        msg = f"{path.name}: is no mask: too much of the face is neither white, red nor black."
        raise PhotoError(msg, _HOW)
    return shown & ~hidden & (pixels[:, :3].mean(axis=1) >= _HALF), hidden
