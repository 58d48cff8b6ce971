"""The results of a trial as rows: curves, comparisons, losses, yields."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from colscan.app.export.rows import ContrastRow, FitRow, LossRow, YieldRow
from colscan.growth.compare import ALL_STRAINS, Comparison
from colscan.growth.compare.model import SEED, Contrast
from colscan.growth.crop import Yields
from colscan.growth.curve import BagFit, Estimate
from colscan.growth.risk import LevelRisk, RiskReport
from colscan.units import to_pct

_UNKNOWN = (None, None, None)


def fit_rows(fits: Sequence[BagFit]) -> Iterator[FitRow]:
    """Yield a row for each bag and segment."""
    for one in fits:
        lag, rate = _ends(one.lag_days), tuple(map(to_pct, _ends(one.rate_per_day)))
        half, ninety = _ends(one.half_days), _ends(one.ninety_days)
        yield FitRow(
            bag=one.bag.bag, measure=one.measure, segment=one.segment, began_days=one.began_days,
            points=one.points, model=one.model.shape if one.model else None,
            lag_days=lag[0], lag_low_days=lag[1], lag_high_days=lag[2],
            rate_pct_per_day=rate[0], rate_low_pct_per_day=rate[1], rate_high_pct_per_day=rate[2],
            half_days=half[0], half_low_days=half[1], half_high_days=half[2],
            ninety_days=ninety[0], ninety_low_days=ninety[1], ninety_high_days=ninety[2],
            why_not=one.why_not or None,
        )  # fmt: skip


def contrast_rows(comparison: Comparison) -> Iterator[ContrastRow]:
    """Yield a row for each comparison."""
    for one in comparison.contrasts:
        sooner, ratio = _ends(one.days_sooner), _ends(one.rate_ratio)
        yield ContrastRow(
            scope=one.scope, kind=one.kind, treatment=one.treatment, control=one.control,
            milestone=one.milestone, bags=one.bags, heat_runs=one.heat_runs,
            days_sooner=sooner[0], days_sooner_low=sooner[1], days_sooner_high=sooner[2],
            rate_ratio=ratio[0], rate_ratio_low=ratio[1], rate_ratio_high=ratio[2],
            p=one.test.p if one.test else None, p_holm=one.test.p_holm if one.test else None,
            exchanged_within=one.exchanged_within or None, seed=_seed(one),
            why_no_test=one.why_no_test or None,
        )  # fmt: skip


def _seed(one: Contrast) -> int | None:
    return SEED if one.test and not one.test.exact else None


def loss_rows(risk: RiskReport) -> Iterator[LossRow]:
    """Yield a row for each level, of each strain and of all."""
    for series in risk.series:
        for own in series.levels:
            yield _loss_row(series.strain or ALL_STRAINS, series.supplement, own)


def _loss_row(strain: str, supplement: str, own: LevelRisk) -> LossRow:
    return LossRow(
        strain=strain, supplement=supplement, supplement_pct=own.level.pct, spawned=own.spawned,
        followed=own.followed, lost=own.lost, running=own.running, gone=own.gone, heat_runs=own.runs,
        share_pct=to_pct(own.share), low_pct=to_pct(own.low), limit_pct=to_pct(own.limit),
        limit_at_worst_pct=to_pct(own.limit_at_worst), acceptable="yes" if own.acceptable else "no",
        more=own.more,
    )  # fmt: skip


def yield_rows(yields: Yields) -> Iterator[YieldRow]:
    """Yield a row for each bag."""
    for one in yields.bags:
        yield YieldRow(
            bag=one.bag.bag, compared=yields.basis.words, standing=one.standing, flushes=len(one.flushes),
            fresh_g=one.fresh_g, compared_g=one.compared_g, dry_g=one.dry.dry_g if one.dry else None,
            pins_days=one.pins_days, first_days=one.first_days,
        )  # fmt: skip


def _ends(figure: Estimate | None) -> tuple[float | None, float | None, float | None]:
    """A figure and its ends; an end that nothing bounds is not known."""
    if figure is None:
        return _UNKNOWN
    return (_finite(figure.value), _finite(figure.low), _finite(figure.high))


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
