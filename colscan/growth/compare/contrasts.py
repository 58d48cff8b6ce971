"""One treatment against the control, or the trend over levels: bags that carry it, effects, test."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from colscan.growth.compare.case import Case, Question, find_case
from colscan.growth.compare.effects import draw_times, invert, score
from colscan.growth.compare.exchange import (
    Labellings,
    deal_labels,
    holm,
    jonckheere,
    smallest_two_sided_p,
    two_sided_p,
)
from colscan.growth.compare.model import Contrast, PermutationTest
from colscan.growth.compare.order import later_of_spans
from colscan.growth.compare.times import count_heat_runs
from colscan.growth.curve import Estimate
from colscan.growth.model import FloatSeries
from colscan.growth.outcomes import Milestone, Outcome, Span
from colscan.trial.power import ALPHA

RATES_KNOWN = 0.9
"""Share of sound bags whose rate must be known. A bag tells its rate once it is half-colonized; before that a
ratio would leave out the slow ones."""
LABELLINGS_FOR_INTERVALS = 2_000
"""The 5 % at an interval's end are then known to half a point; it takes some dozens of tests to find it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What is known of the bags.

    Parameters
    ----------
    milestone : Milestone
        What is compared.
    rates : mapping of str to float
        Greatest rate, fraction a day, of the bags whose rate is known.
    warmth : mapping of str to Span
        The milestone's time in degree-days, of the bags for which a log tells it.
    """

    milestone: Milestone
    rates: Mapping[str, float]
    warmth: Mapping[str, Span]


def hold_against(question: Question, outcomes: Sequence[Outcome], measured: Measured) -> Contrast:
    """Return a comparison with its effects and its unadjusted test.

    Parameters
    ----------
    question : Question
        What against what.
    outcomes : sequence of Outcome
        The bags of the scope, of all treatments.
    measured : Measured
        What is known of them.
    """
    case, coinciding = find_case(question, outcomes)
    if case is None:
        why = f"Can't be told apart: level and {coinciding} coincide, a difference may be the {coinciding}'s."
        silent = _silent(question, outcomes, measured.milestone, why=why)
        return dataclasses.replace(silent, coinciding=coinciding)
    test, why = judge_order(case, measured.milestone)
    rate_case = case.only(measured.rates) if _are_rates_known(case, measured.rates) else None
    return dataclasses.replace(
        _silent(question, case.outcomes, measured.milestone, why=why),
        exchanged_within=case.words,
        days_sooner=shift_days(case, case.spans(measured.milestone)),
        degree_days_sooner=_warmer(case, measured.warmth),
        rate_ratio=shift_rates(rate_case, measured.rates) if rate_case else None,
        rate_bags=len(rate_case.outcomes) if rate_case else 0,
        test=test,
    )


def _are_rates_known(case: Case, rates: Mapping[str, float]) -> bool:
    """Whether nearly all bags that still can have a rate: the slow ones' are known last."""
    sound = [o.bag.bag for o in case.outcomes if o.lost is None and o.left is None]
    return sum(bag in rates for bag in sound) >= RATES_KNOWN * len(sound)


def _silent(question: Question, outcomes: Sequence[Outcome], milestone: Milestone, *, why: str) -> Contrast:
    """A comparison of which nothing is known yet."""
    concerned = [outcome for outcome in outcomes if outcome.bag.treatment in question.levels]
    return Contrast(
        kind=question.kind,
        scope=question.scope,
        milestone=milestone,
        treatment=question.treatment,
        control=question.control,
        bags=len(concerned),
        heat_runs=count_heat_runs(concerned),
        exchanged_within="",
        days_sooner=None,
        degree_days_sooner=None,
        rate_ratio=None,
        rate_bags=0,
        test=None,
        why_no_test=why,
    )


def _ends(spans: Sequence[Span]) -> tuple[FloatSeries, FloatSeries]:
    return np.array([span.after_days for span in spans]), np.array([span.by_days for span in spans])


def judge_order(case: Case, milestone: Milestone) -> tuple[PermutationTest | None, str]:
    """Return the test of whether labels order the bags' times, or why there is none.

    Parameters
    ----------
    case : Case
        The bags.
    milestone : Milestone
        Whose times.
    """
    later = np.where(case.together, later_of_spans(*_ends(case.spans(milestone)), case.strains), 0.0)
    if not later.any():
        return (
            None,
            f"As far as the photos tell, no bag came to {milestone} before another that it is held against.",
        )
    labellings = deal_labels(case.labels, case.blocks)
    smallest = smallest_two_sided_p(labellings)
    if smallest > ALPHA:
        return None, f"Too few bags to test: the clearest result they could give has p = {smallest:.2g}."
    p = two_sided_p(jonckheere(later, labellings.dealt), float(jonckheere(later, labellings.own[None, :])[0]))
    tried = len(labellings.dealt)
    return PermutationTest(p=p, p_holm=p, comparisons=1, labellings=tried, exact=labellings.exact), ""


def _widest(reach: float, doses: FloatSeries) -> float:
    """A shift that parts any two levels wholly."""
    return float(reach / np.diff(np.unique(doses)).min())


def shift_days(case: Case, spans: Sequence[Span]) -> Estimate | None:
    """Return the days by which a unit of dose is sooner; None while no bag has come.

    Parameters
    ----------
    case : Case
        The bags.
    spans : sequence of Span
        When each came; degree-days do as well.
    """
    after, by = _ends(spans)
    if not np.isfinite(by).any():
        return None
    reach = float(max(after.max(), by[np.isfinite(by)].max())) + 1.0

    came, times, together = np.isfinite(by), draw_times(after, by), case.together
    return invert(
        lambda shift: score(times + shift * case.doses, came, together),
        case.doses,
        _deal_for_interval(case),
        widest=_widest(reach, case.doses),
    )


def _deal_for_interval(case: Case) -> Labellings:
    return deal_labels(case.labels, case.blocks, most=LABELLINGS_FOR_INTERVALS)


def _warmer(case: Case, warmth: Mapping[str, Span]) -> Estimate | None:
    """The same in degree-days; None unless every bag's are known."""
    if any(outcome.bag.bag not in warmth for outcome in case.outcomes):
        return None
    return shift_days(case, [warmth[outcome.bag.bag] for outcome in case.outcomes])


def shift_rates(case: Case, rates: Mapping[str, float]) -> Estimate | None:
    """Return the factor on the rate for a unit of dose: a shift of the rates' logarithms.

    Parameters
    ----------
    case : Case
        Bags whose rate is known.
    rates : mapping of str to float
        Fraction a day.
    """
    logs = np.log([rates[outcome.bag.bag] for outcome in case.outcomes])
    known, together = np.ones(len(logs), dtype=np.bool_), case.together
    shift = invert(
        lambda added: score((added * case.doses - logs)[None, :], known, together),
        case.doses,
        _deal_for_interval(case),
        widest=_widest(float(np.ptp(logs)) + 0.1, case.doses),
    )
    if shift is None:
        return None
    return Estimate(value=_exp(shift.value), low=_exp(shift.low), high=_exp(shift.high))


def _exp(value: float) -> float:
    return float(np.exp(value))


def adjust(contrasts: Sequence[Contrast]) -> tuple[Contrast, ...]:
    """Return the comparisons with p adjusted among those of one kind and scope.

    Parameters
    ----------
    contrasts : sequence of Contrast
        With p unadjusted.
    """
    adjusted = list(contrasts)
    for family in dict.fromkeys((contrast.kind, contrast.scope) for contrast in contrasts):
        at = [i for i, c in enumerate(contrasts) if (c.kind, c.scope) == family and c.test is not None]
        tests = [test for i in at if (test := contrasts[i].test) is not None]
        for i, test, p in zip(at, tests, holm([test.p for test in tests]), strict=True):
            changed = dataclasses.replace(test, p_holm=p, comparisons=len(tests))
            adjusted[i] = dataclasses.replace(contrasts[i], test=changed)
    return tuple(adjusted)
