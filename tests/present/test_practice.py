"""The practice sheet: what its faces show is what its answers say."""

from __future__ import annotations

from itertools import product

import numpy as np
import pypdfium2
import pytest

from colscan.present.paper import MARGIN_MM, PAPERS
from colscan.present.practice import COLONIES_MM, COVERAGES_PCT, FACE_MM, draw_practice, practice_faces

DPI = 300
MM_PER_PX = 25.4 / DPI


@pytest.mark.parametrize("name", ["letter", "a4"])
def test_printed_faces_have_their_coverage(name: str) -> None:
    """Rasterised at 300 dpi, each face is pale by what the answers say within a point; margins are white."""
    paper = PAPERS[name]
    document = pypdfium2.PdfDocument(draw_practice(paper))
    images = [page.render(scale=DPI / 72).to_numpy()[:, :, 2::-1] for page in document]
    left = (paper.width_mm - 180.0) / 2
    for place, (coverage_pct, _) in enumerate(practice_faces()):
        row, column = divmod(place, 3)
        x, y = left + 60.0 * column, MARGIN_MM + 6.0 + 31.5 * row
        x0, x1, y0, y1 = (round(v / MM_PER_PX) for v in (x, x + FACE_MM[0], y, y + FACE_MM[1]))
        blue = images[0][y0 + 2 : y1 - 2, x0 + 2 : x1 - 2, 2]
        assert 100 * (blue > 120).mean() == pytest.approx(coverage_pct, abs=1.0)
    margin = int(MARGIN_MM / MM_PER_PX)
    for image in images:
        inside = image[margin:-margin, margin:-margin]
        assert (image < 255).sum() == (inside < 255).sum() > 0


def test_each_coverage_in_each_size() -> None:
    """All pairs, once each, not in rising order."""
    faces = practice_faces()
    assert sorted(faces) == sorted(product(COVERAGES_PCT, COLONIES_MM))
    assert np.any(np.diff([pct for pct, _ in faces]) < 0)
