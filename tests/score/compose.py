"""Composed faces with exactly known growth: substrate, mycelium, veil, cast and exposure by formula."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from colscan.locate.model import BagView

ORIGIN_PX = (100, 50)
MARGIN_PX = 6
SIDE_MM = 220
"""The face is square, at 1 mm/px."""
SUBSTRATE = np.array([0.090, 0.072, 0.058])
WHITE = 0.25 * np.array([0.80, 0.79, 0.74]) / 0.7767
"""Substrate and white of mycelium relative to the card's paper."""
PATCHES = {
    "green": np.array([0.030, 0.065, 0.040]),
    "orange": np.array([0.200, 0.080, 0.025]),
    "dark": np.array([0.030, 0.030, 0.029]),
}
AMBER = 0.25 * np.array([0.62, 0.42, 0.15]) / 0.7767
"""A drop of amber on mycelium: its film takes most of the blue and some of the green."""
BROWN_SKIN = 0.25 * np.array([0.20, 0.10, 0.055]) / 0.7767
"""Brown skin over mycelium."""


@dataclass(frozen=True, kw_only=True)
class Shot:
    """How a photo is taken: exposure and cast act on all light, the veil is added to the face's."""

    exposure: float = 1.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    veil: float = 0.0
    noise: float = 0.4
    hidden_mm: tuple[float, float, float, float] = (60, 15, 150, 65)
    glare_mm: tuple[float, float, float, float] | None = None
    mm_per_px: float = 1.0
    blur_px: float = 0.7
    readable: bool = True


def grow(coverage: float, *, opacity: float = 0.6, seed: int = 0) -> np.ndarray:
    """Opacity map (SIDE_MM, SIDE_MM) of colonies around random places, grown to a coverage."""
    if coverage == 0:
        return np.zeros((SIDE_MM, SIDE_MM), np.float32)
    arrival = _arrival(seed)
    return np.where(arrival <= np.quantile(arrival, coverage), opacity, 0.0).astype(np.float32)


@cache
def _arrival(seed: int) -> np.ndarray:
    """When colonies come to each place: how far the next centre is, with a ragged front."""
    rng = np.random.default_rng(seed)
    centres = rng.uniform(0, SIDE_MM, (25, 2))
    y, x = np.mgrid[:SIDE_MM, :SIDE_MM]
    away = np.min([np.hypot(x - cx, y - cy) for cx, cy in centres], axis=0)
    ragged = cv2.GaussianBlur(rng.normal(0, 1, away.shape), (0, 0), 4) * 25
    return _kept(away + ragged)


def disc(x_mm: float, y_mm: float, area_mm2: float) -> np.ndarray:
    """Mask of a round patch."""
    y, x = np.mgrid[:SIDE_MM, :SIDE_MM]
    return np.hypot(x - x_mm, y - y_mm) <= np.sqrt(area_mm2 / np.pi)


def _kept(values: np.ndarray) -> np.ndarray:
    """Values that are made once: nobody may write into them."""
    values.flags.writeable = False
    return values


@cache
def substrate(bag: int) -> np.ndarray:
    """One bag's own substrate: fine grain, a coarser unevenness, pale shavings."""
    rng = np.random.default_rng(1000 + bag)
    size = (SIDE_MM, SIDE_MM)
    grain = cv2.GaussianBlur(rng.normal(0, 1, size), (0, 0), 1.5) * 0.8
    lumps = cv2.GaussianBlur(rng.normal(0, 1, size), (0, 0), 8) * 1.2
    light = SUBSTRATE * np.exp(np.clip(grain + lumps, -1.0, 1.0) * 0.5)[..., None]
    for x, y in rng.integers(5, SIDE_MM - 5, (60, 2)):
        light[y - 1 : y + 1, x - 4 : x + 4] *= 1.9
    return _kept(light)


def compose(
    opacity: np.ndarray | None = None,
    shot: Shot | None = None,
    *,
    bag: int = 1,
    patches: dict[str, np.ndarray] | None = None,
    painted: tuple[np.ndarray, np.ndarray] | None = None,
    lit: np.ndarray | None = None,
) -> BagView:
    """A view of a bag whose mycelium has exactly this opacity everywhere.

    `painted` is a mask and the light it sends; `lit` is by how much the light of each place is changed.
    """
    shot = shot or Shot()
    a = (np.zeros((SIDE_MM, SIDE_MM)) if opacity is None else opacity)[..., None]
    light = substrate(bag) * (1 - a) + WHITE * a
    for kind, where in (patches or {}).items():
        light[where] = PATCHES[kind]
    if painted is not None:
        light[painted[0]] = painted[1]
    if lit is not None:
        light = light * lit
    light = light + shot.veil
    paper = 0.5 * shot.exposure * np.array(shot.cast)
    light = cv2.GaussianBlur(light * paper, (0, 0), 0.7)
    if shot.glare_mm:
        x0, y0, x1, y1 = (int(v) for v in shot.glare_mm)
        light[y0:y1, x0:x1] = 1.2
    return _view(light, paper, shot, bag)


def truth(view: BagView, opacity: np.ndarray) -> tuple[float, float]:
    """Coverage and mean opacity of the composed growth over the face outside the card (1 mm/px)."""
    seen = (view.face & ~view.hidden)[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX]
    return float((opacity >= 0.12)[seen].mean()), float(opacity[seen].mean())


def _view(light: np.ndarray, paper: np.ndarray, shot: Shot, bag: int) -> BagView:
    margin = MARGIN_PX
    face = np.zeros((SIDE_MM, SIDE_MM), np.uint8)
    cv2.rectangle(face, (8, 8), (SIDE_MM - 9, SIDE_MM - 9), 1, -1)
    face = cv2.dilate(face, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (17, 17)))
    hidden = np.zeros_like(face)
    x0, y0, x1, y1 = (int(v) for v in shot.hidden_mm)
    hidden[y0:y1, x0:x1] = 1
    light = np.where(hidden[..., None] > 0, paper, light)
    encoded = np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    )
    noise = np.random.default_rng(bag).normal(0, shot.noise, light.shape)
    rgb = np.clip(np.round(255 * encoded + noise), 0, 255).astype(np.uint8)
    rgb, face, hidden = (
        cv2.copyMakeBorder(x, margin, margin, margin, margin, cv2.BORDER_CONSTANT)
        for x in (rgb, face, hidden)
    )
    if shot.mm_per_px != 1.0:
        size = (round(rgb.shape[1] / shot.mm_per_px), round(rgb.shape[0] / shot.mm_per_px))
        rgb = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
        face, hidden = (cv2.resize(x, size, interpolation=cv2.INTER_NEAREST) for x in (face, hidden))
    end = face.shape[0] - 1 - margin
    return BagView(
        key=bag,
        rgb=rgb,
        origin_px=ORIGIN_PX,
        face=face > 0,
        hidden=(hidden > 0) & (face > 0),
        outline_px=np.array([[margin, margin], [end, margin], [end, end], [margin, end]])
        + np.array(ORIGIN_PX, float),
        mm_per_px=shot.mm_per_px,
        paper=paper if shot.readable else np.full(3, np.nan),
        ink=paper * 0.02,
        blur_px=shot.blur_px,
    )
