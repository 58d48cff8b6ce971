"""Copies of one picture are told from two photos of one shelf."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from demo_trial import photo
from PIL import Image

from colscan.photo import PhotoRef
from colscan.photo.alike import glance_at, is_alike, may_be_copies


@pytest.fixture
def shelf() -> Image.Image:
    """A rendered shelf photo."""
    with Image.open(photo(6)) as image:
        return image.convert("RGB")


def alike(image: Image.Image, path: Path, **options: object) -> bool:
    """Whether a picture, saved so, is the shelf photo."""
    image.save(path, **options)  # type: ignore[arg-type]
    return is_alike(glance_at(photo(6), max_megapixels=99), glance_at(path, max_megapixels=99))


@pytest.mark.parametrize(("scale", "quality"), [(1, 50), (0.5, 75), (0.7, 85), (0.35, 70)])
def test_a_copy_of_less_quality_and_size(
    shelf: Image.Image, tmp_path: Path, scale: float, quality: int
) -> None:
    """What messengers do to a photo leaves it the same picture."""
    smaller = shelf.resize(
        (round(shelf.width * scale), round(shelf.height * scale)), Image.Resampling.LANCZOS
    )
    assert alike(smaller, tmp_path / "copy.jpg", quality=quality)


def test_a_copy_stored_sideways_or_as_heic(shelf: Image.Image, tmp_path: Path) -> None:
    """Pictures are compared upright, whatever the file."""
    exif = Image.Exif()
    exif[0x0112] = 6
    assert alike(shelf.transpose(Image.Transpose.ROTATE_90), tmp_path / "sideways.jpg", exif=exif, quality=90)
    quick = {"preset": "ultrafast"}  # most of the time is its search for what saves bytes
    assert alike(shelf, tmp_path / "shelf.heic", format="HEIF", quality=80, enc_params=quick)


@pytest.mark.parametrize("shift_px", [2, 5, 20])
def test_a_photo_from_a_hand_that_moved(shelf: Image.Image, tmp_path: Path, shift_px: int) -> None:
    """The same shelf, a thousandth of the width aside, is another photo."""
    moved = Image.fromarray(np.roll(np.asarray(shelf), shift_px, axis=1))
    assert not alike(moved, tmp_path / "moved.jpg", quality=92)


def test_a_photo_with_another_reflection(shelf: Image.Image, tmp_path: Path) -> None:
    """One more reflection, 60 px across, makes another photo even from a tripod."""
    rgb = np.asarray(shelf).copy()
    rgb[600:660, 800:860] = 250
    assert not alike(Image.fromarray(rgb), tmp_path / "glare.jpg", quality=92)


def test_another_day_or_shape(shelf: Image.Image, tmp_path: Path) -> None:
    """Three days later, turned upside down, or cut: not the same picture."""
    day_6 = glance_at(photo(6), max_megapixels=99)
    assert not any(is_alike(day_6, glance_at(photo(day), max_megapixels=99)) for day in (3, 9))
    assert not alike(shelf.transpose(Image.Transpose.ROTATE_180), tmp_path / "turned.jpg")
    assert not alike(shelf.crop((0, 0, 1600, 1260)), tmp_path / "cut.jpg")


def test_dates_by_the_camera_tell_two_photos() -> None:
    """A tripod's photos are alike; two EXIF dates tell them apart, one date or a lost offset doesn't."""
    at = datetime(2026, 3, 8, 10, tzinfo=UTC)
    one = PhotoRef(
        path=Path("a.jpg"), name="a.jpg", sha256="a", taken_at=at, taken_at_from="exif-offset", camera=None
    )
    later = replace(one, taken_at=at + timedelta(minutes=1))
    assert not may_be_copies(one, later)
    assert may_be_copies(one, replace(later, taken_at_from="file-time"))
    without_offset = at.astimezone(UTC).replace(
        tzinfo=datetime.fromisoformat("2026-03-08T10:00-05:00").tzinfo
    )
    assert may_be_copies(one, replace(one, taken_at=without_offset, taken_at_from="exif-trial-zone"))
