"""The bundled demo as a trial to run tests on."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
from PIL import Image

from colscan.app.cli.main import main
from colscan.app.demo import NAME, PHOTOS, PLAN
from colscan.locate import find_cards
from colscan.locate.cards import card_outline_px, filled
from colscan.photo import load_rgb

CORNER_PX = (0, 0, 850, 640)
"""The upper left part of the demo's photos, with B05 and B06 alone: left, top, right, bottom."""
UPPER_PX = (0, 0, 1680, 640)
"""Their upper shelf, with B05 to B08 alone."""


def begin(folder: Path, bags: Path = PLAN[1]) -> Path:
    """A trial of the demo's bags, or of those of another list, without photos."""
    assert main(["new", str(folder), "--bags", str(bags), "--name", NAME, "--zone", "America/New_York"]) == 0
    return folder


def begin_pair(folder: Path) -> Path:
    """A trial of B05 and B06 alone, which the corners of photos show."""
    return begin_some(folder, "B05", "B06")


def begin_some(folder: Path, *codes: str) -> Path:
    """A trial of some of the demo's bags, without photos."""
    head, *lines = PLAN[1].read_text(encoding="utf-8").splitlines(keepends=True)
    bags = folder.with_name(f"{folder.name}-bags.csv")
    bags.write_text(head + "".join(line for line in lines if line.startswith(codes)), encoding="utf-8")
    return begin(folder, bags)


def photo(day: int) -> Path:
    """The demo's photo of a day: 0, 3, 6, 9, 12 or 15."""
    return PHOTOS / f"hornbeam-d{day:02}.jpg"


def scan_two(folder: Path) -> Path:
    """A trial of the demo's bags with its photos of day 0 and 3 scanned, and the estimates of them."""
    begin(folder)
    assert main(["scan", str(folder), str(photo(0)), str(photo(3)), "--jobs", "1"]) == 0
    known = (folder / "photos.csv").read_text(encoding="utf-8")
    head, *estimates = PLAN[2].read_text(encoding="utf-8").splitlines(keepends=True)
    own = [line for line in estimates if line.split(",")[2] in known]
    (folder / "estimates.csv").write_text(head + "".join(own), encoding="utf-8")
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    """All files of a trial or farm but its cache and locks, with their bytes."""
    left_out = {"cache", ".colscan.lock", ".colscan.scan.lock"}
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not left_out & set(path.relative_to(folder).parts)
    }


def part(source: Path, box_px: tuple[int, int, int, int], to: Path) -> Path:
    """A part of a photo, with its EXIF: quicker to look through than the whole."""
    with Image.open(source) as image:
        image.crop(box_px).save(to, exif=image.getexif(), compress_level=1, quality=95)
    return to


def corner(day: int, folder: Path) -> Path:
    """The upper left part of a day's photo, with B05 and B06 alone: quick to scan."""
    path = folder / f"corner-d{day:02}.png"
    path.write_bytes(_corner(day))
    return path


@cache
def _corner(day: int) -> bytes:
    with TemporaryDirectory() as folder:
        return part(photo(day), CORNER_PX, Path(folder) / "corner.png").read_bytes()


def plain_shelf(day: int, to: Path) -> Path:
    """The upper shelf of a day's photo, its four bags without cards: quick to map."""
    return part(without_cards(photo(day), to.with_name(f"whole-{day}.jpg")), UPPER_PX, to)


def without_cards(source: Path, to: Path) -> Path:
    """A demo photo with each card in the colour of what is around it; its EXIF stays."""
    rgb = load_rgb(source, max_megapixels=100).copy()
    for card in find_cards(rgb):
        own = filled(card_outline_px(card, margin_mm=1.5, far_margin_mm=4), rgb.shape[:2])
        ring = (cv2.dilate(own.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0) & ~own
        rgb[own] = np.median(rgb[ring], 0)
    with Image.open(source) as image:
        Image.fromarray(rgb).save(to, quality=92, exif=image.info["exif"])
    return to
