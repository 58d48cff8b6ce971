"""`colscan cards`: the file, where it goes, and what it doesn't show."""

from __future__ import annotations

from pathlib import Path

import pypdfium2
import pytest
from hornbeam import make_bag, make_trial, write_trial

from colscan.app.cli.main import main
from colscan.errors import ExitCode


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A trial of two bags with cards and one without, from the folder above it."""
    monkeypatch.chdir(tmp_path)
    bags = (make_bag("B01", tag=1), make_bag("B02", tag=2), make_bag("平-3"))
    write_trial(tmp_path / "hornbeam", make_trial(*bags))
    return Path("hornbeam")


def size_mm(path: Path) -> tuple[float, float]:
    """Width and height of a PDF's first page."""
    width, height = pypdfium2.PdfDocument(path.read_bytes())[0].get_size()
    return width / 72 * 25.4, height / 72 * 25.4


def test_pdf_in_the_trials_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The path on stdout; on stderr what has no card, what can't be printed, and how to print."""
    before = {path.name for path in folder.iterdir()}
    assert main(["cards", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert out == "hornbeam/cards.pdf\n"
    assert err.splitlines() == [
        "No card for 平-3: bags.csv has no tag for them.",
        "The font lacks 平: printed as hollow squares.",
        "The cards are in hornbeam/cards.pdf, for Letter paper. Print at actual size, matt.",
    ]
    assert {path.name for path in folder.iterdir()} - before == {"cards.pdf"}
    assert size_mm(folder / "cards.pdf") == pytest.approx((215.9, 279.4), abs=0.1)


def test_a4_blind_elsewhere(folder: Path) -> None:
    """The other paper, another path; blind cards differ from open ones."""
    assert main(["cards", str(folder), "--paper", "a4", "-o", "open.pdf"]) == 0
    assert main(["cards", str(folder), "--paper", "a4", "--blind", "-o", "blind.pdf"]) == 0
    assert size_mm(Path("blind.pdf")) == pytest.approx((210.0, 297.0), abs=0.1)
    assert Path("blind.pdf").read_bytes() != Path("open.pdf").read_bytes()
    assert not (folder / "cards.pdf").exists()


def test_practice_sheet(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two pages of faces and one of answers, beside the cards."""
    assert main(["cards", str(folder), "--practice"]) == 0
    out, err = capsys.readouterr()
    assert out == "hornbeam/practice.pdf\n"
    assert err == "The practice sheet and its answers are in hornbeam/practice.pdf, for Letter paper.\n"
    assert len(pypdfium2.PdfDocument((folder / "practice.pdf").read_bytes())) == 3
    assert not (folder / "cards.pdf").exists()


def test_output_that_cant_be(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No such folder: 2. A folder in the file's place: 4; nothing is left behind."""
    assert main(["cards", str(folder), "-o", "nowhere/cards.pdf"]) == ExitCode.TRIAL
    assert "there is no folder nowhere" in capsys.readouterr().err
    Path("taken.pdf").mkdir()
    assert main(["cards", str(folder), "-o", "taken.pdf"]) == ExitCode.LEDGER
    assert "can't be written" in capsys.readouterr().err
    assert sorted(path.name for path in Path().iterdir()) == ["hornbeam", "taken.pdf"]
