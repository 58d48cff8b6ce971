"""Practice pages in a photo: found, squared up, refused where they can't be read."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from photographed import photograph, practice_pages

from colscan.errors import PhotoError
from colscan.flags import Flag
from colscan.locate import find_cards, find_practice
from colscan.present.practice import draw_face, practice_faces

FACES = len(practice_faces())


@cache
def shot(seed: int = 1, high_px: int = 2400, page: int = 0) -> NDArray[np.uint8]:
    """A photo of a page, RGB."""
    data = np.frombuffer(photograph(practice_pages("a4")[page], seed, high_px=high_px), np.uint8)
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


@pytest.mark.parametrize("turns", [0, 1, 2])
def test_faces_are_squared_up(turns: int) -> None:
    """Each view shows its own face upright, to a pixel of the drawing, whichever way the page lay."""
    (page,) = find_practice(np.ascontiguousarray(np.rot90(shot(), turns)), faces=FACES)
    assert [view.key for view in page.drawn] == list(range(1, 12))
    for view in page.drawn:
        x0, y0 = np.round(view.outline_px.min(0)).astype(int)
        x1, y1 = np.round(view.outline_px.max(0)).astype(int)
        grey = cv2.cvtColor(view.rgb[y0:y1, x0:x1], cv2.COLOR_RGB2GRAY)
        drawn = cv2.cvtColor(draw_face(practice_faces()[view.key - 1])[3:-3, 3:-3], cv2.COLOR_RGB2GRAY)
        small = cv2.resize(grey, drawn.shape[::-1], interpolation=cv2.INTER_AREA)
        shift, _ = cv2.phaseCorrelate(np.float64(small), np.float64(drawn))
        assert np.hypot(*shift) < 1.0


def test_paper_is_read_beside_each_face() -> None:
    """Light falls off over the page, and each face's paper with it; sharp edges read as they are."""
    (page,) = find_practice(shot(seed=3), faces=FACES)
    papers = np.array([view.paper.mean() for view in page.drawn])
    assert papers.max() / papers.min() > 1.1
    assert 0.5 < page.bare.blur_px < 1.6
    assert page.bare.flags == ()


def test_second_page_goes_on_counting() -> None:
    """Its faces are 12 to 21; one place is empty."""
    (page,) = find_practice(shot(page=1), faces=FACES)
    assert [view.key for view in page.drawn] == list(range(12, 22))


def test_no_bag_nor_shelf_is_seen_in_it() -> None:
    """No tag of a sheet is read as a card."""
    assert find_cards(shot()) == ()


def test_burnt_out_paper_is_flagged() -> None:
    """Paper at full white tells no light."""
    bright = np.clip(shot().astype(int) * 2, 0, 255).astype(np.uint8)
    (page,) = find_practice(bright, faces=FACES)
    assert page.bare.flags == (Flag.REFERENCE_CLIPPED,)


def test_what_is_refused() -> None:
    """A page cut off, too small in the photo, or not flat: said with what to do."""
    whole = shot()
    with pytest.raises(PhotoError, match="of the squares in its four corners 2 can be read"):
        find_practice(whole[: len(whole) // 2], faces=FACES)
    with pytest.raises(PhotoError, match="too small in the photo"):
        find_practice(shot(high_px=1200), faces=FACES)
    y, x = np.mgrid[0 : whole.shape[0], 0 : whole.shape[1]].astype(np.float32)
    bent = cv2.remap(whole, x, y + 60 * np.sin(np.pi * x / whole.shape[1]), cv2.INTER_LINEAR)
    bent = cv2.remap(bent, x + 60 * np.sin(2 * np.pi * y / whole.shape[0]), y, cv2.INTER_LINEAR)
    with pytest.raises(PhotoError, match="isn't flat"):
        find_practice(bent, faces=FACES)
