"""Real files by many cameras: upright, or refused with the reason; dated as an independent reader says."""

import csv
import os
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from PIL import Image

from colscan.errors import PhotoError
from colscan.flags import Flag
from colscan.photo import PhotoRef, load_rgb, read_ref
from colscan.photo.alike import glance_at

ZONE = ZoneInfo("America/New_York")
A_FILE_TIME = datetime(2023, 1, 1, tzinfo=UTC)
LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)
THUMBNAIL_PX = 100


@pytest.fixture(scope="module")
def folder(real_photos: Path) -> Path:
    """The folder of files with their EXIF as exiftool reads it."""
    return real_photos / "exif"


@pytest.fixture(scope="module")
def said(folder: Path) -> dict[str, dict[str, str]]:
    """What exiftool says of each file."""
    with (folder / "dates.csv").open(newline="") as file:
        return {row["file"]: row for row in csv.DictReader(file)}


@pytest.fixture(scope="module")
def thumbnails(folder: Path) -> set[str]:
    """The files that are pictures of 100 px, by their names."""
    found = set()
    for path in (folder / "jpg").glob("*.jpg"):
        with Image.open(path) as image:
            if max(image.size) == THUMBNAIL_PX:
                found.add(f"jpg/{path.name}")
    return found


def refer(path: Path) -> PhotoRef:
    """A file in a trial that began long ago."""
    return read_ref(path, max_megapixels=100, zone=ZONE, not_before=LONG_AGO)


def dated_copy(path: Path, folder: Path) -> Path:
    """The same file with a time of its own that can be believed, whenever the folder was copied here."""
    copy = folder / path.name
    copy.write_bytes(path.read_bytes())
    os.utime(copy, (A_FILE_TIME.timestamp(), A_FILE_TIME.timestamp()))
    return copy


def test_each_file_is_upright_or_refused(
    folder: Path, said: dict[str, dict[str, str]], thumbnails: set[str]
) -> None:
    """All are read but four thumbnails of 100 px, which are refused as such; sides change by orientation."""
    assert len(said) >= 43
    assert len(thumbnails) == 4
    for name, row in said.items():
        path = folder / name
        if name in thumbnails:
            with pytest.raises(PhotoError, match="only 100 x"):
                load_rgb(path, max_megapixels=100)
            continue
        height, width = load_rgb(path, max_megapixels=100).shape[:2]
        if path.suffix == ".jpg":
            with Image.open(path) as image:
                stored = image.size
            assert (width, height) == (
                stored[::-1] if row["orientation"] in "5678" and row["orientation"] else stored
            )


@pytest.mark.parametrize("shape", ["landscape", "portrait"])
def test_eight_orientations_are_one_picture(folder: Path, shape: str) -> None:
    """The same picture stored in eight ways comes out the same."""
    files = [folder / f"jpg/orientation/{shape}_{n}.jpg" for n in range(1, 9)]
    first, *others = (glance_at(path, max_megapixels=100) for path in files)
    for other in others:
        assert other.shape == first.shape
        assert np.abs(other.cells.astype(int) - first.cells).mean() < 3


def test_a_turned_heic_is_turned_once(folder: Path, said: dict[str, dict[str, str]]) -> None:
    """A phone held upright: its HEIC says 6 and is turned by its reader already."""
    (turned,) = (name for name, row in said.items() if name.endswith(".HEIC") and row["orientation"] == "6")
    assert load_rgb(folder / turned, max_megapixels=100).shape == (4032, 3024, 3)


def test_dates_are_those_of_an_independent_reader(
    folder: Path, said: dict[str, dict[str, str]], thumbnails: set[str], tmp_path: Path
) -> None:
    """Date and offset where there is one, the trial's zone, flagged, where there is no offset; else none."""
    for name, row in said.items():
        path = folder / name
        if name in thumbnails:
            continue
        if not row["date_time_original"]:
            assert refer(dated_copy(path, tmp_path)).taken_at_from in ("file-name", "file-time"), name
            continue
        ref = refer(path)
        assert f"{ref.taken_at:%Y:%m:%d %H:%M:%S}" == row["date_time_original"], name
        assert (ref.taken_at_from == "exif-offset") == bool(row["offset"]), name
        assert (Flag.ZONE_ASSUMED in ref.flags) == (not row["offset"]), name
        if row["offset"]:
            assert ref.taken_at.isoformat().endswith(row["offset"])


def test_hdr_is_said_where_exif_tells(folder: Path, said: dict[str, dict[str, str]]) -> None:
    """One phone's pair with and without HDR; the camera whose EXIF doesn't tell isn't guessed at."""
    pairs = [name for name in said if name.startswith("jpg/hdr/")]
    assert len(pairs) == 4
    flagged = [name for name in pairs if Flag.HDR_MODE in refer(folder / name).flags]
    # The phone, other than the camera, writes fractions of a second.
    assert flagged == [name for name in pairs if name.endswith("_YES.jpg") and said[name]["subsec"]]
    assert len(flagged) == 1
