"""Drawn shelves with known truth: a card on a rounded, textured block before a wall."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

MM_PER_PX = 0.8
CARD_MIDDLE_PX = np.array([300.0, 200.0])


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A drawn photo and what is true of it.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo.
    block : ndarray of bool, shape (H, W)
        The block, card included.
    card_px : ndarray, shape (4, 2)
        The card's corners.
    """

    rgb: np.ndarray
    block: np.ndarray
    card_px: np.ndarray


def encode(linear: np.ndarray) -> np.ndarray:
    """Linear light 0-1 as sRGB 0-255 (IEC 61966-2-1)."""
    x = np.clip(linear, 0, 1)
    return np.round(255 * np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)).astype(
        np.uint8
    )


def draw_card(tag: int, *, dots_per_mm: int = 8, ink: float = 0.03, paper: float = 0.8) -> np.ndarray:
    """A card's face in linear light, one channel."""
    card = np.full((50 * dots_per_mm, 90 * dots_per_mm), paper)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    side = 36 * dots_per_mm
    square = cv2.aruco.generateImageMarker(family, tag, side)
    top, left = 7 * dots_per_mm, 7 * dots_per_mm
    card[top : top + side, left : left + side] = np.where(square > 127, paper, ink)
    for row in (12, 22, 32):  # lines of text
        card[row * dots_per_mm : (row + 4) * dots_per_mm, 50 * dots_per_mm : 82 * dots_per_mm : 3] = ink
    return card


def put_card(
    light: np.ndarray, tag: int, *, middle_px: np.ndarray, mm_per_px: float, turned_deg: float = 0.0
) -> np.ndarray:
    """Lay a card into linear light (H, W, 3), seen with area sampling; gives its corners (4, 2) in px."""
    dots_per_mm = 8
    card = draw_card(tag, dots_per_mm=dots_per_mm)
    turn = np.deg2rad(turned_deg)
    # px of the photo from dots of the card, pixel centres at whole numbers.
    scale = 1 / (dots_per_mm * mm_per_px)
    a = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    centre = (np.array(card.shape[::-1]) - 1) / 2
    over = 4  # drawn four times as fine, then averaged
    fine = np.c_[a * over, ((middle_px - a @ centre) + 0.5) * over - 0.5]
    size = (light.shape[1] * over, light.shape[0] * over)
    drawn = cv2.warpAffine(card, fine, size, flags=cv2.INTER_AREA, borderValue=-1.0)
    cover = (drawn >= 0).astype(np.float64)
    area = (light.shape[1], light.shape[0])
    share = cv2.resize(cover, area, interpolation=cv2.INTER_AREA)[..., None]
    value = cv2.resize(np.maximum(drawn, 0) * cover, area, interpolation=cv2.INTER_AREA)[..., None]
    light[:] = light * (1 - share) + value
    corners = np.array([(0, 0), (90, 0), (90, 50), (0, 50)]) * dots_per_mm - 0.5
    return corners @ a.T + (middle_px - a @ centre)


def rounded_block(shape: tuple[int, int], box_px: tuple[int, int, int, int], radius: int) -> np.ndarray:
    """Mask of an upright rectangle (x0, y0, x1, y1) with rounded corners."""
    x0, y0, x1, y1 = box_px
    y, x = np.mgrid[: shape[0], : shape[1]]
    dx = np.maximum(np.maximum(x0 + radius - x, x - (x1 - radius)), 0)
    dy = np.maximum(np.maximum(y0 + radius - y, y - (y1 - radius)), 0)
    return dx**2 + dy**2 <= radius**2


def draw_scene(
    *,
    wall: tuple[float, float, float] = (0.35, 0.36, 0.33),
    block: tuple[float, float, float] = (0.08, 0.055, 0.04),
    box_mm: tuple[float, float, float, float] = (-85, -45, 95, 155),
    middle_px: np.ndarray = CARD_MIDDLE_PX,
    size: tuple[int, int] = (460, 620),
    tag: int = 7,
    light: float = 1.0,
    rod_mm: float | None = None,
) -> Scene:
    """One bag before a wall; boxes and rod in mm from the card's middle, colours in linear light."""
    rng = np.random.default_rng(tag)
    height, width = size
    scene = np.broadcast_to(np.array(wall), (height, width, 3)).copy()
    scene *= np.linspace(0.9, 1.1, width)[None, :, None]
    x0, y0, x1, y1 = (round(v / MM_PER_PX + middle_px[i % 2]) for i, v in enumerate(box_mm))
    mask = rounded_block((height, width), (x0, y0, x1, y1), int(25 / MM_PER_PX))
    chips = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), 1.5)
    depth = np.clip(cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) / (12 / MM_PER_PX), 0.35, 1)
    body = np.array(block) * (np.exp(0.9 * chips) * depth)[..., None]
    scene = np.where(mask[..., None], body, scene)
    corners = put_card(scene, tag, middle_px=middle_px, mm_per_px=MM_PER_PX, turned_deg=2.0)
    if rod_mm is not None:
        row = round(rod_mm / MM_PER_PX + middle_px[1])
        scene[row : row + int(8 / MM_PER_PX)] = 0.6
    scene = cv2.GaussianBlur(scene * light, (0, 0), 0.6)
    noisy = scene + rng.normal(0, 0.002, scene.shape)
    return Scene(rgb=encode(noisy), block=mask, card_px=corners)
