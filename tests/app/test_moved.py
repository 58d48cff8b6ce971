"""A bag on another shelf keeps its history."""

import csv
from pathlib import Path

import pytest
from demo_trial import begin, corner

from colscan.app.cli.main import main


def rows(trial: Path, table: str) -> list[dict[str, str]]:
    """The rows of a table without the time they were written."""
    with (trial / table).open(newline="", encoding="utf-8") as file:
        return [{k: v for k, v in row.items() if k != "scanned_at"} for row in csv.DictReader(file)]


def scan(trial: Path, day: int, *arguments: str) -> None:
    """Scan a day's photo of B05 and B06."""
    assert main(["scan", str(trial), str(corner(day, trial.parent)), *arguments, "--jobs", "1"]) == 0


@pytest.fixture
def two_shelves(trial: Path) -> Path:
    """A trial with an attic beside the cellar of its bags."""
    with (trial / "trial.toml").open("a", encoding="utf-8") as plan:
        plan.write('\n[[shelf]]\nname = "attic"\n')
    return trial


def test_a_bag_keeps_its_history_by_its_card(two_shelves: Path) -> None:
    """Photographed on another shelf it is scored from its own first photo, as if it had not moved."""
    stayed = begin(two_shelves.parent / "stayed")
    scan(two_shelves, 0, "--shelf", "cellar")
    scan(two_shelves, 6, "--shelf", "attic")
    for day in (0, 6):
        scan(stayed, day)
    assert [row["shelf"] for row in rows(two_shelves, "photos.csv")] == ["cellar", "attic"]
    assert rows(two_shelves, "scores.csv") == rows(stayed, "scores.csv")
    assert not any("no-baseline" in row["flags"] for row in rows(two_shelves, "scores.csv"))


def test_a_move_that_is_recorded(two_shelves: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It begins no segment; what happens to the old shelf then is not the bag's, what to the new one is."""
    event = ["event", str(two_shelves)]
    scan(two_shelves, 0)
    assert main([*event, "moved", "--bag", "B05", "--at", "2026-03-03", "--detail", "attic"]) == 0
    assert main([*event, "shaken", "--shelf", "cellar", "--at", "2026-03-04"]) == 0
    scan(two_shelves, 3)
    assert main([*event, "turned", "--shelf", "attic", "--at", "2026-03-06"]) == 0
    scan(two_shelves, 6)
    segments = {(row["bag"], row["photo"][8:10]): row["segment"] for row in rows(two_shelves, "scores.csv")}
    assert [segments["B05", day] for day in ("00", "03", "06")] == ["0", "0", "1"]
    assert [segments["B06", day] for day in ("00", "03", "06")] == ["0", "1", "1"]
    # B05 stands in the attic and B06 in the cellar: the photo is of no one shelf.
    assert [row["shelf"] for row in rows(two_shelves, "photos.csv")] == ["cellar", "", ""]
    assert main(["check", str(two_shelves)]) == 0
    capsys.readouterr()
    assert main(["history", str(two_shelves), "B05"]) == 0
    told = capsys.readouterr().out
    assert "moved" in told
    assert "turned" in told
    assert "shaken" not in told
