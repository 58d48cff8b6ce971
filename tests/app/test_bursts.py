"""Photos as they come: several of one shelf within minutes, and copies of one picture; B05 and B06 alone."""

import csv
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from demo_trial import CORNER_PX, begin_pair, corner, photo
from PIL import Image

from colscan.app.batch.evidence_cache import FOLDER
from colscan.app.cli.main import main

Capture = pytest.CaptureFixture[str]
ORIGINAL = 0x9003
# Reflections: x, y, half width, half height in px, on the faces of the demo's day 6 and off its cards.
LEFT = ((380, 440, 25, 40), (650, 440, 25, 40))
RIGHT = ((480, 445, 25, 40), (750, 440, 25, 40))


def scan(folder: Path, *paths: Path) -> None:
    """Scan photos in one process."""
    assert main(["scan", str(folder), "--jobs", "1", *map(str, paths)]) == 0


def rows(folder: Path, name: str = "scores.csv") -> list[dict[str, str]]:
    """The rows of a CSV file without the time they were written."""
    with (folder / name).open(newline="", encoding="utf-8") as file:
        return [{k: v for k, v in row.items() if k != "scanned_at"} for row in csv.DictReader(file)]


def shoot(
    path: Path, minute: int, spots: tuple[tuple[int, int, int, int], ...], *, shift_px: int = 0
) -> Path:
    """The corner of the shelf on day 6 at 10:minute, from a hand that moved, with reflections where said."""
    with Image.open(photo(6)) as image:
        exif = image.getexif()
        rgb = np.asarray(image.convert("RGB").crop(CORNER_PX)).astype(np.float32)
    exif.get_ifd(0x8769)[ORIGINAL] = f"2026:03:08 10:{minute:02}:00"
    lamp = np.zeros(rgb.shape[:2], np.float32)
    for x, y, across, down in spots:
        cv2.ellipse(lamp, (x, y), (across, down), 0, 0, 360, 255, -1)
    lit = rgb + cv2.GaussianBlur(lamp, (0, 0), 2)[..., None]
    noise = np.random.default_rng(minute).normal(0, 1, rgb.shape)
    moved = np.roll(np.clip(lit + noise, 0, 255).astype(np.uint8), shift_px, axis=1)
    Image.fromarray(moved).save(path, quality=93, exif=exif)
    return path


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial with the first photo."""
    folder = begin_pair(tmp_path_factory.mktemp("first") / "hornbeam")
    scan(folder, corner(0, folder.parent))
    return folder


@pytest.fixture(scope="module")
def shots(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two photos of the shelf, 2 minutes apart, with different reflections."""
    folder = tmp_path_factory.mktemp("shots")
    return shoot(folder / "a.jpg", 0, LEFT), shoot(folder / "b.jpg", 2, RIGHT, shift_px=9)


@pytest.fixture(scope="module")
def combined(first: Path, shots: tuple[Path, Path]) -> Path:
    """The trial after both in one scan."""
    folder = Path(shutil.copytree(first, first.parent / "combined"))
    scan(folder, *shots)
    return folder


def test_a_burst_is_scored_once_and_sees_more(first: Path, shots: tuple[Path, Path], combined: Path) -> None:
    """A row a bag, under the first photo; less unseen than in either alone on bags with reflections."""
    scores = rows(combined)[2:]
    assert [(row["photo"], row["bag"]) for row in scores] == [("a.jpg", "B05"), ("a.jpg", "B06")]
    alone = []
    for shot in shots:
        folder = Path(shutil.copytree(first, first.parent / shot.stem))
        scan(folder, shot)
        alone.append({row["bag"]: float(row["unseen_pct"]) for row in rows(folder)[2:]})
    for row in scores:
        assert float(row["unseen_pct"]) < min(one[row["bag"]] for one in alone), row["bag"]
    photos = rows(combined, "photos.csv")[1:]
    assert [(row["bags_found"], row["bags_elsewhere"]) for row in photos] == [("2", ""), ("2", "2")]
    assert {row["burst"] for row in photos} == {photos[0]["photo_sha256"]}
    assert main(["check", str(combined)]) == 0


def test_a_burst_is_known_and_measured_again_as_one(
    combined: Path, shots: tuple[Path, Path], tmp_path: Path, capsys: Capture
) -> None:
    """A second scan passes both over; without cache the next day's rows are the same."""
    kept, lost = (Path(shutil.copytree(combined, tmp_path / name)) for name in ("kept", "lost"))
    scan(kept, *shots)
    assert "nothing appended; 2 photos passed over" in capsys.readouterr().err
    shutil.rmtree(lost / "cache")
    for folder in (kept, lost):
        scan(folder, corner(9, tmp_path))
    assert rows(lost) == rows(kept)
    assert len(list((lost / FOLDER).iterdir())) == 4


def test_a_photo_that_comes_later_adds_what_was_not_scored_well(
    first: Path, tmp_path: Path, capsys: Capture
) -> None:
    """No second row of bags that are scored well from the same minutes; one to be retaken has one."""
    folder = Path(shutil.copytree(first, tmp_path / "hornbeam"))
    much = tuple((330 + 50 * i, 400 + 50 * j, 30, 30) for i in range(5) for j in range(3))
    scan(folder, shoot(tmp_path / "a.jpg", 0, much))
    flagged = {row["bag"] for row in rows(folder)[2:] if "glare" in row["flags"]}
    assert flagged == {"B05"}
    scan(folder, shoot(tmp_path / "b.jpg", 3, (), shift_px=9))
    assert "scored once, with the other photos of the same minutes" in capsys.readouterr().err
    assert {row["bag"] for row in rows(folder)[4:]} == flagged
    scan(folder, shoot(tmp_path / "c.jpg", 20, (), shift_px=4))
    assert [row["bag"] for row in rows(folder)[-2:]] == ["B05", "B06"]
    assert main(["check", str(folder)]) == 0


def test_an_event_parts_a_burst(first: Path, tmp_path: Path, shots: tuple[Path, Path]) -> None:
    """Bags that were shaken between two photos are scored before and after."""
    folder = Path(shutil.copytree(first, tmp_path / "hornbeam"))
    assert main(["event", str(folder), "shaken", "--shelf", "cellar", "--at", "2026-03-08T10:01-05:00"]) == 0
    scan(folder, *shots)
    assert [row["segment"] for row in rows(folder)[2:]] == ["0"] * 2 + ["1"] * 2


def test_a_copy_is_told_and_not_scored(first: Path, tmp_path: Path, capsys: Capture) -> None:
    """A messenger's copy of a recorded photo, without its date and at half the size, adds nothing."""
    folder = Path(shutil.copytree(first, tmp_path / "hornbeam"))
    copy = tmp_path / "IMG_20260310_120000.jpg"
    with Image.open(corner(0, tmp_path)) as image:
        image.resize((425, 320), Image.Resampling.LANCZOS).save(copy, quality=75)
    for _ in range(2):
        scan(folder, copy)
        told = capsys.readouterr().err
        assert f"{copy.name}: the same picture as corner-d00.png, saved again; passed over" in told
    assert len(rows(folder, "photos.csv")) == 1


def test_of_two_copies_the_one_with_its_date_stays(pair: Path, tmp_path: Path, capsys: Capture) -> None:
    """Whichever is named first."""
    dated, copy = corner(0, tmp_path), tmp_path / "IMG_20260310_120000.jpg"
    with Image.open(dated) as image:
        image.save(copy, quality=75)
    scan(pair, copy, dated)
    assert "saved again; passed over" in capsys.readouterr().err
    assert [row["photo"] for row in rows(pair, "photos.csv")] == [dated.name]


def test_one_bag_photographed_alone(first: Path, tmp_path: Path) -> None:
    """A photo that shows one bag has a row of it."""
    folder = Path(shutil.copytree(first, tmp_path / "hornbeam"))
    with Image.open(photo(6)) as image:
        exif = image.getexif()
        image.crop((300, 180, 600, 580)).resize((900, 1200)).save(tmp_path / "one.jpg", exif=exif, quality=92)
    scan(folder, tmp_path / "one.jpg")
    assert [row["bag"] for row in rows(folder)[2:]] == ["B05"]
    assert rows(folder)[2]["coverage_pct"]
