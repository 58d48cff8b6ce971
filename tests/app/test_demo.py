"""`colscan demo`: from nothing to a chart and a status table."""

import csv
import io
import os
import shutil
from collections import defaultdict
from pathlib import Path
from statistics import fmean

import pytest
from demo_trial import contents
from PIL import Image

from colscan.app.cli.main import main

TRUTH = Path(__file__).parent.parent / "fixtures" / "hornbeam-truth.csv"


def rows(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that the demo made."""
    folder = tmp_path_factory.mktemp("demo") / "hornbeam"
    before = os.times()
    assert main(["demo", str(folder)]) == 0
    # The processor's time, its processes' with it: other tests run beside this one.
    assert sum(os.times()[:4]) - sum(before[:4]) < 30
    return folder


def test_it_makes_what_it_says(ran: Path) -> None:
    """The ledger, both charts and a drawn picture of each photo are there and open."""
    assert len(rows(ran / "photos.csv")) == 6
    assert len(rows(ran / "scores.csv")) == 48
    drawn = sorted((ran / "overlays").iterdir())
    assert len(drawn) == 6
    for path in (ran / "chart.png", *drawn):
        with Image.open(path) as image:
            assert image.width >= 1000
    assert "<svg" in (ran / "chart.svg").read_text(encoding="utf-8")
    assert main(["check", str(ran)]) == 0


def test_the_bundled_scores_hold_against_truth(ran: Path) -> None:
    """Over the bundled photos coverage errs by 10 points at most in the mean, and no bag is lost.

    Truth: the renderer's own maps (fixtures/SOURCES.md). Bags whose face carries a rendered patch count too.
    """
    truth = {(row["photo"], row["bag"]): float(row["coverage_pct"]) for row in rows(TRUTH)}
    scores = {(row["photo"], row["bag"]): float(row["coverage_pct"]) for row in rows(ran / "scores.csv")}
    assert scores.keys() == truth.keys()
    errors: dict[str, list[float]] = defaultdict(list)
    for key, got in scores.items():
        errors[key[0]].append(abs(got - truth[key]))
    assert fmean(error for photo in errors.values() for error in photo) <= 10
    assert fmean(errors["hornbeam-d00.jpg"]) <= 1


def test_the_bundled_estimates_are_the_truth(ran: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """They name the bundled photos and say what these were rendered with, and `agree` runs on them."""
    names = {row["photo_sha256"][:8]: row["photo"] for row in rows(ran / "photos.csv")}
    said = {
        (names[row["photo_sha256"]], row["bag"]): row["coverage_pct"] for row in rows(ran / "estimates.csv")
    }
    assert said == {(row["photo"], row["bag"]): row["coverage_pct"] for row in rows(TRUTH)}
    capsys.readouterr()
    assert main(["agree", str(ran), "--format", "csv"]) == 0
    whole = next(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert (whole["pairs"], whole["bags"]) == ("48", "8")
    assert float(whole["mean_absolute_points"]) <= 10


def test_a_second_run_adds_nothing(ran: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Run again it shows the same and adds nothing."""
    before = contents(ran)
    assert main(["demo", str(ran)]) == 0
    assert contents(ran) == before
    said = capsys.readouterr()
    assert "nothing appended; 6 photos passed over" in said.err
    assert "Where to look next" in said.err
    assert "what to do" in said.out


def test_it_finishes_what_was_left(ran: Path, tmp_path: Path) -> None:
    """Stopped before its last photo it goes on where it was."""
    folder = Path(shutil.copytree(ran, tmp_path / "hornbeam"))
    marks = (folder / "photos.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (folder / "photos.csv").write_text("".join(marks[:6]), encoding="utf-8")
    assert main(["demo", str(folder)]) == 0
    assert len(rows(folder / "scores.csv")) == 48
    assert main(["check", str(folder)]) == 0


def test_it_leaves_other_folders_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder with other things, or with another trial, is not touched: 2."""
    (tmp_path / "other.txt").write_text("mine")
    assert main(["demo", str(tmp_path)]) == 2
    assert "holds other things" in capsys.readouterr().err
    assert main(["new", str(tmp_path / "own"), "--zone", "UTC"]) == 0
    before = contents(tmp_path)
    assert main(["demo", str(tmp_path / "own")]) == 2
    assert "holds another trial" in capsys.readouterr().err
    assert contents(tmp_path) == before
