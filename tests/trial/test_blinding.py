"""Which batches tell what a bag got."""

from __future__ import annotations

from datetime import UTC, datetime

from colscan.trial.blinding import hide_telling_batches
from colscan.trial.model import Bag, Trial

DAY_0 = datetime(2026, 3, 2, 6, tzinfo=UTC)


def _bag(code: str, strain: str, pct: float, run: str | None, lot: str | None, *, role: str = "trial") -> Bag:
    return Bag(
        bag=code,
        role=role,
        strain=strain,
        supplement="bran",
        supplement_pct=pct,
        mix_batch="M1",
        heat_run=run,
        spawn_lot=lot,
        inoculated_at=DAY_0,
    )


def _hidden(*bags: Bag) -> list[tuple[str | None, str | None, str | None]]:
    trial = hide_telling_batches(Trial(name="hornbeam", time_zone="UTC", bags=bags))
    return [(bag.mix_batch, bag.heat_run, bag.spawn_lot) for bag in trial.bags]


def test_a_run_of_all_kinds_stays_and_mixes_go() -> None:
    """Each run holds every strain and level; a lot is of one strain, and takes the other lots with it."""
    bags = [
        _bag(f"{strain}-{pct:g}-{run}", strain, pct, run, f"lot of {strain}" if pct else None)
        for strain in ("PO-3", "HE-2")
        for pct in (0.0, 8.0)
        for run in ("H1", "H2")
    ]
    assert _hidden(*bags) == [(None, bag.heat_run, None) for bag in bags]


def test_a_run_of_one_level_hides_all_runs() -> None:
    """The run that is left out would else be known by that; blanks have no strain to tell."""
    bags = (
        _bag("A", "PO-3", 0.0, "H1", "L"),
        _bag("B", "PO-3", 8.0, "H1", "L"),
        _bag("C", "PO-3", 8.0, "H2", "L"),
    )
    blank = _bag("Z", "none", 8.0, "H2", None, role="blank")
    assert _hidden(*bags, blank) == [(None, None, "L")] * 3 + [(None, None, None)]


def test_one_kind_has_nothing_to_tell() -> None:
    """A trial of one strain at one level: its runs and lots stay."""
    assert _hidden(_bag("A", "PO-3", 8.0, "H1", "L1"), _bag("B", "PO-3", 8.0, "H2", "L2")) == [
        (None, "H1", "L1"), (None, "H2", "L2"),
    ]  # fmt: skip
