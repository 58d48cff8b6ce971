"""`colscan scan FARM_DIR`: a rack that holds the bags of several trials."""

import csv
import shutil
from pathlib import Path

import pytest
from demo_trial import PLAN, UPPER_PX, contents, corner, part, photo
from PIL import Image

from colscan.app.cli.main import main

Capture = pytest.CaptureFixture[str]
ALDER, BIRCH = ("B01", "B02", "B05"), ("B03", "B04", "B06", "B07", "B08")


def begin_part(folder: Path, bags: tuple[str, ...]) -> Path:
    """A trial of some of the demo's bags."""
    header, *lines = PLAN[1].read_text(encoding="utf-8").splitlines()
    part = folder.parent / f"{folder.name}.csv"
    part.write_text("\n".join([header, *(line for line in lines if line[:3] in bags)]) + "\n")
    assert main(["new", str(folder), "--bags", str(part), "--zone", "America/New_York"]) == 0
    return folder


def begin_farm(folder: Path) -> Path:
    """A folder with two trials, whose bags stand on one rack."""
    folder.mkdir()
    begin_part(folder / "alder", ALDER)
    begin_part(folder / "birch", BIRCH)
    return folder


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    """A farm of two trials without photos."""
    return begin_farm(tmp_path / "farm")


def scan(folder: Path, *arguments: object) -> int:
    """The exit code of a scan in this process."""
    return main(["scan", str(folder), "--jobs", "1", *map(str, arguments)])


def rows(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file without the time they were written."""
    with path.open(newline="", encoding="utf-8") as file:
        return [{k: v for k, v in row.items() if k != "scanned_at"} for row in csv.DictReader(file)]


def set_plan(trial: Path, line: str) -> None:
    """Put a line at the head of a trial's plan."""
    plan = trial / "trial.toml"
    plan.write_text(f"{line}\n{plan.read_text(encoding='utf-8')}", encoding="utf-8")


def test_each_bag_in_its_own_trial(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """Every row is, to the last digit, that of the trials scanned one by one; no bag is foreign."""
    alone = begin_farm(tmp_path / "alone")
    photos = [part(photo(day), UPPER_PX, tmp_path / f"d{day}.png") for day in (0, 12)]
    capsys.readouterr()
    assert scan(farm, *photos) == 0
    said = capsys.readouterr().err.splitlines()
    assert not any("left out" in line for line in said)
    for name in ("alder", "birch"):
        assert scan(alone / name, *photos) == 0
        for table in ("photos.csv", "scores.csv", "suspects.csv"):
            assert rows(farm / name / table) == rows(alone / name / table)
        assert main(["check", str(farm / name)]) == 0
    assert [row["bag"] for row in rows(farm / "alder" / "scores.csv")] == ["B05"] * 2
    assert [row["bag"] for row in rows(farm / "birch" / "scores.csv")] == ["B06", "B07", "B08"] * 2
    told = [line for line in said if line.startswith(("[", "      "))]
    assert sum(line.split("] ")[-1].strip().startswith("alder: ") for line in told) >= 2
    assert all(line.split("] ")[-1].strip().startswith(("alder: ", "birch: ")) for line in told)
    assert "4 photos recorded, 8 scores" in said
    assert "alder: first photos are good: B05" in said


def test_a_second_scan_appends_nothing(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """What each trial knows is passed over; a trial that doesn't know it yet scores it."""
    assert scan(farm / "alder", corner(0, tmp_path)) == 0
    assert scan(farm, corner(0, tmp_path)) == 0
    assert [row["bag"] for row in rows(farm / "birch" / "scores.csv")] == ["B06"]
    before = contents(farm)
    capsys.readouterr()
    assert scan(farm, corner(0, tmp_path)) == 0
    assert "nothing appended; 2 photos passed over" in capsys.readouterr().err
    assert contents(farm) == before


def test_a_broken_ledger_among_them(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """A ledger broken by hand in one trial: 4, file and line said, nothing is written in any."""
    assert scan(farm, corner(0, tmp_path)) == 0
    path = farm / "birch" / "scores.csv"
    path.write_text(path.read_text().replace(",card,", ",guess,"))
    before = contents(farm)
    assert scan(farm, corner(3, tmp_path)) == 4
    assert "birch/scores.csv:2" in capsys.readouterr().err
    assert contents(farm) == before


def test_watch_a_farm(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """What appears in the watched folder is scored in each trial whose bags it shows."""
    (tmp_path / "phone").mkdir()
    corner(0, tmp_path / "phone")
    watch = ["watch", str(farm), str(tmp_path / "phone"), "--once", "--every", "0.1", "--jobs", "1"]
    assert main(watch) == 0
    said = capsys.readouterr().err
    assert "[1/2] alder: corner-d00.png" in said
    assert "[2/2] birch: corner-d00.png" in said
    assert [row["bag"] for row in rows(farm / "birch" / "scores.csv")] == ["B06"]
    assert main([*watch, "--shelf", "attic"]) == 2


def test_dry_run_names_the_trials(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """A dry run's rows say which trial they are of; nothing is written, with one process or with two."""
    before = contents(farm)
    capsys.readouterr()
    assert (
        main(
            [
                "scan",
                str(farm),
                str(corner(0, tmp_path)),
                str(corner(3, tmp_path)),
                "--dry-run",
                "--jobs",
                "2",
            ]
        )
        == 0
    )
    out = capsys.readouterr().out.splitlines()
    assert out[0].split()[:3] == ["trial", "photo", "bag"]
    assert sum(line.split()[:1] == ["alder"] for line in out) == 2
    assert sum(line.split()[:1] == ["birch"] for line in out) == 2
    assert contents(farm) == before


def test_a_card_of_no_trial_is_said(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """A bag that no trial lists is left out and named; a photo that shows no other is refused."""
    shutil.rmtree(farm / "birch")
    begin_part(farm / "birch", ("B07",))
    capsys.readouterr()
    assert scan(farm, corner(0, tmp_path)) == 0
    said = capsys.readouterr().err
    assert "alder: left out, no bags of this trial: tag 6" in said
    for name in ("alder", "birch"):
        shutil.rmtree(farm / name)
    begin_part(farm / "clay", ("B01",))
    bags = farm / "clay" / "bags.csv"
    bags.write_text(bags.read_text().replace("B01,1,", "B01,77,"))
    assert scan(farm, corner(0, tmp_path)) == 3
    assert "none of its cards is of a trial in this folder (tag 5, tag 6)" in capsys.readouterr().err


def test_photos_that_show_no_bag(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """Without a card, unreadable, without a time: 3 and each reason once; with a good one: 5."""
    wall, text, timeless = (tmp_path / name for name in ("wall.png", "text.jpg", "timeless.jpg"))
    Image.new("RGB", (640, 480), (120, 120, 110)).save(wall)
    text.write_bytes(b"not a photo")
    with Image.open(corner(0, tmp_path)) as image:
        image.save(timeless, quality=95)
    before = contents(farm)
    capsys.readouterr()
    assert scan(farm, wall, text, timeless) == 3
    said = capsys.readouterr().err
    assert "[1/3] wall.png: no card was found in it" in said
    assert "[2/3] text.jpg: is not a readable" in said
    assert said.count("nothing says when it was taken") == 1
    assert "nothing appended; 3 photos not used" in said
    assert contents(farm) == before
    assert scan(farm, wall, corner(0, tmp_path)) == 5
    assert len(rows(farm / "alder" / "photos.csv")) == 1


def test_one_trial_can_not_use_a_photo(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """A trial whose own limit the photo exceeds says so; the other scores its bags: 5."""
    plan = farm / "birch" / "trial.toml"
    text = plan.read_text(encoding="utf-8")
    assert "max_photo_megapixels = 100" in text
    plan.write_text(text.replace("max_photo_megapixels = 100", "max_photo_megapixels = 0.5"))
    capsys.readouterr()
    assert scan(farm, corner(0, tmp_path)) == 5
    assert "birch: corner-d00.png: has 1 megapixels" in capsys.readouterr().err
    assert [row["bag"] for row in rows(farm / "alder" / "scores.csv")] == ["B05"]
    assert not (farm / "birch" / "scores.csv").exists()


def test_an_ended_trial(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """It takes photos from before its end and none after it; with its bags alone such a photo is refused."""
    set_plan(farm / "birch", "ended_at = 2026-03-04T12:00:00-05:00")
    assert scan(farm, corner(0, tmp_path), corner(3, tmp_path)) == 0
    assert len(rows(farm / "alder" / "photos.csv")) == 2
    assert [row["photo"] for row in rows(farm / "birch" / "photos.csv")] == ["corner-d00.png"]
    shutil.rmtree(farm / "alder")
    capsys.readouterr()
    assert scan(farm, corner(3, tmp_path)) == 3
    said = capsys.readouterr().err
    assert "its bags are of birch, which ended 2026-03-04 12:00" in said
    assert "take ended_at out of" in said


def test_a_tag_used_again(farm: Path, tmp_path: Path) -> None:
    """A tag of an ended trial and then of the next: each photo goes to the one that it was of then."""
    set_plan(farm / "birch", "ended_at = 2026-03-04T12:00:00-05:00")
    later = begin_part(farm / "clay", ("B06",))
    bags = later / "bags.csv"
    bags.write_text(bags.read_text().replace("2026-03-02T", "2026-03-05T").replace("B06,", "C01,"))
    assert scan(farm, corner(0, tmp_path), corner(6, tmp_path)) == 0
    assert [row["photo"] for row in rows(farm / "birch" / "photos.csv")] == ["corner-d00.png"]
    assert [(row["photo"], row["bag"]) for row in rows(later / "scores.csv")] == [("corner-d06.png", "C01")]


def test_too_early_for_every_trial(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """A photo from before day 0 of all the bags it shows: 3, and each trial says of which bag."""
    capsys.readouterr()
    assert scan(farm, corner(0, tmp_path), "--taken-at", "2026-03-01T10:00") == 3
    said = capsys.readouterr().err
    assert said.count("before the first bag was inoculated (2026-03-02 06:00)") == 2


def test_one_tag_on_two_bags(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """A tag that two running trials give to different bags: no score under either name, 3, both named."""
    bags = farm / "alder" / "bags.csv"
    bags.write_text(bags.read_text().replace("B05,5,", "B05,6,"))
    before = contents(farm)
    capsys.readouterr()
    assert scan(farm, corner(0, tmp_path)) == 3
    assert "tag 6 is bag B05 of alder and bag B06 of birch" in capsys.readouterr().err
    assert contents(farm) == before


def test_one_bag_in_two_trials(farm: Path, tmp_path: Path) -> None:
    """The same code, tag and day 0 in both is one bag: it is scored in each."""
    begin_part(farm / "clay", ALDER)
    assert scan(farm, corner(0, tmp_path)) == 0
    assert rows(farm / "clay" / "scores.csv") == rows(farm / "alder" / "scores.csv")


@pytest.mark.parametrize("shelf", ["cellar", "attic"])
def test_a_shelf_of_the_farm(farm: Path, tmp_path: Path, shelf: str, capsys: Capture) -> None:
    """--shelf is one of each trial that takes the photo, else 2 and nothing is written."""
    before = contents(farm)
    if shelf == "cellar":
        assert scan(farm, corner(0, tmp_path), "--shelf", shelf) == 0
        assert [row["shelf"] for row in rows(farm / "birch" / "photos.csv")] == ["cellar"]
    else:
        assert scan(farm, corner(0, tmp_path), "--shelf", shelf) == 2
        assert "--shelf 'attic' is no shelf of the trial alder" in capsys.readouterr().err
        assert contents(farm) == before


def test_a_faulty_plan_among_them(farm: Path, tmp_path: Path, capsys: Capture) -> None:
    """A typo in one trial's plan: 2 with file and line, nothing is written in any."""
    set_plan(farm / "birch", "nmae = 1")
    before = contents(farm)
    assert scan(farm, corner(0, tmp_path)) == 2
    assert "birch/trial.toml:1" in capsys.readouterr().err
    assert contents(farm) == before


def test_new_refuses_a_tag_live_in_a_sibling(farm: Path, capsys: Capture) -> None:
    """A new trial in the farm can't put a live tag on another bag; after the sibling's end it can."""
    header, line = PLAN[1].read_text(encoding="utf-8").splitlines()[:2]
    bags = farm / "clay.csv"
    bags.write_text(f"{header}\n{line.replace('B01', 'C01', 1)}\n")
    new = ["new", str(farm / "clay"), "--bags", str(bags), "--zone", "America/New_York"]
    assert main(new) == 2
    assert "tag 1 of bag C01 is in use on bag B01 of the trial 'alder'" in capsys.readouterr().err
    assert not (farm / "clay").exists()
    set_plan(farm / "alder", "ended_at = 2026-03-20T12:00:00-05:00")
    assert main(new) == 0
