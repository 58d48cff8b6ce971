"""A scan killed at any moment, while others append: run again, the ledger is the undisturbed one."""

from __future__ import annotations

import random
from pathlib import Path

import kills

SEED = 7


def test_killed_scans(tmp_path: Path) -> None:
    """At five moments, drawn by lot; `tests/bench/kills.py` tries as many as asked for."""
    bench, lot = kills.set_up(tmp_path, days=(0, 3), measure=False), random.Random(SEED)
    for number in range(5):
        _, wrong = kills.kill_once(bench, tmp_path / f"kill{number}", lot, by_call=number != 0)
        assert wrong == [], number
