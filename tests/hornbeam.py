"""A made-up trial "hornbeam" with synthetic growth, for the tests of growth, present and the commands.

Eight bags of three strains and three levels, six photos in March 2026; the curves are modified Gompertz
(Zwietering et al. 1990, Appl Environ Microbiol 56:1875-1881).
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from colscan.flags import Flag
from colscan.ledger import Ledger
from colscan.ledger.columns import (
    BatchRow,
    EstimateRow,
    EventRow,
    HarvestRow,
    HeatRunRow,
    PhotoRow,
    ScoreRow,
    SuspectRow,
    TemperatureRow,
    VerdictRow,
)
from colscan.tables import format_header, format_rows
from colscan.trial.model import Bag, Strain, Treatment, Trial

ZONE = ZoneInfo("America/New_York")
START = datetime(2026, 3, 2, 6, 0, tzinfo=ZONE)
PHOTO_DAYS = (0.125, 3.125, 6.125, 9.125, 12.125, 15.125)
PLAN = (
    ("PO3-1", "PO-3", 0.0), ("PO3-2", "PO-3", 4.0), ("PO3-3", "PO-3", 8.0),
    ("PE1-1", "PE-1", 0.0), ("PE1-2", "PE-1", 4.0), ("PE1-3", "PE-1", 8.0),
    ("HE2-1", "HE-2", 0.0), ("HE2-2", "HE-2", 4.0),
)  # fmt: skip
SPEED = {"PO-3": 14.0, "PE-1": 8.0, "HE-2": 9.0}


def at_day(day: float) -> datetime:
    """The time of a day of the trial: 24 hours each, also over the change of clocks on 8 March."""
    return (START.astimezone(UTC) + timedelta(days=day)).astimezone(ZONE)


def make_bag(code: str, *, strain: str = "PO-3", level: float = 4.0, **other: object) -> Bag:
    """A bag of the plan, inoculated on day 0."""
    supplement = "none" if level == 0 else "bran"
    fields = {"bag": code, "strain": strain, "supplement": supplement, "supplement_pct": level}
    return Bag(**{**fields, "inoculated_at": START, **other})


def make_trial(*bags: Bag, **other: object) -> Trial:
    """The trial hornbeam with these bags."""
    fields = {
        "name": "hornbeam",
        "time_zone": "America/New_York",
        "question": "Which strain takes which level of bran before bags are lost?",
        "strains": (
            Strain(code="PO-3", species="Pleurotus ostreatus"),
            Strain(code="PE-1", species="Pleurotus eryngii", consolidate_days=5.0),
            Strain(code="HE-2", species="Hericium erinaceus", healthy_looks=("amber",)),
        ),
        "treatments": tuple(Treatment(supplement="bran", supplement_pct=level) for level in (4.0, 8.0)),
        "bags": bags,
    }
    return Trial(**{**fields, **other})


def score(bag: str, day: float, pct: float | None, *, spread: float = 2.0, **other: object) -> ScoreRow:
    """A bag's score on a day, its interval `spread` points to both sides."""
    fields = {
        "photo": f"d{day:g}.jpg",
        "photo_sha256": f"{round(day * 1000):064x}",
        "taken_at": at_day(day),
        "bag": bag,
        "coverage_pct": pct,
        "coverage_low_pct": None if pct is None else max(0.0, pct - spread),
        "coverage_high_pct": None if pct is None else min(100.0, pct + spread),
        "density_pct": None if pct is None else 0.7 * pct,
        "unseen_pct": 12.0,
        "identified_by": "card",
        "method": "test-1",
        "scanned_at": at_day(day),
    }
    return ScoreRow(**{**fields, **other})


def suspect(bag: str, day: float, patch: str = "p1", kind: str = "green", **other: object) -> SuspectRow:
    """A suspect patch on a bag on a day."""
    fields = {
        "photo": f"d{day:g}.jpg",
        "photo_sha256": f"{round(day * 1000):064x}",
        "taken_at": at_day(day),
        "bag": bag,
        "patch": patch,
        "kind": kind,
        "area_mm2": 34.0,
        "area_pct": 0.2,
        "x_px": 100.0,
        "y_px": 100.0,
        "x_mm": 0.0,
        "y_mm": 0.0,
        "strength": 0.8,
        "first_seen_at": at_day(day),
        "method": "test-1",
    }
    return SuspectRow(**{**fields, **other})


def photo(day: float) -> PhotoRow:
    """The photo of a day."""
    return PhotoRow(
        photo=f"d{day:g}.jpg", photo_sha256=f"{round(day * 1000):064x}", taken_at=at_day(day),
        taken_at_from="exif-offset", width_px=1680, height_px=1260, bags_found=8, method="test-1",
        scanned_at=at_day(day),
    )  # fmt: skip


def verdict(bag: str, day: float, call: str, **other: object) -> VerdictRow:
    """What is said of a bag or patch on a day."""
    return VerdictRow(**{"at": at_day(day), "bag": bag, "call": call, **other})


def event(what: str, day: float, name: str | None = None, scope: str = "bag") -> EventRow:
    """What happened on a day."""
    return EventRow(at=at_day(day), scope=scope, name=name, what=what)


def gompertz_pct(day: float, speed: float, lag: float = 2.0) -> float:
    """Modified Gompertz curve up to 100 %, its steepest slope `speed` points a day after `lag` days."""
    return 100.0 * math.exp(-math.exp(speed * math.e / 100.0 * (lag - day) + 1.0))


def make_hornbeam() -> tuple[Trial, Ledger]:
    """The trial and a ledger with something of everything: an alarm, a call, a shake, a bag lost."""
    trial = make_trial(
        *(make_bag(code, strain=strain, level=level, shelf="A") for code, strain, level in PLAN)
    )
    scores = []
    for day in PHOTO_DAYS:
        for code, strain, level in PLAN:
            if code == "PE1-3" and day > 10:
                continue
            pct = gompertz_pct(day, SPEED[strain] * (1 + level / 16))
            shaken = code == "HE2-2" and day > 7
            pct = gompertz_pct(day - 6.5, 16.0, lag=1.0) if shaken else pct
            flags = (Flag.GLARE,) if code == "PE1-1" and day == 9.125 else ()
            scores.append(score(code, day, round(pct, 2), spread=3.0, segment=int(shaken), flags=flags))
    suspects = (
        suspect("PO3-3", 9.125, area_mm2=34.0),
        suspect("PE1-3", 9.125, kind="dark", area_mm2=420.0),
        suspect("PO3-3", 12.125, area_mm2=160.0, first_seen_at=at_day(9.125)),
        suspect("HE2-1", 12.125, kind="amber", flags=(Flag.EXPECTED,)),
        suspect("PO3-3", 15.125, area_mm2=610.0, first_seen_at=at_day(9.125)),
        suspect("PO3-3", 15.125, patch="p2", kind="grey", area_mm2=15.0),
    )
    ledger = Ledger(
        photos=tuple(photo(day) for day in PHOTO_DAYS),
        scores=tuple(scores),
        suspects=suspects,
        verdicts=(
            verdict("PE1-3", 9.5, "contaminated", patch="p1", found_by="photo", action="isolated"),
            verdict("HE2-1", 15.5, "contaminated", where="back", found_by="hand"),
        ),
        events=(
            event("moved", 3.5, scope="room"),
            event("shaken", 6.5, "HE2-2"),
            event("discarded", 10.0, "PE1-3"),
            event("looked-round", 15.6, "PO3-2"),
            event("looked-round", 15.6, "PO3-1"),
        ),
    )
    return trial, ledger


PLAN_TOML = """\
name = "hornbeam"
time_zone = "America/New_York"
question = "Which strain takes which level of bran before bags are lost?"

[[strain]]
code = "PO-3"

[[strain]]
code = "PE-1"
consolidate_days = 5

[[strain]]
code = "HE-2"
healthy_looks = ["amber"]

[[treatment]]
supplement = "none"
supplement_pct = 0

[[treatment]]
supplement = "bran"
supplement_pct = 4

[[treatment]]
supplement = "bran"
supplement_pct = 8
"""


def write_trial(folder: Path, trial: Trial, ledger: Ledger | None = None) -> Path:
    """Write a trial's folder; without a ledger the plan alone."""
    folder.mkdir()
    (folder / "trial.toml").write_text(PLAN_TOML, encoding="utf-8")
    (folder / Bag.FILE).write_bytes(format_header(Bag) + format_rows(trial.bags))
    if ledger is not None:
        parts = (
            (PhotoRow, ledger.photos), (ScoreRow, ledger.scores), (SuspectRow, ledger.suspects),
            (VerdictRow, ledger.verdicts), (EventRow, ledger.events), (HarvestRow, ledger.harvests),
            (BatchRow, ledger.batches), (HeatRunRow, ledger.heat_runs),
            (TemperatureRow, ledger.temperatures), (EstimateRow, ledger.estimates),
        )  # fmt: skip
        for row_type, rows in parts:
            (folder / row_type.FILE).write_bytes(format_header(row_type) + format_rows(rows))
    return folder
