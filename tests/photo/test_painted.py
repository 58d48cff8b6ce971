"""Painted masks: what is white, red or neither, at which size, and what is no mask."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from colscan.errors import PhotoError
from colscan.photo.painted import read_paint

SIZE = (400, 300)
FACE = ((100.0, 100.0), (299.0, 100.0), (299.0, 199.0), (100.0, 199.0))


def _mask(path: Path, *parts: tuple[tuple[int, int, int, int], tuple[int, ...]], mode: str = "RGBA") -> Path:
    """A mask with rectangles (left, top, right, bottom; ends not included) of colours; else transparent."""
    image = Image.new(mode, SIZE)
    for box, colour in parts:
        image.paste(colour, box)
    image.save(path)
    return path


def _share(path: Path, size: tuple[int, int] = SIZE) -> float:
    return read_paint(path, FACE, photo_size_px=size, max_megapixels=100.0).share


WHITE, RED, BLACK = (255, 255, 255, 255), (255, 0, 0, 255), (0, 0, 0, 255)


def test_white_is_covered(tmp_path: Path) -> None:
    """Half of the face and all around it: what lies outside the face doesn't count."""
    assert _share(_mask(tmp_path / "m.png", ((0, 0, 200, 300), WHITE))) == pytest.approx(0.5)
    assert _share(_mask(tmp_path / "m.png", ((0, 0, 400, 90), WHITE))) == 0.0
    black = _mask(tmp_path / "m.png", ((0, 0, 400, 300), BLACK), ((100, 100, 150, 200), WHITE))
    assert _share(black) == pytest.approx(0.25)


def test_red_is_left_out(tmp_path: Path) -> None:
    """A quarter hidden, a quarter covered: a third of what is seen."""
    parts = ((100, 100, 150, 200), RED), ((150, 100, 200, 200), WHITE)
    assert _share(_mask(tmp_path / "m.png", *parts)) == pytest.approx(1 / 3)


def test_a_mask_without_colour(tmp_path: Path) -> None:
    """Black and white saved as grey is a mask, too."""
    path = tmp_path / "m.png"
    grey = np.zeros((300, 400), np.uint8)
    grey[100:150] = 255
    Image.fromarray(grey).save(path)
    assert _share(path) == pytest.approx(0.5)


def test_a_smaller_mask_of_the_same_shape(tmp_path: Path) -> None:
    """Half the photo's size: the outline is scaled to it."""
    mask = _mask(tmp_path / "m.png", ((0, 0, 200, 300), WHITE))
    corners = tuple((2 * x, 2 * y) for x, y in FACE)
    share = read_paint(mask, corners, photo_size_px=(800, 600), max_megapixels=100.0).share
    assert share == pytest.approx(0.5, abs=0.01)


def test_what_is_no_mask(tmp_path: Path) -> None:
    """Another shape, the photo itself painted over, a face hidden whole, no picture: each says so."""
    mask = _mask(tmp_path / "m.png", ((0, 0, 200, 300), WHITE))
    with pytest.raises(PhotoError, match="of another shape than its photo"):
        _share(mask, size=(400, 400))
    photo = _mask(tmp_path / "p.png", ((0, 0, 400, 300), (150, 120, 90, 255)), ((0, 0, 150, 300), WHITE))
    with pytest.raises(PhotoError, match="is no mask"):
        _share(photo)
    with pytest.raises(PhotoError, match="nothing of the face is left"):
        _share(_mask(tmp_path / "r.png", ((0, 0, 400, 300), RED)))
    (tmp_path / "t.png").write_text("no picture")
    with pytest.raises(PhotoError, match="is not a readable"):
        _share(tmp_path / "t.png")
