"""A small trial and rows to fill its ledger with."""

import hashlib
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.trial.model import Bag, Shelf, Trial

DAY_0 = datetime(2026, 3, 2, 6, tzinfo=timezone(timedelta(hours=-5)))
Found = tuple[PhotoRow, list[ScoreRow], list[SuspectRow]]
FindRows = Callable[..., Found]


@pytest.fixture
def trial() -> Trial:
    """Two bags on one shelf."""
    bags = [
        Bag(
            bag=code,
            tag=tag,
            strain="PO",
            supplement="none",
            supplement_pct=0,
            shelf="lower",
            mix_batch="M1",
            heat_run="H1",
            inoculated_at=DAY_0,
        )
        for tag, code in enumerate(("B01", "B02"))
    ]
    return Trial(
        name="hornbeam", time_zone="America/New_York", shelves=(Shelf(name="upper"),), bags=tuple(bags)
    )


@pytest.fixture
def find_rows() -> FindRows:
    """Return a function that makes the rows of the photo of a day: two bags, one suspect patch."""
    return _find_rows


def _find_rows(day: int, *, method: str = "colscan-1", coverage: float = 20.0) -> Found:
    name, sha256 = f"IMG_{day}.jpg", hashlib.sha256(b"%d" % day).hexdigest()
    taken_at = DAY_0 + timedelta(days=day)
    scanned_at = datetime(2026, 4, int(method[-1]), tzinfo=UTC)
    photo = PhotoRow(
        photo=name,
        photo_sha256=sha256,
        taken_at=taken_at,
        taken_at_from="exif-offset",
        width_px=1600,
        height_px=1200,
        bags_found=2,
        mm_per_px=0.5123456,
        method=method,
        scanned_at=scanned_at,
    )
    scores = [
        ScoreRow(
            photo=name,
            photo_sha256=sha256,
            taken_at=taken_at,
            bag=bag,
            coverage_pct=coverage,
            coverage_low_pct=coverage - 5,
            coverage_high_pct=coverage + 5,
            suspects=suspects,
            identified_by="card",
            method=method,
            scanned_at=scanned_at,
        )
        for bag, suspects in (("B01", 1), ("B02", 0))
    ]
    suspect = SuspectRow(
        photo=name,
        photo_sha256=sha256,
        taken_at=taken_at,
        bag="B01",
        patch="p1",
        kind="green",
        area_mm2=40.0,
        area_pct=0.5,
        x_px=10.0,
        y_px=20.0,
        x_mm=-3.0,
        y_mm=4.0,
        strength=0.75,
        method=method,
    )
    return photo, scores, [suspect]


@pytest.fixture
def ledger_bytes() -> Callable[[Path], dict[str, bytes]]:
    """Return a function that gives the bytes of a folder's CSV files, and of nothing else."""
    return lambda folder: {path.name: path.read_bytes() for path in sorted(folder.glob("*.csv"))}
