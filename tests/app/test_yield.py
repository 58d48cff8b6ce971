"""`colscan yield`: levels and bags, equal flush or equal days, prices, and a trial without harvest."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest
from hornbeam import at_day, event, make_bag, make_trial, verdict, write_trial

from colscan.app.cli.main import main
from colscan.ledger import Ledger
from colscan.ledger.columns import HarvestRow

BAGS = tuple(
    make_bag(f"{name}{i}", level=level, heat_run="H1", dry_g=1000.0)
    for name, level in (("A", 0.0), ("B", 4.0))
    for i in range(2)
)


def _harvest(bag: str, day: float, flush: int, fresh_g: float) -> HarvestRow:
    return HarvestRow(at=at_day(day), bag=bag, flush=flush, fresh_g=fresh_g, saleable_g=fresh_g - 10)


HARVESTS = (
    _harvest("A0", 30, 1, 300.0), _harvest("A1", 32, 1, 400.0), _harvest("A0", 45, 2, 120.0),
    _harvest("B0", 33, 1, 500.0),
)  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Four bags with dry matter, one of them lost, and flushes of the others."""
    ledger = Ledger(
        harvests=HARVESTS, verdicts=(verdict("B1", 9, "contaminated"),), events=(event("pins", 25, "B0"),)
    )
    return write_trial(tmp_path / "hornbeam", make_trial(*BAGS), ledger)


def _rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_levels_on_the_screen(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Grams per bag spawned with the lost one as zero; columns that say nothing are left out."""
    assert main(["yield", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert re.search(r"none +2 +1 +0 +350 \(\d+-\d+\)", out)
    assert re.search(r"bran 4 % +2 +1 +1 +250 ", out)
    assert "cost" not in out
    assert "Compared: first flush." in err
    assert "100 g less per bag spawned than at the lowest level" in err


def test_bags_that_efficiency_leaves_out_are_counted(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the figure stands, and in words: one was retired before the flush compared, one is lost."""
    assert main(["event", str(folder), "retired", "--bag", "A1", "--at", "2026-04-12"]) == 0
    assert main(["harvest", str(folder), "B0", "2", "100", "--at", "2026-04-20"]) == 0
    capsys.readouterr()
    assert main(["yield", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert re.search(r"none .* 42\.0 \(1 of 2\)", out)
    assert re.search(r"bran 4 % .* 60\.0 \(1 of 2\)", out)
    assert "It leaves out bags taken out after a harvest" in err
    assert "(grams per bag spawned count them): PO-3, none 1 of 2." in err


def test_rows_for_programs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CSV and JSON say the same of a level."""
    assert main(["yield", str(folder), "--format", "csv"]) == 0
    _, level = _rows(capsys.readouterr().out)
    assert (level["compared"], level["lost"], level["g_per_bag_spawned"]) == ("first flush", "1", "250.0")
    assert (level["biological_efficiency_pct"], level["pins_days"]) == ("50.0", "25.0")
    assert level["biological_efficiency_with_spawn_pct"] == ""
    assert main(["yield", str(folder), "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["rows"][1]["g_per_bag_spawned"] == 250.0


def test_equal_flush_or_equal_days(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The second flush of A0 counts with --flush 2, and up to day 45; not both at once."""
    assert main(["yield", str(folder), "--flush", "2", "--format", "csv"]) == 0
    control, _ = _rows(capsys.readouterr().out)
    assert (control["g_per_bag_spawned"], control["not_yet"]) == ("420.0", "1")
    assert main(["yield", str(folder), "--days", "44", "--format", "csv"]) == 0
    control, _ = _rows(capsys.readouterr().out)
    assert (control["compared"], control["g_per_bag_spawned"]) == ("up to day 44", "350.0")
    assert main(["yield", str(folder), "--days", "44", "--flush", "1"]) == 2


def test_bags(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each with its flushes and how it stands."""
    assert main(["yield", str(folder), "--bags"]) == 0
    assert "1: 300 g on day 30, 2: 120 g on day 45" in capsys.readouterr().out
    assert main(["yield", str(folder), "--bags", "--format", "csv"]) == 0
    first, *_, lost = _rows(capsys.readouterr().out)
    assert (first["fresh_g"], first["saleable_g"], first["compared_g"]) == ("420.0", "400.0", "300.0")
    assert (lost["standing"], lost["compared_g"], lost["first_harvest_days"]) == ("lost", "0.0", "")


def test_prices(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """They need the recipe; then a level's cost stands beside its yield."""
    price = ["--price", "pellets, 0.5 per kg", "--price", "bran, 2 per kg", "--price", "bag, 0.4 each"]
    assert main(["yield", str(folder), *price]) == 2
    assert "has no recipe" in capsys.readouterr().err
    plan = folder / "trial.toml"
    recipe = '\n[recipe]\nmain = ["pellets, 1 kg, moisture 8%"]\nsupplement = ["bran"]\nmoisture_pct = 60\n'
    plan.write_text(plan.read_text() + recipe)
    assert main(["yield", str(folder), *price, "--format", "csv"]) == 0
    _, level = _rows(capsys.readouterr().out)
    assert (level["cost_per_bag"], level["cost_per_kg"]) == ("0.98", "3.92")
    assert main(["yield", str(folder), "--price", "pellets 0.5"]) == 2


def test_before_the_first_harvest(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An answer with what to do next."""
    assert main(["yield", str(trial)]) == 0
    out, err = capsys.readouterr()
    assert out.count("PO-3") == 3
    assert "No harvest yet (first flush); 8 bags spawned, 0 of them lost." in err
    assert f"colscan harvest {trial} BAG 1 GRAMS" in err
