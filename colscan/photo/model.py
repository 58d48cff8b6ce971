"""What is known of a photo before its pixels are looked at, and the pixels."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag

ImageRGB = NDArray[np.uint8]
"""(H, W, 3) sRGB, upright, row 0 at the top."""
LinearRGB = NDArray[np.float32]
"""(H, W, 3) linear light, 0-1."""
Mask = NDArray[np.bool_]
"""(H, W)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoRef:
    """A photo file: which bytes, when taken, by which camera."""

    path: Path
    name: str
    sha256: str
    taken_at: datetime
    taken_at_from: str
    camera: str | None
    flags: tuple[Flag, ...] = ()
