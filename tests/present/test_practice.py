"""The practice sheet: what its faces show is what its answers say."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from photographed import practice_pages

from colscan.locate.practice import (
    FACE_MM,
    FRAME_MM,
    INSET_MM,
    PAGES,
    TAG_MM,
    face_corner_mm,
    numbered_places,
)
from colscan.present.paper import MARGIN_MM, PAPERS
from colscan.present.practice import (
    COLONIES_MM,
    COVERAGES_PCT,
    edge_per_mm,
    frame_corner_mm,
    practice_faces,
)

DPI = 300
MM_PER_PX = 25.4 / DPI


@pytest.mark.parametrize("name", PAPERS)
def test_printed_faces_have_their_coverage(name: str) -> None:
    """Rasterised at 300 dpi, each face, and the part of it that is scored, is pale within a point."""
    paper, faces = PAPERS[name], practice_faces()
    images = practice_pages(name, DPI)
    assert len(images) == PAGES + 1
    for page, image in enumerate(images[:PAGES]):
        for number, place in numbered_places(page, len(faces)):
            x, y = np.add(face_corner_mm(place), frame_corner_mm(paper))
            for inset in (2 * MM_PER_PX, INSET_MM):
                box = (x + inset, x + FACE_MM[0] - inset, y + inset, y + FACE_MM[1] - inset)
                x0, x1, y0, y1 = (round(mm / MM_PER_PX) for mm in box)
                # The chips of the substrate differ, but none is as pale in blue.
                pale_pct = 100 * (image[y0:y1, x0:x1, 2] > 110).mean()
                assert pale_pct == pytest.approx(faces[number - 1].coverage_pct, abs=1.0)


@pytest.mark.parametrize("name", PAPERS)
def test_margins_are_white(name: str) -> None:
    """Nothing is printed where printers can't; the tags stand where the reader looks for them."""
    paper = PAPERS[name]
    margin = int(MARGIN_MM / MM_PER_PX)
    left, top = frame_corner_mm(paper)
    for page, image in enumerate(practice_pages(name, DPI)):
        inside = image[margin:-margin, margin:-margin]
        assert (image < 255).sum() == (inside < 255).sum() > 0
        right, foot = left + FRAME_MM[0] - TAG_MM, top + FRAME_MM[1] - TAG_MM
        for x, y in product((left, right), (top, foot)) if page < PAGES else ():
            row, column = round((y + 1.0) / MM_PER_PX), round((x + 1.0) / MM_PER_PX)
            assert image[row, column].max() < 50
            assert image[row, round((x - 0.5) / MM_PER_PX)].min() == 255 or x == left


def test_each_coverage_in_each_size() -> None:
    """All pairs, once each, numbered, not in rising order."""
    faces = practice_faces()
    assert sorted((face.coverage_pct, face.colonies) for face in faces) == sorted(
        product(COVERAGES_PCT, COLONIES_MM)
    )
    assert [face.number for face in faces] == list(range(1, 22))
    assert np.any(np.diff([face.coverage_pct for face in faces]) < 0)


def test_edge_of_a_disc() -> None:
    """A disc's edge by counting crossings is its circumference, within 2 %."""
    y, x = np.mgrid[-200:200, -200:200] + 0.5
    disc = np.hypot(x, y) < 150
    # Cells are 0.25 mm on the sheet; per area of a bag's face that is 190 / 56 times as large.
    assert edge_per_mm(disc) == pytest.approx(2 * np.pi * 150 / 400**2 / 0.25 * 56 / 190, rel=0.02)
