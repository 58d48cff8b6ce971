"""The tables of an export: what of the plan and ledger goes out as it is, and the results."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from colscan.app.export.results import contrast_rows, fit_rows, loss_rows, yield_rows
from colscan.app.export.rows import (
    CodebookRow,
    ContrastRow,
    FitRow,
    LongScoreRow,
    LossRow,
    OutcomeRow,
    YieldRow,
)
from colscan.app.reporting.results import Results
from colscan.growth.outcomes import Outcome, Span
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
from colscan.tables import Row, columns_of
from colscan.trial.model import Bag, Trial
from colscan.units import days_between


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """A table: the type of its rows, which names file and columns, and the rows."""

    row_type: type[Row]
    rows: tuple[Row, ...]


def make_tables(trial: Trial, ledger: Ledger, results: Results) -> tuple[Exported, ...]:
    """Return all tables of an export, the codebook last.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    results : Results
        What was found.
    """
    comparison, risk, yields = results.comparison, results.risk, results.yields
    tables: list[tuple[type[Row], Sequence[Row]]] = [
        (Bag, trial.bags),
        (LongScoreRow, _long_scores(trial, ledger)),
        (OutcomeRow, [_outcome_row(one) for one in results.outcomes]),
        (FitRow, [*fit_rows(results.fits)]),
        (ContrastRow, [] if isinstance(comparison, str) else [*contrast_rows(comparison)]),
        (LossRow, [] if isinstance(risk, str) else [*loss_rows(risk)]),
        (YieldRow, [] if isinstance(yields, str) else [*yield_rows(yields)]),
        (PhotoRow, ledger.photos),
        (SuspectRow, ledger.suspects),
        (VerdictRow, ledger.verdicts),
        (EventRow, ledger.events),
        (HarvestRow, ledger.harvests),
        (BatchRow, ledger.batches),
        (HeatRunRow, ledger.heat_runs),
        (TemperatureRow, ledger.temperatures),
        (EstimateRow, ledger.estimates),
    ]
    made = [Exported(row_type=row_type, rows=tuple(rows)) for row_type, rows in tables]
    book = _codebook([*(one.row_type for one in made), CodebookRow])
    return (*made, Exported(row_type=CodebookRow, rows=book))


def _long_scores(trial: Trial, ledger: Ledger) -> list[LongScoreRow]:
    bags = {bag.bag: bag for bag in trial.bags}
    return [_long_score(bags[row.bag], row) for row in ledger.scores if row.bag in bags]


def _long_score(bag: Bag, row: ScoreRow) -> LongScoreRow:
    return LongScoreRow(
        bag=bag.bag,
        strain=bag.strain,
        supplement=bag.supplement,
        supplement_pct=bag.supplement_pct,
        role=bag.role,
        heat_run=bag.heat_run,
        mix_batch=bag.mix_batch,
        spawn_lot=bag.spawn_lot,
        photo_sha256=row.photo_sha256,
        taken_at=row.taken_at,
        day=days_between(bag.inoculated_at, row.taken_at),
        segment=row.segment,
        coverage_pct=row.coverage_pct,
        coverage_low_pct=row.coverage_low_pct,
        coverage_high_pct=row.coverage_high_pct,
        density_pct=row.density_pct,
        unseen_pct=row.unseen_pct,
        suspects=row.suspects,
        suspect_area_pct=row.suspect_area_pct,
        flags=row.flags,
        method=row.method,
    )


def _outcome_row(one: Outcome) -> OutcomeRow:
    return OutcomeRow(
        bag=one.bag.bag,
        strain=one.bag.strain,
        supplement=one.bag.supplement,
        supplement_pct=one.bag.supplement_pct,
        half_after_days=one.half.after_days,
        half_by_days=_come(one.half),
        ninety_after_days=one.ninety.after_days,
        ninety_by_days=_come(one.ninety),
        full_after_days=one.full.after_days,
        full_by_days=_come(one.full),
        lost_after_days=one.lost.after_days if one.lost else None,
        lost_by_days=one.lost.by_days if one.lost else None,
        followed_days=one.followed_days,
        left=one.left,
        harvested_days=one.harvested_days,
    )


def _come(span: Span) -> float | None:
    return span.by_days if span.came else None


def _codebook(row_types: Sequence[type[Row]]) -> tuple[CodebookRow, ...]:
    return tuple(
        CodebookRow(
            file=row_type.FILE,
            name=name,
            kind=declared.kind,
            unit=declared.unit,
            allowed=" ".join(map(str, declared.choices)),
            meaning=declared.meaning,
        )
        for row_type in row_types
        for name, declared in columns_of(row_type).items()
    )
