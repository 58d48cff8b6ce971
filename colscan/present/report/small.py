"""Pictures for a page that holds hundreds of them."""

from __future__ import annotations

from io import BytesIO

from colscan.photo.model import ImageRGB

QUALITY = 72
"""JPEG quality at which threads and grain of a small face still show: some 6 kB."""


def encode_small(rgb: ImageRGB) -> bytes:
    """Return a picture as the bytes of a small JPEG file, without metadata.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The picture.
    """
    from PIL import Image

    out = BytesIO()
    Image.fromarray(rgb).save(out, format="JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()
