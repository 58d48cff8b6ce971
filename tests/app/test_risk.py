"""`colscan risk`: tables, rows for programs, several trials, the accepted share."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from hornbeam import at_day, make_bag, make_hornbeam, make_trial, photo, score, suspect, verdict, write_trial

from colscan.app.cli.main import main
from colscan.errors import ExitCode
from colscan.ledger import Ledger

DAYS = (5.0, 12.0, 13.0)


@pytest.fixture
def ended(tmp_path: Path) -> Path:
    """An ended trial: 20 bags of no supplement and of bran 8 % in four runs, 9 of the latter lost."""
    bags, scores, suspects, calls = [], [], [], []
    for i in range(40):
        code, pct = f"B{i:02}", 8.0 * (i >= 20)
        bags.append(make_bag(code, level=pct, heat_run=f"R{i % 4}"))
        scores += [score(code, day, 40.0 if day < 12 else 99.0, spread=1.0) for day in DAYS]
        if i >= 31:
            suspects.append(suspect(code, 5.0))
            calls.append(verdict(code, 6, "contaminated", patch="p1", where="bottom"))
    ledger = Ledger(
        photos=tuple(map(photo, DAYS)), scores=tuple(scores), suspects=tuple(suspects), verdicts=tuple(calls)
    )
    folder = write_trial(tmp_path / "rowan", make_trial(*bags), ledger)
    toml = folder / "trial.toml"
    toml.write_text(f"ended_at = {at_day(30).isoformat()}\n{toml.read_text()}")
    return folder


def test_tables_say_it(ended: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Levels, sentences and sources on stdout; what must be known to read them on stderr."""
    assert main(["risk", str(ended)]) == ExitCode.DONE
    out, err = capsys.readouterr()
    assert "bags lost before full colonization; you accept 20 %\n" in out
    assert "no supplement: 0 of 20 bags lost; the true share may be as high as 19 %, within your limit" in out
    assert "Highest level still acceptable: no supplement." in out
    assert "side of the bag  bottom" in out
    assert max(map(len, out.splitlines())) <= 110
    assert "correlation" in err
    assert "only the front was seen" in err
    assert "safe" not in out + err


def test_rows_for_programs(ended: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CSV and JSON hold levels, series and sources, the same in both."""
    assert main(["risk", str(ended), "--format", "csv"]) == ExitCode.DONE
    rows = [*csv.DictReader(capsys.readouterr().out.splitlines())]
    assert [row["what"] for row in rows[:3]] == ["level", "level", "series"]
    assert [row["lost"] for row in rows[:2]] == ["0", "9"]
    assert [row["acceptable"] for row in rows[:2]] == ["yes", "no"]
    assert rows[2]["highest_pct"] == "0.0"
    assert {row["source_kind"] for row in rows if row["what"] == "source"} == {"heat run", "side of the bag"}
    assert main(["risk", str(ended), "--format", "json"]) == ExitCode.DONE
    found = json.loads(capsys.readouterr().out)["rows"]
    as_text = [{key: "" if value is None else str(value) for key, value in row.items()} for row in found]
    assert as_text == rows


def test_accepted_share(ended: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Stricter: too few bags to say. Nonsense is refused."""
    assert main(["risk", str(ended), "--accept", "10"]) == ExitCode.DONE
    assert "not enough bags to say" in capsys.readouterr().out
    assert main(["risk", str(ended), "--accept", "100"]) == ExitCode.TRIAL
    assert "accepted risk of 100 %" in capsys.readouterr().err


def test_a_running_trial_with_one_that_ended(
    ended: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Several trials together: interim while one goes on; both are named."""
    other = write_trial(tmp_path / "hornbeam", *make_hornbeam())
    assert main(["risk", str(ended), str(other)]) == ExitCode.DONE
    out, err = capsys.readouterr()
    assert "hornbeam (1), hornbeam (2): bags lost" in out
    assert "(interim)" in out
    assert "no p-value, the trial goes on" in out
    assert "results are interim" in err


def test_a_trial_given_twice(ended: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Refused: its bags would count twice."""
    assert main(["risk", str(ended), f"{ended}/../rowan"]) == ExitCode.TRIAL
    assert "given twice" in capsys.readouterr().err


def test_no_bag_carries_no_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Blanks alone: exit 6, and what to do."""
    folder = write_trial(tmp_path / "blanks", make_trial(make_bag("B1", role="blank")))
    assert main(["risk", str(folder)]) == ExitCode.ANALYSIS
    assert "bags.csv" in capsys.readouterr().err
