"""What was logged of a mix or a heat run, in words: facts, nothing about whether they are good."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from colscan.ledger.columns import BatchRow, HeatRunRow
from colscan.present.weights import say_weight
from colscan.trial.amounts import say_temperature

ALL_WATER_PCT = 100.0
"""Moisture of water: true, and not worth saying."""


def describe_batch(row: BatchRow) -> str:
    """Return an ingredient as it was weighed in: weight in both units, moisture, lot."""
    is_said = row.moisture_pct is not None and row.moisture_pct < ALL_WATER_PCT
    moisture = f"moisture {row.moisture_pct:g} %" if is_said else None
    lot = f"lot {row.lot}" if row.lot else None
    return ", ".join(part for part in (f"{row.ingredient} {say_weight(row.weight_g)}", moisture, lot) if part)


def describe_run(row: HeatRunRow, zone: ZoneInfo) -> str:
    """Return what is known of a heat run apart from its start: end, method, core temperature, note."""
    ended = f"until {row.ended_at.astimezone(zone):%Y-%m-%d %H:%M}" if row.ended_at else "no end recorded"
    core = None if row.core_celsius is None else f"core {say_temperature(row.core_celsius)}"
    said = ", ".join(part for part in (ended, row.method, core) if part)
    return f"{said}: {row.note}" if row.note else said
