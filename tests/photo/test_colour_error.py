"""How far a file's coding puts colours off."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from colscan.errors import PhotoError
from colscan.photo import colour_error

SIDE_PX = 512


def encoded(picture: Image.Image, form: str = "JPEG", **how: object) -> bytes:
    """The bytes of a picture's file."""
    data = io.BytesIO()
    picture.save(data, form, **how)
    return data.getvalue()


def error_of(raw: bytes) -> float:
    """What is said of a file's bytes."""
    return colour_error(Path("sheet"), max_megapixels=1, raw=raw)


def test_by_the_standard_s_own_steps() -> None:
    """ITU-T T.81 (1992), table K.2: 17 for the mean, 18 for the broadest waves; they are quality 50."""
    raw = encoded(Image.new("RGB", (SIDE_PX, SIDE_PX)), quality=50)
    assert error_of(raw) == pytest.approx((17**2 + 18**2 + 18**2) ** 0.5 / 8 / 12**0.5)


@pytest.mark.parametrize("quality", [30, 50, 70])
def test_colours_are_off_by_as_much(quality: int) -> None:
    """Of a picture whose colours rise and fall by some steps over a few blocks; whole levels do the rest."""
    rng = np.random.default_rng(20260302)
    waves = rng.normal(0, 25, (2, SIDE_PX // 32, SIDE_PX // 32))
    planes = [
        Image.fromarray(wave.astype(np.float32)).resize((SIDE_PX, SIDE_PX), Image.Resampling.BICUBIC)
        for wave in waves
    ]
    given = np.stack([np.full((SIDE_PX, SIDE_PX), 128.0), *(128 + np.asarray(plane) for plane in planes)], 2)
    picture = Image.fromarray(np.rint(given).clip(0, 255).astype(np.uint8), "YCbCr")
    raw = encoded(picture, quality=quality, subsampling=0)
    image = Image.open(io.BytesIO(raw))
    image.draft("YCbCr", None)
    found = np.asarray(image, float)[..., 1:] - np.asarray(picture, float)[..., 1:]
    assert found.std() == pytest.approx(error_of(raw), rel=0.4)


def test_the_table_that_colours_have() -> None:
    """Brightness in coarse steps says nothing of it, wherever its table stands."""
    fine, coarse = [1] * 64, [80] * 64
    picture = Image.new("RGB", (SIDE_PX, SIDE_PX))
    assert error_of(encoded(picture, qtables=[coarse, fine])) == pytest.approx(3**0.5 / 8 / 12**0.5)
    assert error_of(encoded(picture, qtables=[fine, coarse])) == pytest.approx(80 * 3**0.5 / 8 / 12**0.5)


def test_other_files_keep_each_colour() -> None:
    """A PNG has no steps."""
    assert error_of(encoded(Image.new("RGB", (SIDE_PX, SIDE_PX)), "PNG")) == 0


def test_what_is_no_photo_is_refused() -> None:
    """By the file's name."""
    with pytest.raises(PhotoError, match="sheet: is not a readable"):
        error_of(b"no photo")
