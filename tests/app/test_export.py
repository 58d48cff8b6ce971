"""`colscan export`: tables that can be read back, a codebook for every column, folders left alone."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import pytest
from demo_trial import begin
from hornbeam import make_hornbeam, write_trial

from colscan import __version__
from colscan.app.cli.main import main
from colscan.app.export.rows import CodebookRow, LongScoreRow, OutcomeRow
from colscan.errors import ExitCode
from colscan.ledger import read_ledger
from colscan.tables import parse_table
from colscan.trial import find_trials
from colscan.trial.siblings import find_live_tags


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The made-up trial on disk."""
    return write_trial(tmp_path / "hornbeam", *make_hornbeam())


def test_tables_hold_what_the_ledger_has(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A row a score with its bag's level and age, a row a bag's outcome; read back by their declarations."""
    out = tmp_path / "data"
    assert main(["export", str(folder), "-o", str(out)]) == 0
    named = {Path(line).name for line in capsys.readouterr().out.splitlines()}
    assert named == {path.name for path in out.iterdir()}
    scores = parse_table((out / "scores.csv").read_bytes(), LongScoreRow, source="scores.csv")
    assert scores.problems == ()
    assert len(scores.rows) == len(read_ledger(folder).scores)
    shaken = [row for row in scores.rows if row.bag == "HE2-2"]
    assert [(row.day, row.segment, row.supplement_pct) for row in shaken][-1] == (15.125, 1, 4.0)
    outcomes = parse_table((out / "outcomes.csv").read_bytes(), OutcomeRow, source="outcomes.csv")
    lost = {row.bag: (row.lost_after_days, row.lost_by_days) for row in outcomes.rows if row.lost_by_days}
    assert lost["PE1-3"] == (6.125, 9.125)
    assert len(outcomes.rows) == 8


def test_the_codebook_names_every_column(folder: Path, tmp_path: Path) -> None:
    """Each column of each file stands in it once, with what it means."""
    out = tmp_path / "data"
    assert main(["export", str(folder), "-o", str(out)]) == 0
    book = parse_table((out / "codebook.csv").read_bytes(), CodebookRow, source="codebook.csv").rows
    assert all(row.meaning for row in book)
    for path in out.glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as file:
            header = next(csv.reader(file))
        assert [row.name for row in book if row.file == path.name] == header


def test_an_export_is_no_trial(tmp_path: Path) -> None:
    """Beside the trials of a farm it is none of them and holds no card; the plan goes with it."""
    folder, out = begin(tmp_path / "hornbeam"), tmp_path / "data"
    assert main(["export", str(folder), "-o", str(out)]) == 0
    assert (out / "plan.toml").read_bytes() == (folder / "trial.toml").read_bytes()
    assert find_trials(tmp_path) == (folder,)
    assert {live.folder for live in find_live_tags(tmp_path / "new")} == {folder}


def test_methods_can_be_cited(folder: Path, tmp_path: Path) -> None:
    """The paragraph names versions, method, dates, and the bytes that it is of."""
    out = tmp_path / "data"
    assert main(["export", str(folder), "-o", str(out)]) == 0
    said = (out / "methods.txt").read_text("utf-8")
    for part in (
        f"colscan {__version__}",
        "test-1",
        "numpy",
        "2026-03-02 to 2026-03-17",
        "98 %",
        "or from the latest photo alone",
        "smoothing spline",
        "doi:10.1111/j.2517-6161.1978.tb01050.x",
        "logistic, modified Gompertz or Richards",
        "scores.csv",
    ):
        assert part in said.replace("\n", " ")


def test_methods_of_yields_come_with_harvests(folder: Path, tmp_path: Path) -> None:
    """How yields are counted is said once there are any."""
    out, said = tmp_path / "data", "fresh grams per bag spawned"
    assert main(["export", str(folder), "-o", str(out)]) == 0
    assert said not in (out / "methods.txt").read_text("utf-8").replace("\n", " ")
    assert main(["harvest", str(folder), "PO3-1", "1", "410", "--at", "2026-03-20T10:00"]) == 0
    assert main(["export", str(folder), "-o", str(out)]) == 0
    assert said in (out / "methods.txt").read_text("utf-8").replace("\n", " ")


def test_other_files_are_left_alone(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An earlier export is replaced; a trial, other files or a list of bags alone aren't."""
    out = tmp_path / "data"
    assert main(["export", str(folder), "-o", str(out)]) == 0
    assert main(["export", str(folder), "-o", str(out)]) == 0
    (out / "mine.txt").write_text("kept")
    capsys.readouterr()
    assert main(["export", str(folder), "-o", str(out)]) == ExitCode.TRIAL
    assert "holds other files (mine.txt)" in capsys.readouterr().err
    before = {path: path.read_bytes() for path in folder.iterdir()}
    assert main(["export", str(folder), "-o", str(folder)]) == ExitCode.TRIAL
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    lists = tmp_path / "lists"
    lists.mkdir()
    (lists / "bags.csv").write_text("mine")
    assert main(["export", str(folder), "-o", str(lists)]) == ExitCode.TRIAL
    assert (lists / "bags.csv").read_text() == "mine"
    assert main(["export", str(folder), "-o", str(lists / "bags.csv")]) == ExitCode.TRIAL
    assert "is a file" in capsys.readouterr().err


def test_a_full_disk(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit 4 (a disk without space is simulated)."""

    def fail(descriptor: int, data: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "write", fail)
    assert main(["export", str(folder), "-o", str(tmp_path / "data")]) == ExitCode.LEDGER
