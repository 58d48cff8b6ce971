"""The half-colonized day of rendered bags, from their photos of every third day."""

from __future__ import annotations

import csv
import json
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest

from colscan.app.cli.main import main
from colscan.growth.curve import fit_bags
from colscan.ledger import read_ledger
from colscan.trial import load_trial

ASKED_DAYS = 0.25


@pytest.fixture(scope="module")
def oakrack(bench: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The rendered series, scanned as a grower would."""
    folder = tmp_path_factory.mktemp("rendered")
    photos = sorted((bench / "dev").glob("oakrack-d*/*.jpg"))
    bags = json.loads((photos[0].parent / "truth.json").read_text("utf-8"))["bags"]
    with (folder / "bags.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(["bag", "tag", "strain", "supplement", "supplement_pct", "inoculated_at"])
        for bag in bags:
            level = bag["level"].split()[0]
            rows.writerow([bag["bag"], bag["tag"], bag["strain"], "bran", level, "2026-03-02T06:00:00-05:00"])
    assert main(["new", str(folder / "oakrack"), "--bags", str(folder / "bags.csv")]) == 0
    assert main(["scan", str(folder / "oakrack"), *map(str, photos), "--jobs", "1"]) == 0
    return folder / "oakrack"


def _true_half_days(bench: Path) -> dict[str, float]:
    curves = defaultdict(list)
    with (bench / "curves-oakrack.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            curves[row["bag"]].append((float(row["coverage_pct"]), float(row["days"])))
    return {bag: float(np.interp(50.0, *zip(*points, strict=True))) for bag, points in curves.items()}


def test_half_colonized_day(bench: Path, oakrack: Path) -> None:
    """Median error of a quarter of a day at most over the eight bags, and most intervals hold the truth."""
    true = _true_half_days(bench)
    got = {fit.bag.bag: fit.half_days for fit in fit_bags(load_trial(oakrack), read_ledger(oakrack))}
    assert len(got) == 8
    assert all(half is not None for half in got.values())
    errors = [abs(half.value - true[bag]) for bag, half in got.items() if half]
    assert float(np.median(errors)) <= ASKED_DAYS
    assert sum(half.low <= true[bag] <= half.high for bag, half in got.items() if half) >= 6
