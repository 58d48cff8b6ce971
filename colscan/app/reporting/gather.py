"""All that a report tells of a trial, from its folder."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from pathlib import Path

from colscan.app.charts import Kind, Subject, make_chart
from colscan.app.reporting.answers import answer_or_why
from colscan.app.reporting.pictures import picture_bags, picture_levels
from colscan.app.reporting.results import find_results
from colscan.app.reporting.versions import read_versions
from colscan.growth import judge_bags
from colscan.growth.deviations import find_deviations
from colscan.growth.next_run import plan_next
from colscan.growth.unsaid import find_unsaid
from colscan.ledger import read_ledger
from colscan.present.report import ReportContent
from colscan.trial import load_trial

KINDS = (Kind.CURVES, Kind.WHITE, Kind.FULL, Kind.RISK, Kind.YIELD)
"""Charts of a report; faces are pictures of their own there."""


def gather_report(trial_dir: Path, now: datetime) -> ReportContent:
    """Return what a report tells of a trial.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    now : datetime
        As of when, aware.

    Raises
    ------
    TrialError, LedgerError
        When the plan or the ledger can't be read.
    """
    trial, ledger = load_trial(trial_dir), read_ledger(trial_dir)
    statuses, results = judge_bags(trial, ledger, now), find_results(trial, ledger, now)
    outcomes = results.outcomes
    risk = None if isinstance(results.risk, str) else results.risk
    pictures, gone = picture_bags(trial_dir, trial, ledger)
    by_level = answer_or_why(lambda: picture_levels(trial_dir, trial, ledger))
    return ReportContent(
        trial=trial,
        now=now,
        interim=trial.is_interim(now),
        statuses=statuses,
        outcomes=outcomes,
        pictures=pictures,
        photos_gone=gone,
        by_level=() if isinstance(by_level, str) else by_level,
        charts=_charts(Subject(trial_dir=trial_dir, trial=trial, ledger=ledger, now=now)),
        fits=results.fits,
        comparison=results.comparison,
        risk=results.risk,
        yields=results.yields,
        deviations=find_deviations(trial, ledger, outcomes, now),
        unsaid=find_unsaid(trial, ledger, now, outcomes=outcomes, risk=risk),
        next_run=plan_next(outcomes, risk),
        versions=read_versions(trial_dir, ledger),
    )


def _charts(subject: Subject) -> dict[str, bytes]:
    made = {kind: answer_or_why(partial(make_chart, kind, subject)) for kind in KINDS}
    return {str(kind): chart.svg for kind, chart in made.items() if not isinstance(chart, str)}
