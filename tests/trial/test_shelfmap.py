"""What shelfmap.toml gives back, and what it refuses with file and line."""

import dataclasses
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from colscan.errors import LedgerError, TrialError
from colscan.trial.shelfmap import MAP_FILE, Place, ShelfMap, read_shelfmaps, write_shelfmap

BAGS = ("B01", "B02", "B03")
SQUARE = ((10.0, 20.0), (110.0, 20.0), (110.0, 130.5), (10.0, 130.0))
NORTH = ShelfMap(
    shelf="north",
    photo="IMG 1.jpg",
    photo_sha256="ab" * 32,
    width_px=1680,
    height_px=1260,
    places=(Place(bag="B01", outline_px=SQUARE), Place(bag="B02", outline_px=SQUARE)),
)
GOOD = """\
[[shelf]]
name = "north"
photo = "a.jpg"
photo_sha256 = "ab"
width_px = 1680
height_px = 1260

[[shelf.place]]
bag = "B01"
outline_px = [[1, 2], [3, 2], [3, 4]]

[[shelf.place]]
bag = "B02"
outline_px = [[5, 2], [7, 2], [7, 4]]
"""


def test_without_a_file_there_are_no_maps(tmp_path: Path):
    """A trial with cards alone has none."""
    assert read_shelfmaps(tmp_path, bags=BAGS) == ()


def test_a_map_is_read_as_it_was_written(tmp_path: Path):
    """Coordinates to a tenth of a px."""
    write_shelfmap(tmp_path, NORTH)
    assert read_shelfmaps(tmp_path, bags=BAGS) == (NORTH,)


def test_a_new_map_of_a_shelf_replaces_the_old_one(tmp_path: Path):
    """Other shelves stay, but for a bag that has moved."""
    south = dataclasses.replace(NORTH, shelf="south", places=(Place(bag="B03", outline_px=SQUARE),))
    again = dataclasses.replace(NORTH, photo="b.jpg", places=(Place(bag="B03", outline_px=SQUARE),))
    for one in (NORTH, south, again):
        write_shelfmap(tmp_path, one)
    assert read_shelfmaps(tmp_path, bags=BAGS) == (dataclasses.replace(south, places=()), again)
    assert [path.name for path in tmp_path.iterdir()] == [MAP_FILE]


@given(name=st.text(st.characters(codec="utf-8")), photo=st.text(st.characters(codec="utf-8")))
def test_any_name_comes_back(tmp_path_factory: pytest.TempPathFactory, name: str, photo: str):
    """Quotes, line ends and control characters too."""
    folder = tmp_path_factory.mktemp("trial")
    one = dataclasses.replace(NORTH, shelf=name, photo=photo)
    write_shelfmap(folder, one)
    assert read_shelfmaps(folder, bags=BAGS) == (one,)


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ('bag = "B02"', 'bag = "B04"', 13, "bag 'B04' is no bag of this trial"),
        ('bag = "B02"', 'bag = "B01"', 13, "bag 'B01' stands twice (first on line 9)"),
        ("[[5, 2], [7, 2], [7, 4]]", "[[5, 2], [7, 2]]", 14, "has 2 corners"),
        ("[[5, 2], [7, 2], [7, 4]]", "[[5, 2], [7, 2], [7]]", 14, "is no list of corners"),
        ("[[5, 2], [7, 2], [7, 4]]", "[[5, 2], [7, 2], [7, nan]]", 14, "is no list of corners"),
        ("[[5, 2], [7, 2], [7, 4]]", "[[5, 2], [7, 2], [6, 2]]", 14, "encloses nothing"),
        ("[[5, 2], [7, 2], [7, 4]]", "7", 14, "is no list of corners"),
        ("width_px = 1680", 'width_px = "wide"', 5, "'wide' is no size in px"),
        ("width_px = 1680", "", 1, "width_px is missing"),
        ('photo = "a.jpg"', "photo = 3", 3, "3 is no text"),
        ('photo = "a.jpg"', 'phto = "a.jpg"', 3, "unknown key 'phto'"),
        ('photo = "a.jpg"', "photo = a.jpg", 3, "is not TOML"),
        ("[[shelf]]", "[shelf]", 1, "is not written as a section"),
        ("[[shelf]]", "[kept]\n[[shelf]]", 1, "unknown key 'kept'"),
    ],
)
def test_what_is_wrong_is_refused_with_its_line(tmp_path: Path, old: str, new: str, line: int, said: str):
    """Never guessed, never passed over."""
    text = GOOD.replace(old, new)
    (tmp_path / MAP_FILE).write_text(text)
    with pytest.raises(TrialError) as caught:
        read_shelfmaps(tmp_path, bags=BAGS)
    assert said in str(caught.value)
    assert f"{MAP_FILE}:{line}: " in str(caught.value)


def test_a_broken_file_is_not_written_over(tmp_path: Path):
    """Hand-made mistakes are the grower's to mend."""
    (tmp_path / MAP_FILE).write_text("shelf = [\n")
    with pytest.raises(TrialError):
        write_shelfmap(tmp_path, NORTH)
    assert (tmp_path / MAP_FILE).read_text() == "shelf = [\n"


def test_a_folder_that_is_not_there_is_an_error_of_writing(tmp_path: Path):
    """Nothing torn stays behind."""
    with pytest.raises(LedgerError, match="can't be written"):
        write_shelfmap(tmp_path / "gone", NORTH)


@pytest.mark.parametrize("sha256", ["/../../x", "**", ""])
def test_a_hash_that_is_a_path_is_refused(tmp_path, sha256):
    """By it the mapped photo is looked for under photos/, and nowhere else."""
    write_shelfmap(tmp_path, dataclasses.replace(NORTH, photo_sha256=sha256))
    with pytest.raises(TrialError, match="is no SHA-256"):
        read_shelfmaps(tmp_path, bags=BAGS)
