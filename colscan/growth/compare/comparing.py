"""The comparison of a trial's treatments, put together."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from datetime import datetime

from colscan.errors import AnalysisError, TrialError
from colscan.growth.compare.case import Question
from colscan.growth.compare.contrasts import (
    Measured,
    adjust,
    hold_against,
)
from colscan.growth.compare.model import ALL_STRAINS, Comparison, Contrast, DayCount, TimesAtLevel
from colscan.growth.compare.sentences import describe_method, say_comparison
from colscan.growth.compare.times import count_heat_runs, days_of, times_at
from colscan.growth.curve import BagFit
from colscan.growth.outcomes import LOST_AT_WORST, Milestone, Outcome, Span, outcomes_of
from colscan.growth.warmth import degree_days
from colscan.ledger import Ledger
from colscan.trial import find_confounded
from colscan.trial.model import Trial

LEVELS_FOR_A_TREND = 3
INTERIM = "No test before the planned end: looking again and again finds differences that aren't there."


def compare(
    trial: Trial,
    ledger: Ledger,
    now: datetime,
    *,
    fits: Sequence[BagFit] = (),
    control: str | None = None,
    milestone: Milestone = Milestone.HALF,
) -> Comparison:
    """Return how the treatments compare, within each strain and over all.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    now : datetime
        Aware; before the trial's end results are interim.
    fits : sequence of BagFit
        The bags' curves, for the rates; without them there are no ratios of rates.
    control : str, optional
        The treatment that the others are held against; no supplement when not given, else the lowest level.
    milestone : Milestone
        What is compared: choose before you look.

    Raises
    ------
    AnalysisError
        When no bag is spawned, or none has been scored yet.
    TrialError
        When no bag has this control.
    """
    outcomes = outcomes_of(trial, ledger)
    _need_scores(trial, outcomes)
    interim = trial.is_interim(now)
    held = _choose_control(outcomes, control)
    measured = Measured(
        milestone=milestone,
        rates=rates_of(fits),
        warmth=_warmth(trial, ledger, outcomes, milestone),
    )
    contrasts = _contrasts(outcomes, held, measured)
    if interim:
        contrasts = tuple(_untested(contrast) for contrast in contrasts)
    result = Comparison(
        trial=trial.name,
        interim=interim,
        control=held,
        milestone=milestone,
        bags=len(outcomes),
        heat_runs=count_heat_runs(outcomes),
        times=_times(outcomes, measured),
        days=_days(outcomes),
        contrasts=contrasts,
        not_told_apart=find_confounded(trial.bags),
        sentences=(),
        method=describe_method(contrasts),
        unreviewed=_count_lost(outcomes_of(trial, ledger, lost_calls=LOST_AT_WORST)) - _count_lost(outcomes),
    )
    return dataclasses.replace(result, sentences=say_comparison(result, trial))


def _need_scores(trial: Trial, outcomes: Sequence[Outcome]) -> None:
    """Refuse a trial of blanks, or without a score."""
    if not outcomes:
        msg = f"The trial {trial.name} has no bag that is spawned."
        raise AnalysisError(msg, "List its bags in bags.csv; blanks aren't compared.")
    if not any(outcome.followed_days for outcome in outcomes):
        msg = f"The trial {trial.name} has no score of a bag yet."
        raise AnalysisError(msg, "Scan photos first: colscan scan TRIAL_DIR PHOTO...")


def _count_lost(outcomes: Sequence[Outcome]) -> int:
    return sum(outcome.lost is not None for outcome in outcomes)


def _untested(contrast: Contrast) -> Contrast:
    if contrast.test is None:
        return contrast
    return dataclasses.replace(contrast, test=None, why_no_test=INTERIM)


def rates_of(fits: Sequence[BagFit]) -> dict[str, float]:
    """Return the greatest rate, fraction a day, of each bag's newest segment that tells it."""
    return {
        fit.bag.bag: fit.rate_per_day.value
        for fit in sorted(fits, key=lambda fit: fit.segment)
        if fit.rate_per_day is not None and fit.rate_per_day.value > 0
    }


def _by_treatment(outcomes: Sequence[Outcome]) -> dict[str, tuple[Outcome, ...]]:
    """The bags of each treatment: none first, then by supplement and level."""
    ordered = sorted(
        outcomes, key=lambda o: (o.bag.treatment != "none", o.bag.supplement, o.bag.supplement_pct)
    )
    names = dict.fromkeys(outcome.bag.treatment for outcome in ordered)
    return {name: tuple(o for o in ordered if o.bag.treatment == name) for name in names}


def _scopes(outcomes: Sequence[Outcome]) -> dict[str, tuple[Outcome, ...]]:
    strains = dict.fromkeys(outcome.bag.strain for outcome in outcomes)
    own = {strain: tuple(o for o in outcomes if o.bag.strain == strain) for strain in strains}
    return {ALL_STRAINS: tuple(outcomes), **own} if len(own) > 1 else own


def _choose_control(outcomes: Sequence[Outcome], control: str | None) -> str:
    treatments = _by_treatment(outcomes)
    if control is None:
        return min(treatments, key=lambda name: treatments[name][0].bag.supplement_pct)
    if control not in treatments:
        msg = f"--control {control!r} is no treatment of these bags."
        raise TrialError(msg, f"Theirs are: {', '.join(treatments)}.")
    return control


def _questions(scope: str, outcomes: Sequence[Outcome], control: str) -> list[Question]:
    """Each other treatment against the control, then the trend over each supplement's levels."""
    treatments = _by_treatment(outcomes)
    if control not in treatments:
        return []
    asked = [
        Question(kind="level", scope=scope, treatment=name, control=control, levels=(control, name))
        for name in treatments
        if name != control
    ]
    pct = {name: own[0].bag.supplement_pct for name, own in treatments.items()}
    for supplement in dict.fromkeys(outcome.bag.supplement for outcome in outcomes):
        # The control begins every supplement's levels, also where it is written as 0 % of one of them.
        own = {
            o.bag.treatment for o in outcomes if o.bag.supplement == supplement or not o.bag.supplement_pct
        }
        levels = tuple(sorted(own, key=pct.__getitem__))
        if supplement != "none" and len({pct[name] for name in levels}) == len(levels) >= LEVELS_FOR_A_TREND:
            asked.append(
                Question(kind="trend", scope=scope, treatment=supplement, control=levels[0], levels=levels)
            )
    return asked


def _contrasts(outcomes: Sequence[Outcome], control: str, measured: Measured) -> tuple[Contrast, ...]:
    return adjust(
        [
            hold_against(question, own, measured)
            for scope, own in _scopes(outcomes).items()
            for question in _questions(scope, own, control)
        ]
    )


def _times(outcomes: Sequence[Outcome], measured: Measured) -> tuple[TimesAtLevel, ...]:
    return tuple(
        times_at(bags, scope, milestone, warmth=_warmth_of(bags, milestone, measured))
        for scope, own in _scopes(outcomes).items()
        for milestone in Milestone
        for bags in _by_treatment(own).values()
    )


def _warmth_of(
    bags: Sequence[Outcome], milestone: Milestone, measured: Measured
) -> tuple[Span | None, ...] | None:
    if milestone is not measured.milestone:
        return None
    return tuple(measured.warmth.get(outcome.bag.bag) for outcome in bags)


def _days(outcomes: Sequence[Outcome]) -> tuple[DayCount, ...]:
    until_days = max(outcome.followed_days for outcome in outcomes)
    return tuple(
        count
        for scope, own in _scopes(outcomes).items()
        for bags in _by_treatment(own).values()
        for count in days_of(bags, scope, until_days)
    )


def _warmth(
    trial: Trial, ledger: Ledger, outcomes: Sequence[Outcome], milestone: Milestone
) -> Mapping[str, Span]:
    """The milestone's times in degree-days of the air around each bag for which a log tells them."""
    warmth = {}
    for outcome in outcomes if ledger.temperatures else ():
        span = outcome.reached(milestone)
        after = degree_days(trial, ledger, outcome.bag, span.after_days)
        by = degree_days(trial, ledger, outcome.bag, span.by_days) if span.came else span.by_days
        if after is not None and by is not None and after < by:
            warmth[outcome.bag.bag] = Span(after_days=after, by_days=by)
    return warmth
