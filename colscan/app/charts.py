"""The kinds of charts of a trial: which data each needs, and what it says when they aren't there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from colscan.errors import AnalysisError
from colscan.hints import as_typed

if TYPE_CHECKING:
    from colscan.ledger import Ledger
    from colscan.present.saving import ChartFiles
    from colscan.trial.model import Trial


class Kind(StrEnum):
    """What a chart shows."""

    CURVES = "curves"
    WHITE = "white"
    FULL = "full"
    RISK = "risk"
    YIELD = "yield"
    FACES = "faces"
    BY_LEVEL = "by-level"

    @property
    def stem(self) -> str:
        """Name of its files without suffix."""
        return "chart" if self is Kind.CURVES else f"chart-{self}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What is drawn: a trial with its folder and ledger, the time, and the day asked for, if any."""

    trial_dir: Path
    trial: Trial
    ledger: Ledger
    now: datetime
    day: int | None = None


def make_chart(kind: Kind, subject: Subject) -> ChartFiles:
    """Return a chart of a trial as the bytes of its files.

    Parameters
    ----------
    kind : Kind
        What it shows.
    subject : Subject
        Of which trial.

    Raises
    ------
    AnalysisError
        When the trial has nothing to show in it yet.
    """
    need_data(kind, subject)
    return _MAKERS[kind](subject)


def need_data(kind: Kind, subject: Subject) -> None:
    """See at once whether a trial has data for a chart, without drawing it.

    Raises
    ------
    AnalysisError
        When it has nothing to show in it yet.
    """
    if kind is Kind.YIELD:
        _need_harvest(subject)
    elif kind not in (Kind.FACES, Kind.BY_LEVEL):  # those say themselves which photos they lack
        _need_scores(subject)


def _draw_curves(subject: Subject) -> ChartFiles:
    from colscan.growth import curves_of
    from colscan.present.chart import draw_chart

    curves = curves_of(subject.trial, subject.ledger)
    return draw_chart(subject.trial, curves, interim=subject.trial.is_interim(subject.now))


def _draw_white(subject: Subject) -> ChartFiles:
    from colscan.growth import curves_of
    from colscan.present.chart import Shown, draw_chart

    curves = curves_of(subject.trial, subject.ledger)
    interim = subject.trial.is_interim(subject.now)
    return draw_chart(subject.trial, curves, shown=Shown.DENSITY, interim=interim)


def _draw_full(subject: Subject) -> ChartFiles:
    from colscan.growth.compare import compare
    from colscan.present.full_chart import draw_full_chart

    return draw_full_chart(subject.trial, compare(subject.trial, subject.ledger, subject.now))


def _draw_risk(subject: Subject) -> ChartFiles:
    from colscan.growth.risk import assess_risk
    from colscan.present.risk_chart import draw_risk_chart

    report = assess_risk([(subject.trial, subject.ledger)], now=subject.now)
    return draw_risk_chart(subject.trial, report)


def _draw_yield(subject: Subject) -> ChartFiles:
    from colscan.growth.crop import sum_yields
    from colscan.present.yield_chart import draw_yield_chart

    return draw_yield_chart(subject.trial, sum_yields(subject.trial, subject.ledger, subject.now))


def _draw_faces(subject: Subject) -> ChartFiles:
    from colscan.app.face_tables import faces_over_time
    from colscan.present.face_chart import draw_face_table

    table = faces_over_time(subject.trial_dir, subject.trial, subject.ledger)
    return draw_face_table(subject.trial, table, interim=subject.trial.is_interim(subject.now))


def _draw_by_level(subject: Subject) -> ChartFiles:
    from colscan.app.face_tables import faces_by_level
    from colscan.present.face_chart import draw_face_table

    table = faces_by_level(subject.trial_dir, subject.trial, subject.ledger, day=subject.day)
    return draw_face_table(subject.trial, table, interim=subject.trial.is_interim(subject.now))


def _need_scores(subject: Subject) -> None:
    import numpy as np

    from colscan.ledger import by_bag, numbers_of

    planned = {bag.bag for bag in subject.trial.bags}
    scores = by_bag(subject.ledger.scores)
    if not any((~np.isnan(numbers_of(scores[bag], "coverage_pct"))).any() for bag in planned & scores.keys()):
        msg = f"The trial {subject.trial.name} has no score to draw."
        raise AnalysisError(
            msg, f"Scan its photos first: colscan scan {as_typed(subject.trial_dir)} PHOTO..."
        )


def _need_harvest(subject: Subject) -> None:
    if not subject.ledger.harvests:
        msg = f"The trial {subject.trial.name} has no harvest to draw."
        folder = as_typed(subject.trial_dir)
        raise AnalysisError(msg, f"Weigh one first: colscan harvest {folder} BAG FLUSH GRAMS")


_MAKERS: dict[Kind, Callable[[Subject], ChartFiles]] = {
    Kind.CURVES: _draw_curves,
    Kind.WHITE: _draw_white,
    Kind.FULL: _draw_full,
    Kind.RISK: _draw_risk,
    Kind.YIELD: _draw_yield,
    Kind.FACES: _draw_faces,
    Kind.BY_LEVEL: _draw_by_level,
}
