"""What a strain shows when it is well raises no alarm if trial.toml says so, and does if it doesn't.

Composed on a rendered photo (fixtures/SOURCES.md): amber drops on one white bag, brown skin on another.
"""

import csv
from pathlib import Path

import cv2
import numpy as np
import pytest
from demo_trial import begin_some, photo
from PIL import Image

from colscan.app.cli.main import main
from colscan.photo.light import to_linear

# Reflectance relative to the white below it.
AMBER, BROWN = (0.85, 0.52, 0.06), (0.42, 0.24, 0.12)
DROPS, SKIN = "B01", "B07"
# In the photo, px: where both bags are white and nothing reflects. At 0.88 mm a pixel a drop has 200 mm2.
DROPS_AT = ((440, 960), (480, 1000), (520, 950))
SKIN_AT, SKIN_AXES = (980, 410), (60, 38)


def compose(photo: Path, to: Path) -> None:
    """Paint both on a photo in linear light, softly edged; its EXIF stays."""
    with Image.open(photo) as image:
        exif, rgb = image.info["exif"], np.array(image.convert("RGB"))
    drops, skin = np.zeros(rgb.shape[:2], np.float32), np.zeros(rgb.shape[:2], np.float32)
    for centre in DROPS_AT:
        cv2.circle(drops, centre, 9, 1.0, -1)
    cv2.ellipse(skin, SKIN_AT, SKIN_AXES, 0, 0, 360, 1.0, -1)
    light = to_linear(rgb)
    for mask, colour in ((drops, AMBER), (skin, BROWN)):
        share = cv2.GaussianBlur(mask, (0, 0), 1.5)[..., None]
        light = light * (1 - share * (1 - np.array(colour, np.float32)))
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    Image.fromarray(np.round(255 * coded.clip(0, 1)).astype(np.uint8)).save(to, quality=92, exif=exif)


@pytest.fixture(scope="module")
def scanned(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The same photos scanned into a trial whose strain's looks are noted as healthy, and one where not."""
    base = tmp_path_factory.mktemp("looks")
    compose(photo(12), base / photo(12).name)
    folders = {}
    for name, looks in (("noted", '["amber", "brown"]'), ("unsaid", "[]")):
        folder = folders[name] = begin_some(base / name, DROPS, SKIN)
        plan = folder / "trial.toml"
        text = plan.read_text(encoding="utf-8").replace("healthy_looks = []", f"healthy_looks = {looks}")
        plan.write_text(text, encoding="utf-8")
        photos = (str(photo(0)), str(base / photo(12).name))
        assert main(["scan", str(folder), *photos, "--jobs", "1"]) == 0
    return folders


def marks(folder: Path) -> set[tuple[str, str, str]]:
    """Bag, kind and flags of each patch on the two bags."""
    with (folder / "suspects.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["bag"] in (DROPS, SKIN)]
    return {(row["bag"], row["kind"], row["flags"]) for row in rows}


def test_noted_looks_raise_no_alarm(scanned, capsys) -> None:
    """Both are found, and expected; neither bag is to be looked at for them."""
    assert marks(scanned["noted"]) == {(DROPS, "amber", "expected"), (SKIN, "brown", "expected")}
    main(["status", str(scanned["noted"])])
    told = capsys.readouterr().out
    assert not any("look" in line for line in told.splitlines() if line.startswith((DROPS, SKIN)))


def test_looks_that_nobody_noted_do(scanned, capsys) -> None:
    """The same places without a word in trial.toml: both bags are to be looked at."""
    assert marks(scanned["unsaid"]) == {(DROPS, "amber", ""), (SKIN, "brown", "")}
    main(["status", str(scanned["unsaid"])])
    told = capsys.readouterr().out
    for bag in (DROPS, SKIN):
        assert any(line.startswith(bag) and "look" in line for line in told.splitlines())
