"""All that a report tells of a trial, from its folder."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np

from colscan.app.reporting.answers import answer_or_why
from colscan.app.reporting.pictures import picture_bags
from colscan.app.reporting.versions import read_versions
from colscan.growth import curves_of, judge_bags, outcomes_of
from colscan.growth.crop import sum_yields
from colscan.growth.deviations import find_deviations
from colscan.growth.next_run import plan_next
from colscan.growth.risk import assess_risk
from colscan.growth.unsaid import find_unsaid, is_interim
from colscan.ledger import read_ledger
from colscan.present import draw_chart
from colscan.present.report import ReportContent
from colscan.trial import load_trial


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
    statuses, outcomes = judge_bags(trial, ledger, now), outcomes_of(trial, ledger)
    curves = curves_of(trial, ledger)
    measured = any(np.isfinite(curve.series.coverage).any() for curve in curves)
    risk = answer_or_why(lambda: assess_risk([(trial, ledger)], now=now))
    known_risk = None if isinstance(risk, str) else risk
    pictures, gone = picture_bags(trial_dir, trial, ledger)
    return ReportContent(
        trial=trial,
        now=now,
        interim=is_interim(trial, now),
        statuses=statuses,
        outcomes=outcomes,
        curves=curves,
        pictures=pictures,
        photos_gone=gone,
        curves_svg=draw_chart(trial, curves).svg if measured else b"",
        risk=risk,
        yields=answer_or_why(lambda: sum_yields(trial, ledger)),
        deviations=find_deviations(trial, ledger, outcomes),
        unsaid=find_unsaid(trial, ledger, now, outcomes=outcomes, statuses=statuses, risk=known_risk),
        next_run=plan_next(outcomes, known_risk),
        versions=read_versions(trial_dir, ledger),
    )
