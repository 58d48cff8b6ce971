"""`colscan map`, and scanning what it has mapped: bags without a card."""

import csv
import shutil
from collections.abc import Sequence
from pathlib import Path

import pytest
from demo_trial import part, plain_shelf
from PIL import Image
from rendered import Rendered, pasted, rendered

from colscan.app import mapping
from colscan.app.batch import shelves
from colscan.app.cli.main import main
from colscan.locate import MappedShelf
from colscan.locate.model import Points
from colscan.photo import read_ref
from colscan.photo.model import ImageRGB
from colscan.trial import load_trial

BAGS = "bag,strain,supplement,supplement_pct,inoculated_at\n"
DAY_0 = "2026-03-02T06:00:00-05:00"
RACK_PX = (0, 200, 1680, 900)
"""The rendered rack without the walls above and below it: left, top, right, bottom."""
CODES = ["B01", "B02", "B03", "B04"]


def begin(folder: Path, codes: list[str]) -> Path:
    """A trial of bags without cards."""
    listed = folder.with_suffix(".csv")
    listed.write_text(BAGS + "".join(f"{code},PO-3,bran,4,{DAY_0}\n" for code in codes), encoding="utf-8")
    assert main(["new", str(folder), "--bags", str(listed)]) == 0
    return folder


def rows(folder: Path, name: str = "scores.csv") -> list[dict[str, str]]:
    """The rows of a ledger file."""
    with (folder / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_from_the_first_look_to_scores(
    plain_first: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Look, accept, scan: each bag is scored by its place, and the score says so."""
    first, later = plain_first, plain_shelf(6, tmp_path / "later.png")
    folder = begin(tmp_path / "rack", CODES)
    assert f"colscan map {folder} PHOTO" in capsys.readouterr().err
    assert main(["scan", str(folder), str(first)]) == 3
    assert "colscan map" in capsys.readouterr().err
    assert main(["map", str(folder), str(first)]) == 0
    told = capsys.readouterr()
    assert told.out.splitlines() == [f"{number}\t-" for number in range(1, 5)]
    assert "--accept" in told.err
    assert not (folder / "shelfmap.toml").exists()
    assert main(["map", str(folder), str(first), "--accept"]) == 0
    told = capsys.readouterr()
    assert told.out.splitlines() == [f"{i}\t{code}" for i, code in enumerate(CODES, 1)]
    assert "replaces" not in told.err
    with Image.open(folder / "overlays" / "map-shelf.jpg") as picture:
        assert picture.width > 1000
    assert main(["scan", str(folder), str(first), str(later), "--jobs", "1"]) == 0
    scores = rows(folder)
    assert sorted(row["bag"] for row in scores) == sorted(CODES * 2)
    assert {row["identified_by"] for row in scores} == {"map"}
    assert all("no-reference" in row["flags"] for row in scores)
    assert all(float(row["coverage_pct"]) <= 2 for row in scores if row["photo"] == "first.png")
    assert main(["check", str(folder)]) == 0
    shutil.rmtree(folder / "cache")
    assert main(["scan", str(folder), str(first)]) == 0
    assert rows(folder) == scores


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--accept"], "shows 4 bags without a card, bags.csv has 3"),
        (["--set", "9=B01"], "no bag 9"),
        (["--set", "1=B01,2=B01"], "B01: named for two places"),
        (["--set", "1=B01,1=B02"], "number 1 is named twice, B01 and B02"),
        (["--set", "1=X"], "'X' is no bag of this trial"),
        (["--set", "1"], "'1' has no equals sign"),
        (["--drop", "one"], "'one' is no number"),
        (["--drop", "9"], "no bag 9"),
        (["--drop", "9" * 5000], "is no number"),
        (["--set", "\N{ARABIC-INDIC DIGIT ONE}=B01"], "is no number"),
        (["--add", "1,2,3"], "'1,2,3' is no box"),
        (["--add", "0,0,10,9000"], "no part of a photo"),
        (["--shelf", "attic", "--accept"], "4 bags"),
        (["--accept", "--set", "1=B02"], "--accept and --set both name the bags"),
    ],
)
def test_what_does_not_fit_is_refused(
    words: list[str],
    said: str,
    three: tuple[Path, Path],
    seen_once: None,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Exit 2 with the reason, and no map."""
    folder, first = three
    capsys.readouterr()
    assert main(["map", str(folder), str(first), *words]) == 2
    assert said in capsys.readouterr().err
    assert not (folder / "shelfmap.toml").exists()


@pytest.fixture(scope="module")
def three(plain_first: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A trial of three bags, and a photo that shows four."""
    return begin(tmp_path_factory.mktemp("three") / "rack", CODES[:3]), plain_first


@pytest.fixture(scope="module")
def _proposed(three: tuple[Path, Path]) -> mapping.Proposed:
    trial = load_trial(three[0])
    day_0 = trial.bags[0].inoculated_at
    ref = read_ref(three[1], max_megapixels=100, zone=trial.zone, not_before=day_0)
    return mapping.propose_map(ref, trial)


@pytest.fixture
def seen_once(_proposed: mapping.Proposed, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is seen on the photo of four bags, without looking at it again."""
    monkeypatch.setattr(mapping, "propose_map", lambda ref, trial: _proposed)


def test_the_example_of_its_help_runs(
    plain_first: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As it stands there, in a folder with that trial and that photo."""
    monkeypatch.chdir(tmp_path)
    begin(Path("hornbeam"), CODES)
    shutil.copy(plain_first, "shelf.jpg")
    assert main(["map", "hornbeam", "shelf.jpg", "--accept"]) == 0


def test_corrected_by_number(three: tuple[Path, Path], tmp_path: Path, capsys) -> None:
    """What is dropped is numbered no more, a box comes last, names go to numbers."""
    folder = shutil.copytree(three[0], tmp_path / "rack")
    assert main(["map", str(folder), str(three[1]), "--drop", "4", "--accept"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 3
    words = ["--drop", "1,2", "--add", "20,20,120,160", "--set", "3=B01,1=B03"]
    assert main(["map", str(folder), str(three[1]), *words]) == 0
    assert capsys.readouterr().out.splitlines() == ["1\tB03", "2\t-", "3\tB01"]
    text = (folder / "shelfmap.toml").read_text(encoding="utf-8")
    assert text.count("B01") == text.count("B03") == 1
    assert "B02" not in text


def test_a_map_is_made_ready_once(
    three: tuple[Path, Path],
    seen_once: None,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Not again for the next photo of a page or a watched folder; one that is replaced, which is said, is."""
    made: list[int] = []
    make = shelves.map_shelf

    def counted(rgb: ImageRGB, places: Sequence[tuple[int, Points]], others: Sequence[Points]) -> MappedShelf:
        made.append(len(places))
        return make(rgb, places, others)

    monkeypatch.setattr(shelves, "map_shelf", counted)
    folder = shutil.copytree(three[0], tmp_path / "rack")
    for named in (["--accept"], ["--set", "1=B02,2=B01,3=B03"]):
        assert main(["map", str(folder), str(three[1]), "--drop", "4", *named]) == 0
        first, again = (shelves.look_of(folder, load_trial(folder)).shelves for _ in range(2))
        assert first == again
    assert made == [3, 3]
    assert "It replaces the map on first.png;" in capsys.readouterr().err


@pytest.fixture(scope="module")
def today(bench: Path) -> Rendered:
    """A later photo of the same shelf; not to be written into."""
    return rendered(bench, "nocard-d04")


@pytest.fixture(scope="module")
def mapped(bench: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial whose first photo is mapped and scanned."""
    folder = begin(tmp_path_factory.mktemp("mapped") / "rack", CODES)
    first = str(part(bench / "dev" / "nocard-d00" / "nocard-d00.jpg", RACK_PX, folder.with_name("first.png")))
    assert main(["map", str(folder), first, "--accept"]) == 0
    assert main(["scan", str(folder), first, "--jobs", "1"]) == 0
    return folder


def scan_made(mapped: Path, made: Rendered, tmp_path: Path) -> list[dict[str, str]]:
    """Rows of a composed photo."""
    folder = shutil.copytree(mapped, tmp_path / "rack")
    photo = tmp_path / "made.jpg"
    Image.fromarray(made.rgb).crop(RACK_PX).save(photo, quality=95)
    assert main(["scan", str(folder), str(photo), "--taken-at", "2026-03-06T09:37:45-05:00"]) == 0
    return [row for row in rows(folder) if row["photo"] == "made.jpg"]


def test_swapped_bags_are_not_scored_under_each_other_s_name(
    today: Rendered, mapped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both rows say place-doubt and no coverage, and who stands there is said."""
    made = pasted(pasted(today, "B01", today, "B03"), "B03", today, "B01")
    found = {row["bag"]: row for row in scan_made(mapped, made, tmp_path)}
    assert {bag for bag, row in found.items() if "place-doubt" in row["flags"]} == {"B01", "B03"}
    assert found["B01"]["coverage_pct"] == found["B03"]["coverage_pct"] == ""
    assert found["B02"]["coverage_pct"] != ""
    assert found["B04"]["coverage_pct"] != ""
    assert "B03 stands where the map has B01: not scored" in capsys.readouterr().err


def test_a_bag_in_another_s_place_is_not_scored(
    bench: Path, today: Rendered, mapped: Path, tmp_path: Path
) -> None:
    """A bag of another shelf stands where B02 stood."""
    other = rendered(bench, "pen-d00")
    found = {row["bag"]: row for row in scan_made(mapped, pasted(today, "B02", other, "B03"), tmp_path)}
    assert "place-doubt" in found["B02"]["flags"]
    assert found["B02"]["coverage_pct"] == ""
    assert all(found[bag]["coverage_pct"] != "" for bag in ("B01", "B03", "B04"))


def test_a_bag_taken_away_has_no_row(
    today: Rendered, mapped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its place shows wall: no row, no other bag's row under its name, and it is asked after."""
    (x0, y0), (x1, y1) = today.outlines_px["B02"].min(0), today.outlines_px["B02"].max(0)
    left, right, top, bottom = int(x0) - 25, int(x1) + 25, int(y0 - (y1 - y0)), int(y1) + 8
    rgb = today.rgb.copy()
    rgb[top:bottom, left:right] = rgb[top - 30 : top, left:right].mean((0, 1))
    made = Rendered(rgb=rgb, outlines_px={}, mm_per_px={}, hidden=today.hidden)
    found = scan_made(mapped, made, tmp_path)
    assert sorted(row["bag"] for row in found) == ["B01", "B03", "B04"]
    assert all(row["coverage_pct"] != "" for row in found)
    assert "no bag in its place: B02" in capsys.readouterr().err
