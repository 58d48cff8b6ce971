"""What a trial's data say: the answers that a report tells and an export holds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from colscan.app.reporting.answers import answer_or_why
from colscan.growth import outcomes_of
from colscan.growth.compare import Comparison, compare
from colscan.growth.crop import Yields, sum_yields
from colscan.growth.curve import BagFit, fit_bags
from colscan.growth.outcomes import Outcome
from colscan.growth.risk import RiskReport, assess_risk
from colscan.ledger import Ledger
from colscan.trial.model import Trial


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Results:
    """The answers; a sentence instead where the data carry none.

    Parameters
    ----------
    outcomes : tuple of Outcome
        What became of the bags.
    fits : tuple of BagFit
        Their curves.
    comparison, risk, yields
        The treatments held against each other, what was lost, what was harvested.
    """

    outcomes: tuple[Outcome, ...]
    fits: tuple[BagFit, ...]
    comparison: Comparison | str
    risk: RiskReport | str
    yields: Yields | str


def find_results(trial: Trial, ledger: Ledger, now: datetime) -> Results:
    """Return what a trial's data say.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    now : datetime
        Today, aware: before the trial's end results are interim.
    """
    fits = fit_bags(trial, ledger)
    return Results(
        outcomes=outcomes_of(trial, ledger),
        fits=fits,
        comparison=answer_or_why(lambda: compare(trial, ledger, now, fits=fits)),
        risk=answer_or_why(lambda: assess_risk([(trial, ledger)], now=now)),
        yields=answer_or_why(lambda: sum_yields(trial, ledger, now)),
    )
