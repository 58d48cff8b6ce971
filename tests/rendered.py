"""Rendered shelf photos with their true faces: what tests of places and identities stand on."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from colscan.photo.load import load_rgb


@dataclass(frozen=True, kw_only=True)
class Rendered:
    """A photo; each bag's true outline, px; and its scale."""

    rgb: np.ndarray
    outlines_px: dict[str, np.ndarray]
    mm_per_px: dict[str, float]
    hidden: np.ndarray

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.rgb.shape[1], self.rgb.shape[0]


def rendered(bench: Path, name: str) -> Rendered:
    """The photo of this name."""
    folder = bench / "dev" / name
    bags = json.loads((folder / "truth.json").read_text())["bags"]
    truth = cv2.cvtColor(cv2.imread(str(folder / "truth.png")), cv2.COLOR_BGR2RGB)
    return Rendered(
        rgb=load_rgb(folder / f"{name}.jpg", max_megapixels=100),
        outlines_px={bag["bag"]: _outline(truth[..., 0] == i) for i, bag in enumerate(bags, 1)},
        mm_per_px={bag["bag"]: bag["mm_per_px"] for bag in bags},
        hidden=truth[..., 1] == 0,
    )


def _outline(face: np.ndarray) -> np.ndarray:
    found, _ = cv2.findContours(face.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return cv2.approxPolyDP(max(found, key=cv2.contourArea), 1.5, True)[:, 0].astype(float)


def pasted(onto: Rendered, bag: str, source: Rendered, other: str) -> Rendered:
    """The photo with another bag's face put where a bag stands, as large as that bag is there."""
    place, face = onto.outlines_px[bag], source.outlines_px[other]
    scale = source.mm_per_px[other] / onto.mm_per_px[bag]
    low, high = face.min(0), face.max(0)
    # Bottom to bottom, middle to middle: it stands on the same shelf.
    foot, feet = ((o.min(0)[0] + o.max(0)[0]) / 2 for o in (face, place)), (place.max(0)[1] - scale * high[1])
    source_x, place_x = foot
    change = np.array([[scale, 0, place_x - scale * source_x], [0, scale, feet]])
    stencil = np.zeros(source.rgb.shape[:2], np.uint8)
    cv2.fillPoly(stencil, [np.round(face).astype(np.int32)], 255)
    assert (high > low).all()
    laid = cv2.warpAffine(source.rgb, change, onto.size_px)
    where = cv2.warpAffine(stencil, change, onto.size_px) > 127
    hidden = cv2.warpAffine(source.hidden.astype(np.uint8), change, onto.size_px) > 0
    old = np.zeros(onto.rgb.shape[:2], np.uint8)
    cv2.fillPoly(old, [np.round(place).astype(np.int32)], 255)
    bare = onto.rgb.copy()
    bare[old > 0] = np.median(onto.rgb[:40].reshape(-1, 3), 0).astype(np.uint8)
    return Rendered(
        rgb=np.where(where[..., None], laid, bare),
        outlines_px=onto.outlines_px | {bag: face @ change[:, :2].T + change[:, 2]},
        mm_per_px=onto.mm_per_px,
        hidden=np.where(where, hidden, onto.hidden & (old == 0)),
    )
