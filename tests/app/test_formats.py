"""What commands print for programs: the same keys in CSV and JSON, numbers as numbers, units in names."""

from __future__ import annotations

import csv
import io
import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from colscan.app.cli.main import main

UNITS = ("_pct", "_days", "_g", "_points", "_per_day", "_low", "_high", "_kg")
WITHOUT_UNIT = {
    "segment", "suspects", "pairs", "bags", "concordance", "precision", "accuracy", "day", "heat_runs",
    "came", "full", "lost", "running", "gone", "rate_ratio", "rate_bags", "p", "p_holm", "comparisons",
    "labellings", "seed", "spawned", "followed", "clean", "front_only", "clusters", "count_as",
    "more_bags", "trend_z",
    "trend_p", "expected", "correlation", "counted", "harvested", "spent", "nothing", "not_yet", "left",
    "flushes", "efficiency_bags", "pins_bags", "first_harvest_bags", "days_sooner", "degree_days_sooner",
    "losses_allowed", "smallest_p", "difference_sd", "value",
}  # fmt: skip
"""Counts, chances and the like, and those whose unit stands elsewhere in their name."""
PLAN = "--strain PO-3 --level 0 --level 8 --replicates 6"
COMMANDS = [
    "status {trial}", "history {trial} B04", "compare {trial}", "risk {trial}", "yield {trial}",
    "yield {trial} --bags", "agree {trial}", "check {trial}", f"plan other {PLAN}",
    "recipe --main 'pellets, 2 kg, moisture 7%' --water '1 kg'",
]  # fmt: skip


def _printed(command: str, output_format: str, capsys: pytest.CaptureFixture[str]) -> str:
    assert main([*shlex.split(command), "--format", output_format]) in (0, 4)
    return capsys.readouterr().out


@pytest.mark.parametrize("command", COMMANDS)
def test_what_programs_read(
    scanned: Path, command: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each row has all keys, in plain letters; numbers say their unit, and what is yes or no says that."""
    monkeypatch.chdir(scanned.parent)
    assert main(["harvest", str(scanned), "B04", "1", "500", "--at", "2026-04-20"]) == 0
    with (scanned / "estimates.csv").open("a", encoding="utf-8") as file:
        file.write("2026-03-09T10:05:00-04:00,B04,00000000,5,,no\n")  # for check: no such photo
    capsys.readouterr()
    command = command.format(trial=scanned.name)
    rows: list[dict[str, Any]] = json.loads(_printed(command, "json", capsys))["rows"]
    listed = list(csv.DictReader(io.StringIO(_printed(command, "csv", capsys))))
    assert rows
    assert [list(row) for row in rows] == [list(row) for row in listed]
    for row in rows:
        assert [key for key in row if not re.fullmatch("[a-z][a-z0-9_]*", key)] == []
        numbers = {key for key, value in row.items() if isinstance(value, int | float)}
        assert {
            key for key in numbers if not key.startswith("g_per_") and not key.endswith(UNITS)
        } <= WITHOUT_UNIT
        written = [value for value in row.values() if isinstance(value, str)]
        assert [text for text in written if re.fullmatch(r"[-+]?\d+(\.\d+)?|true|false", text)] == []
