"""`colscan cards`: the file, where it goes, and what it doesn't show."""

from __future__ import annotations

import re
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


def text_of(path: Path) -> str:
    """All text of a PDF."""
    return " ".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(path.read_bytes()))


def test_pdf_in_the_trials_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The path on stdout; on stderr what has no card, what can't be printed, and how to print."""
    before = {path.name for path in folder.iterdir()}
    assert main(["cards", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert out == "hornbeam/cards.pdf\n"
    assert err.splitlines() == [
        "No card for 平-3: bags.csv has no tag for them.",
        "The font lacks 平: hollow squares stand for them.",
        "The cards are in hornbeam/cards.pdf, for Letter paper. Print at actual size, matt.",
        "For the work before and after: --mixing (what to weigh), --shelf-plan (what stands where).",
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


def test_mixing_sheet(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beside the cards; what it lacks without a recipe, letters it lacks, and whom to keep it from."""
    assert main(["cards", str(folder), "--mixing", "--blind"]) == 0
    out, err = capsys.readouterr()
    assert out == "hornbeam/mixing.pdf\n"
    assert err.splitlines() == [
        "Without [recipe] in trial.toml the mixing sheet leaves the weights blank.",
        "The font lacks 平: hollow squares stand for them.",
        "The mixing sheet is in hornbeam/mixing.pdf, for Letter paper. It shows the treatments: keep it from"
        " who judges the bags.",
    ]
    assert "bran 4 %" in text_of(folder / "mixing.pdf")
    assert not (folder / "cards.pdf").exists()


def test_mixing_sheet_by_the_trial_s_recipe(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """[recipe] in trial.toml gives the weights: 4 % of 1 kg of pellets is 40 g, for three bags 120 g."""
    with (folder / "trial.toml").open("a", encoding="utf-8") as file:
        file.write(
            '\n[recipe]\nmain = ["pellets, 1 kg"]\nsupplement = ["bran, moisture 12%"]\nwater = "1.5 l"\n'
        )
    assert main(["cards", str(folder), "--mixing"]) == 0
    assert "[recipe]" not in capsys.readouterr().err
    assert re.search(r"bran\s+40.0 g = 1.41 oz\s+120.0 g = 4.23 oz", text_of(folder / "mixing.pdf"))


def test_shelf_plan(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Lying paper; blind it shows the bags alone."""
    assert main(["cards", str(folder), "--shelf-plan", "--paper", "a4", "--blind"]) == 0
    out, err = capsys.readouterr()
    assert out == "hornbeam/shelf-plan.pdf\n"
    assert err.splitlines()[-1] == "The shelf plan is in hornbeam/shelf-plan.pdf, for A4 paper, lying."
    assert size_mm(folder / "shelf-plan.pdf") == pytest.approx((297.0, 210.0), abs=0.1)
    text = text_of(folder / "shelf-plan.pdf")
    assert "B01, B02" in text
    assert "bran" not in text


def test_one_sheet_at_a_time(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two sheets asked for at once: 2, and nothing written."""
    assert main(["cards", str(folder), "--mixing", "--practice"]) == ExitCode.TRIAL
    assert "--mixing and --practice can't both be given" in capsys.readouterr().err
    assert not list(folder.glob("*.pdf"))


def test_output_that_cant_be(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No such folder, or one in the file's place: 2, and nothing is left behind."""
    assert main(["cards", str(folder), "-o", "nowhere/cards.pdf"]) == ExitCode.TRIAL
    assert "there is no folder nowhere" in capsys.readouterr().err
    for given in ("hornbeam", ".", "/", ""):
        assert main(["cards", str(folder), "-o", given]) == ExitCode.TRIAL
        instead = Path(given) / "cards.pdf"
        said = f"--output {Path(given)} is a folder.\n  Give the path of a file, like {instead}."
        assert said in capsys.readouterr().err
    assert [path.name for path in Path().iterdir()] == ["hornbeam"]


def test_a_folder_that_takes_nothing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder where the file goes without --output: 4."""
    (folder / "cards.pdf").mkdir()
    assert main(["cards", str(folder)]) == ExitCode.LEDGER
    assert "can't be written" in capsys.readouterr().err
