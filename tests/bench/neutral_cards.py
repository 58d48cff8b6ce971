"""Neutral reference on real photographs: chips of a colour card under another light, before and after.

    python tests/bench/neutral_cards.py

The chips of a photo are divided, in linear light, by that photo's own neutral chips, as scoring divides a
face by its card's paper; then they are compared with the target photo's chips by CIEDE2000 (scikit-image).
Photos: COLSCAN_REAL, by default ../shared/real, folder neutral-cards. A chip is the mean of 9 x 9 px.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from skimage.color import deltaE_ciede2000, rgb2lab

from colscan.photo import to_linear

REAL = Path(os.environ.get("COLSCAN_REAL", Path(__file__).parents[2].parent / "shared" / "real"))
FOLDER = REAL / "neutral-cards" / "tests" / "testdata"
# Centres of the chips, px, read off the photos by eye: columns left to right, rows top to bottom. The
# second photo is nearer and cut: it shows the first four rows.
CHIPS = {
    "target_img.png": ((171, 191, 212, 233), (169, 190, 211, 232, 253, 274)),
    "source1_img.png": ((170, 191, 211, 233), (166, 187, 208, 229, 250, 271)),
    "source2_img.png": ((136, 176, 215, 255), (166, 207, 247, 287)),
}
_REACH_PX = 4
_CLIPPED, _DARK = 250, 40


def read_chips(name: str) -> NDArray[np.float64]:
    """The mean sRGB of each chip, shape (rows, 4, 3), 0-255; the left column is neutral."""
    with Image.open(FOLDER / name) as image:
        rgb = np.asarray(image.convert("RGB"))
    columns, rows = CHIPS[name]
    r = _REACH_PX
    return np.array([[rgb[y - r : y + r + 1, x - r : x + r + 1].mean((0, 1)) for x in columns] for y in rows])


def balanced(source: NDArray[np.float64], target: NDArray[np.float64]) -> NDArray[np.float64]:
    """The source's chips as sRGB 0-1, its neutral chips made those of the target in linear light."""
    light, wanted = linear(source), linear(target)
    neutral = (
        (source[:, 0].max(1) < _CLIPPED) & (target[:, 0].max(1) < _CLIPPED) & (source[:, 0].min(1) > _DARK)
    )
    gain = np.median(wanted[neutral, 0] / light[neutral, 0], axis=0)
    return encode(light * gain)


def linear(chips: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear light of chips, 0-1."""
    return to_linear(chips.round().astype(np.uint8)).astype(np.float64)


def encode(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """The sRGB encoding of linear light, 0-1 (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def mean_difference(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Mean CIEDE2000 between chips given as sRGB, 0-1."""
    return float(deltaE_ciede2000(rgb2lab(one), rgb2lab(other)).mean())


def compare(name: str) -> tuple[float, float]:
    """Mean CIEDE2000 of a photo's chips to the target's, before and after balancing."""
    source = read_chips(name)
    target = read_chips("target_img.png")[: len(source)]
    before = mean_difference(source / 255, target / 255)
    return before, mean_difference(balanced(source, target), target / 255)


def run() -> None:
    """Print a line a photo."""
    if not FOLDER.is_dir():
        sys.exit(f"{FOLDER} isn't there; set COLSCAN_REAL")
    for name in ("source1_img.png", "source2_img.png"):
        before, after = compare(name)
        print(f"{name}: mean CIEDE2000 to the target's chips {before:.2f} before, {after:.2f} after")


if __name__ == "__main__":
    run()
