"""When a bag is full, and what is due then."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

import numpy as np

from colscan.growth.model import Advice, BagRecord, Judgement
from colscan.ledger import Seen, numbers_of, times_of, words_of
from colscan.trial.model import Limits, Strain, Trial
from colscan.units import at_microseconds, days_between, in_microseconds

MIXES_GROWTH = ("shaken", "turned")
"""Events after which the side in view has to become full anew. Opening a bag takes nothing from it."""


def full_since(record: BagRecord, limits: Limits) -> datetime | None:
    """Return when a bag was first full, None when it isn't.

    Full is a coverage at or over `full_coverage_pct` whose interval's low end is over `ready_coverage_pct`,
    in two photos running; the time is that of the first. Patches that are well count as covered: those
    judged harmless, and expected looks that nobody doubts, for these are the strain's own mycelium or sit
    on it. Photos in which the bag could not be measured say nothing and are passed over. Only photos since
    the bag was last shaken or turned count.

    Parameters
    ----------
    record : BagRecord
        One bag's rows.
    limits : Limits
        The trial's thresholds.
    """
    mixed = [event.at for event in record.events if event.what in MIXES_GROWTH]
    coverage, low = (numbers_of(record.scores, f"coverage_{part}pct") for part in ("", "low_"))
    times = times_of(record.scores)
    counts = ~np.isnan(coverage)
    if mixed:
        counts &= times >= in_microseconds(mixed[-1])
    well = well_areas_pct(record)
    well_pct = np.array([well[sha] for sha in words_of(record.scores, "photo_sha256")]) if well else 0.0
    white = (coverage + well_pct >= limits.full_coverage_pct) & (low + well_pct > limits.ready_coverage_pct)
    white, times = white[counts], times[counts]
    running = np.flatnonzero(white[1:] & white[:-1])
    return at_microseconds(int(times[running[0]])) if running.size else None


def well_areas_pct(record: BagRecord) -> defaultdict[str, float]:
    """Return how much of the face (percent) patches that are well take in each photo, by its SHA-256.

    A suspect patch is face but not mycelium to the scorer, so a bag with a harmless one would never be full.
    """
    areas: defaultdict[str, float] = defaultdict(float)
    found = record.patches
    for photo, area_pct, alarm in zip(found.photos, found.areas_pct, found.alarms, strict=True):
        if not alarm:
            areas[photo] += area_pct
    return areas


def looks_full(row: Seen, limits: Limits, *, well_pct: float) -> bool:
    """Whether one photo meets both limits of `full`, with patches that are well (percent) as covered."""
    if row.coverage_pct is None or row.coverage_low_pct is None:
        return False
    coverage_pct, low_pct = row.coverage_pct + well_pct, row.coverage_low_pct + well_pct
    return coverage_pct >= limits.full_coverage_pct and low_pct > limits.ready_coverage_pct


def judge_full(record: BagRecord, trial: Trial, now: datetime) -> Judgement | None:
    """Return what is due with a full bag, None for one that isn't full.

    Ready needs the strain's `consolidate_days` and somebody who looked all round after it was full.
    """
    since = full_since(record, trial.limits)
    if since is None:
        return None
    strain = trial.strain(record.bag.strain) or Strain(code=record.bag.strain)
    age = days_between(record.bag.inoculated_at, since)
    if days_between(since, now) < strain.consolidate_days:
        until = age + strain.consolidate_days
        why = f"front is white since day {age:.1f}; it consolidates until day {until:.1f}"
        return Judgement(advice=Advice.WAIT, why=why)
    looked = [event.at for event in record.events if event.what == "looked-round" and event.at > since]
    if not looked:
        return Judgement(
            advice=Advice.TURN,
            why=f"front is white since day {age:.1f}; nobody has looked all round since",
        )
    looked_age = days_between(record.bag.inoculated_at, looked[-1])
    why = f"front is white since day {age:.1f}, looked all round on day {looked_age:.1f}"
    return Judgement(advice=Advice.READY, why=why)
