"""`colscan check` ends with 0 on a good ledger, with 4 and the problems as rows on a bad one."""

import csv
import io
import json
from pathlib import Path

import pytest

from colscan.app.cli.main import main

BAD = "at,scope,name,what,detail\n2026-03-09T10:05:00-04:00,bag,B99,shaken,\nyesterday,room,,moved,\n"


def test_good_ledger(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing on stdout, a line on stderr."""
    assert main(["event", str(trial), "moved", "--room"]) == 0
    capsys.readouterr()
    assert main(["check", str(trial)]) == 0
    out, err = capsys.readouterr()
    assert (out, err) == ("", f"{trial}: no problems\n")


def test_problems_as_a_table(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All problems are listed with file and line, and counted on stderr."""
    (trial / "events.csv").write_text(BAD)
    assert main(["check", str(trial)]) == 4
    out, err = capsys.readouterr()
    assert "events.csv:3  at: 'yesterday' is not a time" in out
    assert "events.csv:2  bag 'B99' is not in the trial" in out
    assert err == f"{trial}: 2 problems\n"


def test_problems_for_programs(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CSV and JSON carry the same rows, and nothing else is on stdout."""
    (trial / "events.csv").write_text(BAD)
    assert main(["check", str(trial), "--format", "csv"]) == 4
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [row["where"] for row in rows] == ["events.csv:3", "events.csv:2"]
    assert main(["check", str(trial), "--format", "json"]) == 4
    assert json.loads(capsys.readouterr().out)["rows"] == rows


def test_no_problems_for_programs(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What a program reads is well formed when there is nothing to list."""
    assert main(["check", str(trial), "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"schema": 1, "rows": []}
    assert main(["check", str(trial), "--format", "csv"]) == 0
    assert capsys.readouterr().out == "where,problem,what_to_do\n"


def test_a_long_table_is_cut(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The first 40 as a table, the others counted; all of them for programs."""
    head, *_ = BAD.splitlines(True)
    (trial / "events.csv").write_text(head + "yesterday,room,,moved,\n" * 265)
    assert main(["check", str(trial)]) == 4
    out, err = capsys.readouterr()
    assert out.count("events.csv:") == 40
    assert err == f"and 225 more; --format csv lists them all\n{trial}: 265 problems\n"
    assert main(["check", str(trial), "--format", "csv"]) == 4
    out, err = capsys.readouterr()
    assert (out.count("events.csv:"), err) == (265, f"{trial}: 265 problems\n")


def test_no_trial(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder that holds no trial ends with 2."""
    assert main(["check", str(tmp_path)]) == 2
    assert "trial.toml" in capsys.readouterr().err


def test_scanned_trial_is_in_order(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What `scan` writes has no problems."""
    assert main(["check", str(scanned)]) == 0, capsys.readouterr().out
