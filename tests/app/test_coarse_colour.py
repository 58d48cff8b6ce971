"""Photos that a messenger made small."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from demo_trial import begin
from golden import MESSENGER

from colscan.app.cli.main import main


def test_blocks_of_colour_are_no_patches(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each score says that its colours are coarse; the blocks alarm nobody, the true patches of day 9 do."""
    folder = begin(tmp_path / "hornbeam")
    assert main(["scan", str(folder), *map(str, sorted(MESSENGER.glob("*.jpg"))), "--jobs", "1"]) == 0
    assert "note: all 8 bags - coarse-colour. " in capsys.readouterr().err
    with (folder / "suspects.csv").open(encoding="utf-8-sig", newline="") as file:
        found = {(row["taken_at"][:10], row["bag"], row["kind"]) for row in csv.DictReader(file)}
    assert found == {("2026-03-11", "B05", "green"), ("2026-03-11", "B08", "dark")}
