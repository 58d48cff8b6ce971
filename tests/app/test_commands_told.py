"""Commands that are told to a user can be typed as they stand, whatever the trial's folder is called."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from demo_trial import plain_shelf
from hornbeam import make_bag, make_hornbeam, make_trial, write_trial
from pages import browser, look

from colscan.app.cli.main import main

FOLDER = "my trial"
TYPED = "'my trial'"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def _no_photos(folder: Path) -> None:
    write_trial(folder, make_hornbeam()[0])


def _all(folder: Path) -> None:
    write_trial(folder, *make_hornbeam())


def _broken(folder: Path) -> None:
    _all(folder)
    (folder / "events.csv").write_text("at,scope,name,what,detail\nnoon,room,,pins,\n", "utf-8")


@pytest.mark.parametrize(
    ("begin", "words", "command"),
    [
        (_no_photos, ["status", FOLDER], "colscan scan {} PHOTO..."),
        (_all, ["status", FOLDER], "colscan verdict {} PO3-3 contaminated|harmless|unsure"),
        (_no_photos, ["rescan", FOLDER], "colscan scan {} PHOTO..."),
        (_no_photos, ["history", FOLDER, "PO3-1"], "colscan scan {} PHOTO..."),
        (_no_photos, ["yield", FOLDER], "colscan harvest {} BAG 1 GRAMS"),
        (_no_photos, ["chart", FOLDER], "colscan scan {} PHOTO..."),
        (_no_photos, ["chart", FOLDER, "-k", "yield"], "colscan harvest {} BAG FLUSH GRAMS"),
        (_no_photos, ["verdict", FOLDER, "PO3-1", "withdrawn"], "colscan history {} PO3-1`"),
        (_broken, ["status", FOLDER], "colscan check {}`"),
        (Path.mkdir, ["status", FOLDER], "colscan new {}\n"),
        (None, ["new", FOLDER], "colscan scan {} PHOTO\n"),
    ],
)
def test_a_folder_with_a_blank(
    begin: Callable[[Path], None] | None,
    words: list[str],
    command: str,
    here: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """It stands in quotes in what to do next, and in the hints of errors."""
    if begin is not None:
        begin(here / FOLDER)
    main(words)
    assert command.format(TYPED) in capsys.readouterr().err


def test_a_code_with_a_blank(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is quoted as a folder is."""
    write_trial(here / FOLDER, make_trial(make_bag("B 1")))
    assert main(["verdict", FOLDER, "B 1", "withdrawn"]) == 2
    assert f"`colscan history {TYPED} 'B 1'` shows" in capsys.readouterr().err


def test_a_shelf_to_map(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Also where a photo is refused."""
    write_trial(here / FOLDER, make_trial(make_bag("B1")))
    assert main(["scan", FOLDER, str(plain_shelf(0, here / "shelf.png")), "--jobs", "1"]) == 3
    assert f"colscan map {TYPED} PHOTO" in capsys.readouterr().err


def test_on_the_pages(here: Path) -> None:
    """The trial's page and that of the map, with a shelf to name."""
    trial, ledger = make_hornbeam()
    shelves = ("lower shelf", "upper shelf")
    bags = [replace(bag, shelf=shelves[number % 2]) for number, bag in enumerate(trial.bags)]
    page = browser(write_trial(here / FOLDER, make_trial(*bags), ledger))
    assert f"<code>colscan risk {TYPED}</code>" in unescape(look(page, "/trial"))
    assert f"<code>colscan map {TYPED} PHOTO --shelf 'lower shelf'</code>" in unescape(look(page, "/map"))


def test_in_the_folder_itself(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A page that is served from within the folder has a full stop for it."""
    monkeypatch.chdir(write_trial(here / "hornbeam", *make_hornbeam()))
    assert "<code>colscan yield .</code>" in look(browser(Path()), "/trial")
