"""Words on a bag's film are found; cracks, patches and plain blocks are none."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest
from locate.test_propose import BENCH, read

from colscan.locate.cards import filled
from colscan.locate.standin import stand_in_references
from colscan.locate.uncarded import window_without_card
from colscan.locate.window import Window
from colscan.locate.writing import find_writing

SHAPE = (330, 320)


def block(brightness: float) -> tuple[np.ndarray, np.ndarray]:
    """Light of a drawn block on a window's grid, and the block."""
    rng = np.random.default_rng(1)
    face = np.zeros(SHAPE, bool)
    face[60:260, 65:255] = True
    texture = np.exp(0.12 * cv2.GaussianBlur(rng.normal(0, 3, SHAPE), (0, 0), 1.5))
    light = np.where(face, brightness * texture, 0.4)[..., None] * np.ones(3)
    return light.astype(np.float32), face


def words_on(light: np.ndarray, ink: float) -> tuple[np.ndarray, np.ndarray]:
    """The light with two lines of writing, and the strokes."""
    strokes = np.zeros(SHAPE, np.uint8)
    for k, words in enumerate(("B07 OY-3", "12 %")):
        cv2.putText(strokes, words, (85, 130 + 34 * k), cv2.FONT_HERSHEY_SIMPLEX, 1, 255, 4, cv2.LINE_AA)
    amount = cv2.GaussianBlur(strokes / np.float32(255), (0, 0), 0.6)[..., None]
    return (light * (1 - amount) + ink * amount).astype(np.float32), strokes > 127


def written(light: np.ndarray, face: np.ndarray) -> np.ndarray:
    """Where writing is found in a drawn window."""
    bare = np.zeros(SHAPE, bool)
    return find_writing(Window(light=light, middle_px=np.zeros(2), mm_per_px=1.0, card=bare), face)


def test_words_are_found() -> None:
    """Dark words on a whitened block are hidden, and little around them."""
    light, face = block(0.35)
    light, strokes = words_on(light, 0.03)
    found = written(light, face)
    assert found[strokes].mean() > 0.95
    assert (found & ~cv2.dilate(strokes.astype(np.uint8), np.ones((7, 7))).astype(bool)).mean() < 0.002


def test_no_words_on_a_plain_block() -> None:
    """A textured block without writing has none."""
    assert not written(*block(0.1)).any()


def test_round_patch_is_no_writing() -> None:
    """A dark patch 30 mm wide isn't taken for ink."""
    light, face = block(0.35)
    light = light.copy()
    cv2.circle(light, (160, 160), 15, (0.03, 0.03, 0.03), -1, cv2.LINE_AA)
    assert not written(light, face).any()


@pytest.mark.skipif(not BENCH.exists(), reason=f"no rendered photos in {BENCH}")
def test_pen_on_rendered_bags() -> None:
    """On whitened bags nearly all ink is found, and next to nothing else."""
    truth = json.loads((BENCH / "pen-d13" / "truth.json").read_text())
    rgb, truth_map = read(BENCH / "pen-d13" / truth["photo"]), read(BENCH / "pen-d13" / "truth.png")
    for bag in truth["bags"][:3]:
        x0, y0, x1, y1 = bag["box"]
        box = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)
        (reference,) = stand_in_references(rgb, [box], mm_per_px=bag["mm_per_px"])
        window = window_without_card(rgb, box, mm_per_px=bag["mm_per_px"], reference=reference)
        found = window.laid_over(find_writing(window, window.filled(box)), (0, 0), truth_map.shape[:2])
        own = truth_map[..., 0] == bag["tag"]
        ink = own & (truth_map[..., 1] == 0) & filled(box, own.shape)
        near = cv2.dilate(ink.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
        assert found[ink].mean() > 0.9
        assert (found & own & ~near).sum() < 0.01 * own.sum()


def test_a_stroke_on_an_even_face_is_looked_at() -> None:
    """Nine tenths of a face without any texture, as of burnt-out light, leave nothing to divide by."""
    light, face = np.full((*SHAPE, 3), 0.35, np.float32), block(0.35)[1]
    light[150:154, 100:160] = 0.03
    assert written(light, face)[150:154, 100:160].mean() > 0.9


def test_a_low_strip_of_a_face_is_looked_at() -> None:
    """What a photo's border leaves of a block may be a single row high, off its edges."""
    light, face = np.full((*SHAPE, 3), 0.35, np.float32), np.zeros(SHAPE, bool)
    face[100:117, 30:290] = True
    light[107:110, 100:120] = 0.03
    assert not written(light, face).any()
