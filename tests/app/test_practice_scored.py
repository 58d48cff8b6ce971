"""The scorer on a photographed practice sheet, as if each face were a bag four times its size."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from colscan.locate.model import BagView
from colscan.present import draw_practice, practice
from colscan.present.paper import MARGIN_MM, PAPERS
from colscan.score import make_baseline, measure_views

LETTER = PAPERS["letter"]
PX_PER_MM, PAPER_LIGHT, TIMES = 100 / 25.4, 0.55, 4.0
# A camera a little askew, from 300 dpi to 100.
WARP = np.array([(1 / 3, 0.004, 6.0), (-0.003, 1 / 3, 9.0), (1.3e-7, 1e-7, 1.0)])


def photograph(pdf: bytes, seed: int) -> NDArray[np.uint8]:
    """The first page through a plain warp, blur of 0.8 px and noise of 2 steps."""
    sheet = pypdfium2.PdfDocument(pdf)[0].render(scale=300 / 72).to_numpy()[:, :, 2::-1]
    light = (sheet / 255.0) ** 2.2 * PAPER_LIGHT
    size = (sheet.shape[1] // 3 + 20, sheet.shape[0] // 3 + 20)
    light = cv2.warpPerspective(light, WARP, size, flags=cv2.INTER_AREA, borderValue=(PAPER_LIGHT,) * 3)
    light = cv2.GaussianBlur(light, (0, 0), 0.8)
    noise = np.random.default_rng(seed).normal(0, 2, light.shape)
    return np.clip(light ** (1 / 2.2) * 255 + noise, 0, 255).round().astype(np.uint8)


def views(photo: NDArray[np.uint8]) -> Iterator[BagView]:
    """Each face as a bag, its place in the photo known."""
    wide, high = practice.FACE_MM
    left = (LETTER.width_mm - 180.0) / 2
    for place in range(len(practice.practice_faces())):
        row, column = divmod(place, 3)
        x, y = left + 60.0 * column, MARGIN_MM + 6.0 + 31.5 * row
        corners = np.array([(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)]) * 300 / 25.4
        outline = cv2.perspectiveTransform(corners[None], WARP)[0]
        (x0, y0), (x1, y1) = np.floor(outline.min(0)).astype(int) - 3, np.ceil(outline.max(0)).astype(int) + 4
        face = np.zeros((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(face, [np.round(outline - (x0, y0)).astype(np.int32)], 1)
        yield BagView(
            key=place, rgb=photo[y0:y1, x0:x1], origin_px=(int(x0), int(y0)), face=face > 0,
            hidden=np.zeros(face.shape, bool), outline_px=outline, mm_per_px=TIMES / PX_PER_MM,
            paper=np.full(3, PAPER_LIGHT), ink=np.full(3, PAPER_LIGHT / 50), blur_px=0.8,
        )  # fmt: skip


def test_scorer_reads_the_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Within 3 points with middling and large colonies.

    Small ones are all edge, and a place that is a little covered counts: there it reads up to 8 points more.
    """
    grown = photograph(draw_practice(LETTER), seed=1)
    drawn = practice.draw_face
    monkeypatch.setattr(practice, "draw_face", lambda _, reach_mm, seed: drawn(0.0, reach_mm, seed=seed))
    bare = photograph(draw_practice(LETTER), seed=2)
    baselines = {view.key: make_baseline([view], photos=["00" * 32], late=False) for view in views(bare)}
    measured = measure_views(list(views(grown)), baselines)
    for evidence, (coverage_pct, size) in zip(measured, practice.practice_faces(), strict=True):
        allowed = 8.0 if size == "small" else 3.0
        assert 100 * evidence.coverage == pytest.approx(coverage_pct, abs=allowed), (coverage_pct, size)
