"""`colscan compare`: sentences and tables for eyes, rows for programs."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hornbeam import make_bag, make_trial, photo, score, write_trial
from simulate import Design, simulate

from colscan.app.cli.compare import COLUMNS
from colscan.app.cli.main import main
from colscan.ledger import Ledger
from colscan.trial.model import Strain
from colscan.trial.writing import format_plan


@pytest.fixture(scope="module")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial of 3 levels in two strains that has ended."""
    strains = ("PO-3", "PE-1")
    made = simulate(
        Design(levels=(0.0, 4.0, 8.0), rate_ratios=(1.0, 1.2, 1.4), risks=(0.0, 0.1, 0.2), strains=strains), 4
    )
    trial = replace(made.trial, strains=tuple(Strain(code=code) for code in strains))
    folder = write_trial(tmp_path_factory.mktemp("simulated") / "beech", trial, made.ledger)
    (folder / "trial.toml").write_text(format_plan(trial, example=False), encoding="utf-8")
    return folder


def test_the_answer_comes_first(simulated: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sentences, what became of the bags, the comparisons, then the method; all within 110 columns."""
    assert main(["compare", str(simulated)]) == 0
    said = capsys.readouterr()
    assert said.out.startswith("- By day 25, of 16 bags spawned without supplement:")
    parts = said.out.split("\n\n")
    assert len(parts) == 4
    assert "Over all strains, bran 8 % was half-colonized" in parts[0].replace("\n  ", " ")
    assert "full by day" in " ".join(parts[1].split()[:40])
    assert "times as fast" in parts[2]
    assert "seed 20260302" in parts[3].replace("\n", " ")
    assert max(map(len, said.out.splitlines())) <= 110
    assert said.err == ""


def test_treatments_that_were_counted_to_other_days(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each row names the day that its strain's levels have all come to; not the latest of all."""
    bags = [
        make_bag(f"{strain}-{level}", strain=strain, level=level)
        for strain in ("PO-3", "PE-1")
        for level in (0.0, 4.0)
    ]
    seen = {"PO-3": (0, 5, 10), "PE-1": (0, 5, 10, 15)}
    scores = tuple(score(bag.bag, day, 6.0 * day) for bag in bags for day in seen[bag.strain])
    ledger = Ledger(scores=scores, photos=tuple(map(photo, seen["PE-1"])))
    folder = write_trial(tmp_path / "hornbeam", make_trial(*bags), ledger)
    assert main(["compare", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "\nBy the day named, and the day by which half of all bags" in said
    for row in ("PO-3 +none +10 +1 ", "PE-1 +none +15 +1 "):
        assert re.search(f"^{row}", said, re.MULTILINE)


def test_twice_the_same(simulated: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing drawn changes from run to run."""
    outputs = []
    for _ in range(2):
        assert main(["compare", str(simulated), "--format", "csv"]) == 0
        outputs.append(capsys.readouterr().out)
    assert outputs[0] == outputs[1]


def test_rows_for_programs(simulated: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CSV and JSON have the same rows of the same columns; infinite ends are empty; counts add up."""
    assert main(["compare", str(simulated), "--format", "csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert tuple(rows[0]) == COLUMNS
    assert [row["row"] for row in rows if row["row"] in ("level", "trend")] == ["level", "level", "trend"] * 3
    assert "inf" not in {value for row in rows for value in row.values()}
    for row in (row for row in rows if row["row"] == "day"):
        assert sum(int(row[name]) for name in ("full", "lost", "running", "gone")) == int(row["bags"])
    contrast = next(row for row in rows if row["row"] == "level")
    assert (contrast["interim"], contrast["bags"], contrast["heat_runs"]) == ("no", "32", "2")
    assert float(contrast["p"]) <= float(contrast["p_holm"]) <= 1
    assert main(["compare", str(simulated), "--format", "json"]) == 0
    records = json.loads(capsys.readouterr().out)["rows"]
    assert len(records) == len(rows)
    assert set(records[0]) == set(COLUMNS)


def test_control_and_milestone(simulated: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The words of the options reach the answer."""
    assert main(["compare", str(simulated), "--control", "bran 4 %", "--milestone", "full"]) == 0
    assert "Held against bran 4 %, to full" in capsys.readouterr().out


def test_a_control_that_there_is_not(simulated: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, naming those there are."""
    assert main(["compare", str(simulated), "--control", "oats 4 %"]) == 2
    assert "none, bran 4 %, bran 8 %" in capsys.readouterr().err


def test_before_the_first_photo(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 6: nothing to compare, and what to do."""
    assert main(["compare", str(trial)]) == 6
    assert "colscan scan" in capsys.readouterr().err


def test_the_demo_has_too_few_bags(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One bag of each: an answer, no error, and no p."""
    assert main(["compare", str(scanned)]) == 0
    said = capsys.readouterr().out
    assert "the bags tell nothing of how levels differ" in " ".join(said.split())
    assert "p =" not in said
