"""How many cores a process uses."""

from __future__ import annotations

import cv2


def use_one_core() -> None:
    """Have OpenCV work in the calling thread alone: where each core has a process, more threads only wait."""
    cv2.setNumThreads(1)
