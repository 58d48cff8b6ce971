"""`colscan scan`: what good photos add, and what bad input leaves alone."""

import csv
import errno
import hashlib
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from demo_trial import CORNER_PX, UPPER_PX, begin_pair, begin_some, contents, corner, photo
from PIL import Image
from png_bytes import png

from colscan.app.batch import jobs, originals
from colscan.app.batch import scan as batch_scan
from colscan.app.cli.main import main
from colscan.app.demo import NAME
from colscan.ledger import read_ledger
from colscan.trial import load_trial
from colscan.units import BASELINE_HOURS

Unchanged = Callable[[Path], Callable[[], bool]]
Corners = Callable[[int], Path]
Capture = pytest.CaptureFixture[str]
COLSCAN = [sys.executable, "-c", "from colscan.app.cli.main import run; run()"]


def scan(folder: Path, *arguments: object) -> int:
    """The exit code of a scan in this process."""
    return main(["scan", str(folder), "--jobs", "1", *map(str, arguments)])


def rows(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def timeless(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file without the time they were written."""
    return [{name: cell for name, cell in row.items() if name != "scanned_at"} for row in rows(path)]


# ---- what a good photo adds


def test_rows_of_a_photo(scanned: Path) -> None:
    """Each bag of each photo has one row, with coverage inside its interval; the original is kept."""
    scores, photos = rows(scanned / "scores.csv"), rows(scanned / "photos.csv")
    assert [(row["bags_found"], row["taken_at_from"], row["shelf"]) for row in photos] == [
        ("8", "exif-offset", "cellar")
    ] * 2
    assert [row["bag"] for row in scores] == [f"B0{n}" for n in range(1, 9)] * 2
    assert {row["identified_by"] for row in scores} == {"card"}
    for row in scores:
        low, coverage, high = (float(row[f"coverage{end}_pct"]) for end in ("_low", "", "_high"))
        assert 0 <= low <= coverage <= high <= 100
        assert 3 <= len(row["outline"].split()) / 2 <= 32
    kept = sorted((scanned / "photos").iterdir())
    assert [path.name for path in kept] == [
        f"2026-03-02T084939-{photos[0]['photo_sha256'][:8]}.jpg",
        f"2026-03-05T095947-{photos[1]['photo_sha256'][:8]}.jpg",
    ]
    assert kept[0].read_bytes() == photo(0).read_bytes()


def test_a_second_scan_appends_nothing_and_says_so(
    scanned: Path, unchanged: Unchanged, capsys: Capture
) -> None:
    """The same bytes, also under another name or in the trial's own folder, are passed over."""
    same = unchanged(scanned)
    shutil.copy(photo(0), scanned.parent / "renamed.jpg")
    assert scan(scanned, photo(3), scanned.parent / "renamed.jpg", scanned / "photos") == 0
    assert same()
    said = capsys.readouterr()
    assert "nothing appended; 4 photos passed over" in said.err
    assert said.out == ""


def test_an_original_that_is_gone_is_put_back(scanned: Path, unchanged: Unchanged, capsys: Capture) -> None:
    """By scanning its photo again, under any name; a dry run writes nothing."""
    same = unchanged(scanned)
    first, second = sorted((scanned / "photos").iterdir())
    first.unlink()
    shutil.copy(photo(0), scanned.parent / "renamed.jpg")
    assert scan(scanned, scanned.parent / "renamed.jpg", "--dry-run") == 0
    assert not first.exists()
    capsys.readouterr()
    assert scan(scanned, scanned.parent / "renamed.jpg", photo(3)) == 0
    assert same()
    said = capsys.readouterr().err
    assert f"its original was gone from photos/ and is put back: {first.name}\n" in said
    assert second.name not in said


def test_a_known_photo_needs_no_time(scanned: Path, tmp_path: Path, capsys: Capture) -> None:
    """What was recorded with --taken-at is known by its bytes alone: nothing has to be said again."""
    undated = tmp_path / "undated.png"
    Image.new("RGB", (300, 300)).save(undated)
    assert scan(scanned, undated) == 3
    recorded = rows(scanned / "photos.csv")[0]["photo_sha256"]
    for name in ("photos.csv", "scores.csv", "suspects.csv"):
        text = (scanned / name).read_text(encoding="utf-8")
        own = hashlib.sha256(undated.read_bytes()).hexdigest()
        (scanned / name).write_text(text.replace(recorded, own), encoding="utf-8")
    capsys.readouterr()
    assert scan(scanned, undated) == 0
    assert "undated.png: scanned before, passed over" in capsys.readouterr().err


def test_dry_run_prints_rows_and_writes_nothing(
    scanned_pair: Path, corners: Corners, unchanged: Unchanged, capsys: Capture
) -> None:
    """A dry run shows each bag's scores on stdout."""
    same = unchanged(scanned_pair)
    assert scan(scanned_pair, "--dry-run", corners(6)) == 0
    assert same()
    said = capsys.readouterr()
    assert said.out.count(corners(6).name) == 2
    assert "1 photo measured, nothing written, 2 scores" in said.err


def test_the_smallest_spot_is_said(scanned_pair: Path, corners: Corners, capsys: Capture) -> None:
    """Each scan says the smallest spot that its photo can show."""
    assert scan(scanned_pair, corners(6)) == 0
    spot = float(rows(scanned_pair / "photos.csv")[-1]["smallest_spot_mm"])
    assert f"smallest spot it can show: {spot:.0f} mm" in capsys.readouterr().err
    assert 1 < spot < 14


def test_small_tags_are_told(scanned_pair: Path, corners: Corners, tmp_path: Path, capsys: Capture) -> None:
    """A photo from too far away is scanned, and its taker is told how near to go."""
    with Image.open(corners(6)) as image:
        far = image.resize((image.width // 2, image.height // 2))
        far.save(tmp_path / "far.jpg", exif=image.getexif(), quality=95)
    assert scan(scanned_pair, tmp_path / "far.jpg", corners(9)) == 0
    (line,) = [line for line in capsys.readouterr().err.splitlines() if "smallest tag" in line]
    assert line.strip() == "step closer: the smallest tag is 21 px wide; 30 is the least, 60 is better"


def test_first_photos_are_judged(
    pair: Path, corners: Corners, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Good ones in a line, and each other bag with its reason; later photos are not judged."""
    with Image.open(corners(0)) as image:
        dark = image.point(lambda level: level * 0.3)
        dark.save(tmp_path / "dark.jpg", exif=image.getexif(), quality=95)
    assert scan(pair, tmp_path / "dark.jpg", "--dry-run") == 0
    told = capsys.readouterr().err
    assert (
        told.count("no good first photo, and too late for one, so its scores are less sure: it is too dark")
        == 2
    )
    on_day_0 = max(bag.inoculated_at for bag in load_trial(pair).bags) + timedelta(hours=BASELINE_HOURS)
    monkeypatch.setattr(batch_scan, "now", lambda: on_day_0)
    assert scan(pair, tmp_path / "dark.jpg") == 0
    told = capsys.readouterr().err
    assert told.count("retake this first photo now: it is too dark") == 2
    assert scan(pair, corners(0), corners(3)) == 0
    told = capsys.readouterr().err
    assert "first photos are good: B05, B06" in told
    assert scan(pair, corners(6)) == 0
    assert "first photo" not in capsys.readouterr().err


def test_a_trial_started_late(pair: Path, corners: Corners, capsys: Capture) -> None:
    """The earliest photo serves from then on, whether later ones come with it or afterwards."""
    assert scan(pair, corners(6)) == 0
    assert scan(pair, corners(9)) == 0
    scores = rows(pair / "scores.csv")
    assert len(scores) == 4
    assert {row["flags"].split()[-1] for row in scores} == {"late-baseline"}
    assert all(float(row["coverage_pct"]) > 5 for row in scores)
    assert scan(pair, "--dry-run", corners(12)) == 0
    assert "late-baseline" in capsys.readouterr().out


def test_two_photos_with_one_name(pair: Path, corners: Corners, tmp_path: Path) -> None:
    """Two photos of the same name are two photos."""
    for day in (0, 3):
        (tmp_path / f"card{day}").mkdir()
        shutil.copy(corners(day), tmp_path / f"card{day}" / "IMG_1.jpg")
    assert scan(pair, tmp_path / "card0", tmp_path / "card3") == 0
    assert [row["photo"] for row in rows(pair / "photos.csv")] == ["IMG_1.jpg"] * 2
    assert len(list((pair / "photos").iterdir())) == 2


def test_heic_and_rotation_change_no_score(corners: Corners, tmp_path: Path) -> None:
    """The same picture stored sideways and as HEIC gives the same bags and nearly the same scores."""
    sideways, heic = tmp_path / "sideways.png", tmp_path / "shelf.heic"
    with Image.open(corners(0)) as image:
        exif = image.getexif()
        exif[0x0112] = 6
        image.transpose(Image.Transpose.ROTATE_90).save(sideways, exif=exif)
        image.save(heic, format="HEIF", quality=95, exif=image.info["exif"])
    by_bag: dict[str, list[float]] = {}
    for path in (corners(0), sideways, heic):
        folder = begin_pair(tmp_path / path.stem)
        assert scan(folder, path) == 0
        for row in rows(folder / "scores.csv"):
            by_bag.setdefault(row["bag"], []).append(float(row["coverage_pct"]))
    assert len(by_bag) == 2
    for first, turned, heic_score in by_bag.values():
        assert turned == pytest.approx(first, abs=0.01)
        assert heic_score == pytest.approx(first, abs=3)


def test_upside_down_gives_the_same_scores(scanned_pair: Path, corners: Corners, tmp_path: Path) -> None:
    """A photo taken upside down without saying so: the same scores, outlines where the bags are."""
    path = tmp_path / "turned.png"
    with Image.open(corners(3)) as image:
        exif = image.getexif()
        image.transpose(Image.Transpose.ROTATE_180).save(path, exif=exif)
    other = begin_pair(tmp_path / "other")
    assert scan(other, corners(0), path) == 0
    upright, turned = (rows(folder / "scores.csv")[2:] for folder in (scanned_pair, other))
    for one, other in zip(upright, turned, strict=True):
        assert float(other["coverage_pct"]) == pytest.approx(float(one["coverage_pct"]), abs=0.5)
        middle = np.array(one["outline"].split(), float).reshape(-1, 2).mean(0)
        turned_middle = np.array(other["outline"].split(), float).reshape(-1, 2).mean(0)
        assert turned_middle == pytest.approx((CORNER_PX[2] - 1, CORNER_PX[3] - 1) - middle, abs=5)


def test_photos_are_remembered_in_order_of_time(pair: Path, corners: Corners) -> None:
    """Given newest first, photos are recorded oldest first and scored as when given in order."""
    other = begin_pair(pair.parent / "other")
    assert scan(pair, corners(6), corners(3), corners(0)) == 0
    assert [row["photo"] for row in rows(pair / "photos.csv")] == [corners(day).name for day in (0, 3, 6)]
    for day in (0, 3, 6):
        assert scan(other, corners(day)) == 0
    strip = [{k: v for k, v in row.items() if k != "scanned_at"} for row in rows(pair / "scores.csv")]
    assert strip == [
        {k: v for k, v in row.items() if k != "scanned_at"} for row in rows(other / "scores.csv")
    ]


def test_a_late_photo_leaves_rows_alone(scanned_pair: Path, corners: Corners, capsys: Capture) -> None:
    """A photo older than those scored is added; what stood before stands, and that is said."""
    assert scan(scanned_pair, corners(9)) == 0
    before = (scanned_pair / "scores.csv").read_bytes()
    assert scan(scanned_pair, corners(6)) == 0
    assert (scanned_pair / "scores.csv").read_bytes().startswith(before)
    assert "their rows stand as they are" in capsys.readouterr().err


def test_processes_give_the_same_rows(pair: Path, corners: Corners) -> None:
    """Two processes give the rows of one."""
    other = begin_pair(pair.parent / "other")
    assert scan(pair, corners(0), corners(3)) == 0
    assert main(["scan", str(other), str(corners(0)), str(corners(3)), "--jobs", "2"]) == 0
    for name in ("scores.csv", "suspects.csv"):
        assert timeless(pair / name) == timeless(other / name)


def test_concurrent_scans_lose_no_row(pair: Path, corners: Corners) -> None:
    """Two scans of different photos at once both record all of theirs."""
    running = [
        subprocess.Popen(
            [*COLSCAN, "scan", str(pair), str(corners(day)), "--jobs", "1"], stderr=subprocess.DEVNULL
        )
        for day in (0, 3)
    ]
    assert [process.wait(timeout=120) for process in running] == [0, 0]
    assert sorted(row["photo"] for row in rows(pair / "photos.csv")) == [corners(0).name, corners(3).name]
    assert len(rows(pair / "scores.csv")) == 4
    assert main(["check", str(pair)]) == 0


# ---- exits: photos


def test_unusable_names(trial: Path, unchanged: Unchanged, tmp_path: Path, capsys: Capture) -> None:
    """No such file, a folder and a pattern without photos: 3, nothing written."""
    same = unchanged(trial)
    (tmp_path / "empty").mkdir()
    (tmp_path / "camera" / "100IMG").mkdir(parents=True)
    (tmp_path / "camera" / "100IMG" / "a.JPG").touch()
    for name, message in {
        "gone.jpg": "no such file or folder",
        "empty": "the folder holds no photo",
        "empty/*.jpg": "matches no photo",
        "camera": f"Give the one that is meant, like {tmp_path / 'camera' / '100IMG'}.",
    }.items():
        assert scan(trial, tmp_path / name) == 3
        assert message in capsys.readouterr().err
    assert same()


def bad_photos(folder: Path) -> list[Path]:
    """Files that are no photos: text, a truncated photo, one pixel, a bomb."""
    files = {
        "text.jpg": b"not a photo",
        "cut.jpg": photo(0).read_bytes()[:50_000],
        "dot_20260303_100000.png": png(1, 1, data=b"\0\xff\0\0"),
        "bomb_20260303_100000.png": png(20_000, 10_000),
    }
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return sorted(folder.iterdir())


def test_only_unreadable_photos(trial: Path, unchanged: Unchanged, tmp_path: Path, capsys: Capture) -> None:
    """Text as .jpg, a truncated photo, 1 x 1 and over the limit: 3, each with its reason, nothing written."""
    same = unchanged(trial)
    assert scan(trial, *bad_photos(tmp_path / "bad")) == 3
    said = capsys.readouterr().err
    assert "text.jpg: is not a readable JPEG, PNG or HEIC photo" in said
    assert "cut.jpg: is not a readable" in said
    assert "dot_20260303_100000.png: is only 1 x 1 px" in said
    assert "has 200 megapixels (20000 x 10000), more than the 100 allowed" in said
    assert "raise max_photo_megapixels under [limits] in trial.toml" in said
    assert "nothing appended; 4 photos not used" in said
    assert same()


def test_some_unreadable_photos(pair: Path, corners: Corners, tmp_path: Path) -> None:
    """With a readable one among them: 5, and that one is recorded."""
    assert scan(pair, *bad_photos(tmp_path / "bad"), corners(0)) == 5
    assert [row["photo"] for row in rows(pair / "photos.csv")] == [corners(0).name]
    assert len(rows(pair / "scores.csv")) == 2


def test_a_photo_without_cards(trial: Path, unchanged: Unchanged, tmp_path: Path, capsys: Capture) -> None:
    """A photo in which no card of the trial is found: 3, and what to do."""
    same = unchanged(trial)
    path = tmp_path / "wall_20260303_100000.png"
    Image.new("RGB", (640, 480), (120, 120, 110)).save(path)
    assert scan(trial, path) == 3
    assert "no card was found in it" in capsys.readouterr().err
    assert same()


def test_photo_before_inoculation(
    pair: Path, corners: Corners, unchanged: Unchanged, capsys: Capture
) -> None:
    """A photo older than the first bag: 3; older than one of its bags: 3; with a good one: 5."""
    same = unchanged(pair)
    assert scan(pair, corners(0), "--taken-at", "2026-03-01T10:00") == 3
    assert "before the first bag was inoculated (2026-03-02 06:00)" in capsys.readouterr().err
    assert same()
    bags = pair / "bags.csv"
    bags.write_text(
        bags.read_text().replace("B06,6,PE-1,bran,4,cellar,2026-03-02", "B06,6,PE-1,bran,4,cellar,2026-03-04")
    )
    same = unchanged(pair)
    assert scan(pair, corners(0)) == 3
    assert "before bag B06 was inoculated (2026-03-04 06:00)" in capsys.readouterr().err
    assert same()
    assert scan(pair, corners(0), corners(3)) == 5
    assert [row["photo"] for row in rows(pair / "photos.csv")] == [corners(3).name]


def test_photo_without_time(
    pair: Path, corners: Corners, unchanged: Unchanged, tmp_path: Path, capsys: Capture
) -> None:
    """A fresh copy without any date: 3; with --taken-at it is scanned."""
    path = tmp_path / "shelf.jpg"
    with Image.open(corners(0)) as image:
        image.save(path, quality=95)
    same = unchanged(pair)
    assert scan(pair, path) == 3
    assert "nothing says when it was taken" in capsys.readouterr().err
    assert same()
    assert scan(pair, path, "--taken-at", "2026-03-02T08:50") == 0
    row = rows(pair / "photos.csv")[0]
    assert (row["taken_at"], row["taken_at_from"]) == ("2026-03-02T08:50:00-05:00", "option")


def test_a_fault_of_ours_costs_one_photo(
    pair: Path, corners: Corners, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """An unforeseen error while one photo is measured: said as ours, 5, and the others are recorded."""
    measure = jobs.measure_views

    def faulty(views: object, baselines: object) -> object:
        if next(calls) == 1:
            msg = "out of range"
            raise IndexError(msg)
        return measure(views, baselines)

    calls = iter(range(9))
    monkeypatch.setattr(jobs, "measure_views", faulty)
    assert scan(pair, corners(0), corners(3), corners(6)) == 5
    said = capsys.readouterr().err
    assert f"{corners(3).name}: a fault in colscan itself (IndexError: out of range)" in said
    assert [row["photo"] for row in rows(pair / "photos.csv")] == [corners(0).name, corners(6).name]


# ---- exits: the plan and the options


@pytest.mark.parametrize(
    ("file", "old", "new", "message"),
    [
        ("trial.toml", "name =", "nmae =", "nmae"),
        ("trial.toml", "full_coverage_pct", "full_coverage", "full_coverage"),
        ("bags.csv", "B02,2,", "B02,1,", "tag 1"),
        ("bags.csv", "B02,", "3-4,", "3-4"),
        ("bags.csv", "B02,", "MAR1,", "MAR1"),
        ("bags.csv", "bag,tag,strain", "bag,tag,sort", "strain"),
    ],
)
def test_a_faulty_plan(trial: Path, file: str, old: str, new: str, message: str, capsys: Capture) -> None:
    """A typo'd key, a doubled tag, a mangled code, a missing column: 2, file and line, nothing written."""
    path = trial / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    line = text[: text.index(old)].count("\n") + 1
    before = contents(trial)
    assert scan(trial, photo(0)) == 2
    said = capsys.readouterr().err
    assert message in said
    assert f"{file}:{line}" in said
    assert contents(trial) == before


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((photo(0), photo(3), "--taken-at", "2026-03-02T08:00"), "--taken-at was given for 2 photos"),
        ((photo(0), "--taken-at", "noon"), "--taken-at 'noon' is not a time"),
        ((photo(0), "--taken-at", "2162-03-02T08:00"), "--taken-at 2162-03-02T08:00 is in the future"),
        ((photo(0), "--colour"), "No such option"),
        ((), "Missing argument 'PHOTO...'"),
        ((photo(0), "--jobs", "0"), "--jobs"),
    ],
)
def test_option_misuse(
    trial: Path,
    unchanged: Unchanged,
    arguments: tuple[object, ...],
    message: str,
    capsys: Capture,
) -> None:
    """Options that make no sense: 2, nothing written."""
    same = unchanged(trial)
    assert main(["scan", str(trial), *map(str, arguments)]) == 2
    assert message in capsys.readouterr().err
    assert same()


def test_no_trial_there(tmp_path: Path, capsys: Capture) -> None:
    """A folder without trial.toml: 2, and how to begin."""
    assert scan(tmp_path, photo(0)) == 2
    assert "colscan new" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


# ---- exits: tags


def test_a_foreign_tag_is_named_and_left_out(pair: Path, corners: Corners, capsys: Capture) -> None:
    """A tag that is no bag of the trial: 0, said whose it is; the others are scored."""
    lines = (pair / "bags.csv").read_text().splitlines()
    (pair / "bags.csv").write_text("\n".join(lines[:-1]) + "\n")
    sibling_bags = pair.parent / "sibling.csv"
    sibling_bags.write_text("\n".join([lines[0], lines[-1]]) + "\n")
    sibling = pair.parent / "alder"
    assert main(["new", str(sibling), "--bags", str(sibling_bags), "--zone", "America/New_York"]) == 0
    assert scan(pair, corners(0)) == 0
    said = capsys.readouterr().err
    assert "left out, no bags of this trial: tag 6 is " in said
    assert "alder" in said
    assert [row["bag"] for row in rows(pair / "scores.csv")] == ["B05"]


def test_a_tag_twice_in_one_photo(tmp_path: Path, capsys: Capture) -> None:
    """The same tag on two bags: 0, flagged, no score for that bag, the others are scored."""
    trial = begin_some(tmp_path / NAME, "B05", "B06", "B07", "B08")
    with Image.open(photo(0)) as whole:
        image = whole.crop(UPPER_PX)
        rgb, exif = np.asarray(image).copy(), whole.info["exif"]
    # B05's card (at 372..472, 269..336) over B06's
    rgb[274:346, 670:780] = rgb[267:339, 367:477]
    path = tmp_path / "twice.png"
    Image.fromarray(rgb).save(path, exif=exif)
    assert scan(trial, path) == 0
    assert "B05: its tag stands twice in the photo" in capsys.readouterr().err
    assert rows(trial / "photos.csv")[0]["problems"].split()[-1] == "tag-twice"
    assert [row["bag"] for row in rows(trial / "scores.csv")] == ["B07", "B08"]


def test_only_foreign_tags(pair: Path, corners: Corners, unchanged: Unchanged, capsys: Capture) -> None:
    """A photo of another trial's bags alone: 3, and whose they are; a trial without tags: 3, and why."""
    other = pair.parent / "own"
    assert main(["new", str(other), "--first-tag", "100", "--inoculated-at", "2026-03-02"]) == 0
    same = unchanged(other)
    assert scan(other, corners(0)) == 3
    said = capsys.readouterr().err
    assert "none of its cards is of this trial (tag 5 is bag B05 of the trial 'hornbeam'" in said
    assert same()
    tagless = (other / "bags.csv").read_text(encoding="utf-8").splitlines()
    column = tagless[0].split(",").index("tag")
    cells = [line.split(",") for line in tagless]
    for row in cells[1:]:
        row[column] = ""
    (other / "bags.csv").write_text("\n".join(map(",".join, cells)) + "\n", encoding="utf-8")
    assert scan(other, corners(0)) == 3
    assert "no map tells bags without one" in capsys.readouterr().err


# ---- exits: the ledger


def test_a_broken_ledger(scanned: Path, unchanged: Unchanged, capsys: Capture) -> None:
    """A ledger broken by hand: 4, file and line said, nothing written."""
    path = scanned / "scores.csv"
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines[:4], lines[4].replace(",card,", ",guess,"), *lines[5:]]) + "\n")
    same = unchanged(scanned)
    assert scan(scanned, photo(6)) == 4
    assert "scores.csv:5" in capsys.readouterr().err
    assert same()


def test_a_full_disk(
    scanned_pair: Path,
    corners: Corners,
    unchanged: Unchanged,
    monkeypatch: pytest.MonkeyPatch,
    capsys: Capture,
) -> None:
    """A full disk at the original or at the rows: 4, nothing torn; with room again it goes on."""
    same = unchanged(scanned_pair)

    def full(*_: object, **__: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(originals.shutil, "copyfile", full)
        assert scan(scanned_pair, corners(6)) == 4
    assert "No space left on device" in capsys.readouterr().err
    assert same()
    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        assert scan(scanned_pair, corners(6)) == 4
    assert len(read_ledger(scanned_pair).photos) == 2
    assert scan(scanned_pair, corners(6)) == 0
    assert main(["check", str(scanned_pair)]) == 0


def test_a_read_only_folder(
    scanned_pair: Path,
    corners: Corners,
    unchanged: Unchanged,
    monkeypatch: pytest.MonkeyPatch,
    capsys: Capture,
) -> None:
    """A folder that can't be written: 4, nothing written; simulated, as permissions don't bind root."""
    same = unchanged(scanned_pair)
    opened = os.open

    def refuse(path: str, flags: int, *rest: int, **others: int) -> int:
        if str(path).startswith(str(scanned_pair)) and flags & (os.O_WRONLY | os.O_RDWR):
            raise OSError(errno.EROFS, "Read-only file system")
        return opened(path, flags, *rest, **others)

    monkeypatch.setattr(os, "open", refuse)
    monkeypatch.setattr(os, "access", lambda path, mode, **_: mode != os.W_OK)
    monkeypatch.setattr(originals.shutil, "copyfile", lambda *_: refuse(str(scanned_pair), os.O_WRONLY))
    assert scan(scanned_pair, corners(6)) == 4
    assert "the photo can't be kept (Read-only file system)" in capsys.readouterr().err
    assert scan(scanned_pair, corners(3)) == 0
    assert "1 photo passed over" in capsys.readouterr().err
    assert same()


# ---- ctrl-C


def test_interrupt_keeps_whole_photos(pair: Path, corners: Corners, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped while the second photo is remembered: 130, the first stays whole, a rerun completes."""
    remember, calls = batch_scan.remember, iter(range(99))

    def interrupted(*arguments: object, **options: object) -> object:
        if next(calls) == 3:
            raise KeyboardInterrupt
        return remember(*arguments, **options)

    with monkeypatch.context() as patch:
        patch.setattr(batch_scan, "remember", interrupted)
        assert scan(pair, corners(0), corners(3)) == 130
    assert [row["photo"] for row in rows(pair / "photos.csv")] == [corners(0).name]
    assert len(rows(pair / "scores.csv")) == 2
    assert main(["check", str(pair)]) == 0
    assert scan(pair, corners(0), corners(3)) == 0
    assert len(rows(pair / "scores.csv")) == 4


@pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX")
def test_a_killed_worker_is_told(pair: Path, corners: Corners) -> None:
    """A measuring process that is killed from outside: 3 and why, no traceback; a rerun completes."""
    days = (0, 3, 6, 9)
    command = [*COLSCAN, "scan", str(pair), *(str(corners(day)) for day in days), "--jobs", "2"]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    deadline = time.monotonic() + 60
    workers: list[int] = []
    while not workers and time.monotonic() < deadline:
        time.sleep(0.05)
        found = subprocess.run(
            ["pgrep", "-P", str(process.pid), "-f", "spawn_main"], capture_output=True, text=True
        )
        workers = [int(pid) for pid in found.stdout.split()]
    os.kill(workers[0], signal.SIGKILL)
    _, said = process.communicate(timeout=120)
    assert process.returncode == 3
    assert "was ended from outside" in said
    assert "Traceback" not in said
    assert scan(pair, *(corners(day) for day in days)) == 0
    assert len(rows(pair / "scores.csv")) == 8


@pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX")
def test_ctrl_c_on_processes(pair: Path, corners: Corners) -> None:
    """A real SIGINT to a scan with processes: 130 without traceback, whole photos; a rerun completes."""
    days = (0, 3, 6, 9, 12, 15)
    command = [*COLSCAN, "scan", str(pair), *(str(corners(day)) for day in days), "--jobs", "2"]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, start_new_session=True)
    assert process.stderr is not None
    assert "[1/6]" in process.stderr.readline()
    os.killpg(process.pid, signal.SIGINT)
    time.sleep(0.2)
    if process.poll() is None:  # an impatient hand
        os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=20)
    assert process.returncode == 130
    assert "whole photos are kept" in said
    assert "Traceback" not in said
    recorded = rows(pair / "photos.csv")
    assert 1 <= len(recorded) < 6
    assert len(rows(pair / "scores.csv")) == 2 * len(recorded)
    assert main(["check", str(pair)]) == 0
    assert scan(pair, *(corners(day) for day in days)) == 0
    assert len(rows(pair / "photos.csv")) == 6


# ---- names


RECORDED = 4
ODD_NAMES = (
    "shelf\nday 3.jpg", "\x1b[31mred\x07.jpg", "\U0001f344.jpg", "n" * 251 + ".jpg", "CON.jpg", "NUL.jpg",
    "dots. .jpg", "~.jpg", "-rf.jpg", "=cmd().jpg", "%s{0}$HOME.jpg", "a\\..\\..\\b.jpg", "..jpg.jpg",
    "'\"`.jpg", "*.jpg",
)  # fmt: skip


@pytest.mark.skipif(os.name != "posix", reason="other systems have fewer names")
def test_odd_names_are_only_names(trial: Path, tmp_path: Path, capsys: Capture) -> None:
    """Each photo is kept under a name of ours, and nothing is written beside the trial."""
    folder = tmp_path / "phone"
    folder.mkdir()
    for number, name in enumerate(ODD_NAMES):
        with Image.open(corner(3 * min(number, 3), tmp_path)) as image:
            part = image if number < RECORDED else image.crop((0, 0, 240, 260 + number))  # without a card
            part.save(folder / name, quality=92, exif=image.getexif())
    beside = sorted(tmp_path.iterdir())
    scan(trial, folder, "--overlay")
    assert sorted(tmp_path.iterdir()) == beside
    names = [row.photo for row in read_ledger(trial).photos]
    assert set(names) == set(ODD_NAMES[:RECORDED]), capsys.readouterr().err
    kept = {path.name for part in ("photos", "overlays") for path in (trial / part).iterdir()}
    assert len(kept) == RECORDED
    assert all(re.fullmatch(r"2026-03-\d\dT\d{6}-[0-9a-f]{8}\.jpg", name) for name in kept)
    assert main(["check", str(trial)]) == 0
    assert main(["status", str(trial)]) == 0
