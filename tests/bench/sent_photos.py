"""Whole trials of rendered photos, changed as phones and messengers change them, against their truth.

    python tests/bench/sent_photos.py OUT [CHANGE...]

For each change all photos of SERIES, first photos too, are changed and scanned day by day under OUT/CHANGE,
memory included; printed are the figures of run.py. What a change does to single faces is in patch_stress.py.

The photos and their evaluate.py are looked for in COLSCAN_BENCH, by default ../shared/bench.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from changed_photos import encoded
from numpy.typing import NDArray
from PIL import Image
from run import BENCH, evaluate, print_table, scan_photos_of

from colscan.photo.light import to_linear

SERIES = ("oakrack", "mixed", "outbreak")
Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Change:
    """What is done to the pixels, and the quality of the JPEG that comes of it."""

    to: Callable[[Pixels, np.random.Generator], NDArray[np.floating] | Pixels] = lambda rgb, rng: rgb
    quality: int = 92


def _darker(rgb: Pixels, rng: np.random.Generator) -> NDArray[np.floating]:
    return encoded(to_linear(rgb) * 0.35) + rng.normal(0, 3, rgb.shape)


def _sharper(rgb: Pixels, rng: np.random.Generator) -> NDArray[np.floating]:
    return rgb + 0.8 * (rgb - cv2.GaussianBlur(rgb.astype(np.float32), (0, 0), 1.2))


def _more_contrast(rgb: Pixels, rng: np.random.Generator) -> NDArray[np.floating]:
    values = rgb / 255
    return 255 * (values - 0.25 * np.sin(2 * np.pi * values) / (2 * np.pi))


def _more_colour(rgb: Pixels, rng: np.random.Generator) -> NDArray[np.floating]:
    grey = rgb.mean(2, keepdims=True)
    return grey + 1.3 * (rgb - grey)


CHANGES = {
    "again": Change(),
    "quality-75": Change(quality=75),
    "quality-60": Change(quality=60),
    "quality-45": Change(quality=45),
    "noise": Change(lambda rgb, rng: rgb + rng.normal(0, 8, rgb.shape)),
    "darker": Change(_darker),
    "warm": Change(lambda rgb, rng: encoded(to_linear(rgb) * np.array([1.0, 0.82, 0.6]))),
    "blur": Change(lambda rgb, rng: cv2.GaussianBlur(rgb, (0, 0), 1.3)),
    "sharper": Change(_sharper),
    "contrast": Change(_more_contrast),
    "colour": Change(_more_colour),
}


def write_changed(source: Path, change: Change, to: Path) -> Path:
    """Write a photo as a change leaves it, its EXIF kept."""
    with Image.open(source) as image:
        rng = np.random.default_rng(20260302)
        changed = np.rint(change.to(np.asarray(image), rng)).clip(0, 255).astype(np.uint8)
        Image.fromarray(changed).save(to, quality=change.quality, exif=image.getexif())
    return to


def compare(out: Path, name: str) -> None:
    """Scan all series under a change, and print what came of it."""
    figures = []
    for series in SERIES:
        folder = out / name / "photos"
        folder.mkdir(parents=True, exist_ok=True)
        sources = sorted((BENCH / "dev").glob(f"{series}-*/*.jpg"))
        photos = [write_changed(source, CHANGES[name], folder / source.name) for source in sources]
        scan_photos_of(series, out / name, photos)
        got = out / name / series
        figures.append((series, name, evaluate(series, got / "scores.csv", got / "suspects.csv")))
    print_table(figures)


if __name__ == "__main__":
    for chosen in sys.argv[2:] or CHANGES:
        compare(Path(sys.argv[1]), chosen)
