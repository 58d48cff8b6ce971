"""One treatment against the control, or the trend over levels: bags that carry it, effects, test."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from colscan.growth.compare.blocks import Blocks, choose_blocks, find_coinciding
from colscan.growth.compare.effects import invert
from colscan.growth.compare.exchange import (
    Labellings,
    deal_labels,
    holm,
    jonckheere,
    smallest_two_sided_p,
    two_sided_p,
)
from colscan.growth.compare.model import Contrast, PermutationTest
from colscan.growth.compare.order import later_of_spans, later_of_uniform, later_of_values
from colscan.growth.compare.times import count_heat_runs
from colscan.growth.curve import Estimate
from colscan.growth.outcomes import Milestone, Outcome, Span

Floats = NDArray[np.float64]

ALPHA = 0.05
LEVELS_FOR_A_TREND = 3
LABELLINGS_FOR_INTERVALS = 2_000
"""The 5 % at an interval's end are then known to half a point; it takes some dozens of tests to find it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is held against what.

    Parameters
    ----------
    kind : str
        `level` or `trend`.
    scope : str
        A strain's code, or `ALL_STRAINS`.
    treatment, control : str
        As in `Contrast`.
    levels : tuple of str
        The treatments in question, the control or lowest level first.
    """

    kind: Literal["level", "trend"]
    scope: str
    treatment: str
    control: str
    levels: tuple[str, ...]


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Case:
    """The bags that carry a question, their labels, doses and blocks."""

    outcomes: tuple[Outcome, ...]
    labels: tuple[int, ...]
    doses: Floats
    blocks: tuple[str, ...]

    @property
    def together(self) -> NDArray[np.bool_]:
        names = np.array(self.blocks)
        return np.asarray(names[:, None] == names[None, :], dtype=np.bool_)

    @property
    def strains(self) -> tuple[str, ...]:
        return tuple(outcome.bag.strain for outcome in self.outcomes)

    def only(self, bags: Collection[str]) -> _Case | None:
        """The same of some of the bags; None where no block has two labels left."""
        held: dict[str, set[int]] = {}
        chosen = [at for at, outcome in enumerate(self.outcomes) if outcome.bag.bag in bags]
        for at in chosen:
            held.setdefault(self.blocks[at], set()).add(self.labels[at])
        kept = [at for at in chosen if len(held[self.blocks[at]]) > 1]
        if not kept:
            return None
        return _Case(
            outcomes=tuple(self.outcomes[at] for at in kept),
            labels=tuple(self.labels[at] for at in kept),
            doses=self.doses[kept],
            blocks=tuple(self.blocks[at] for at in kept),
        )


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
    own, coinciding = _untangle(question, outcomes)
    labels = [question.levels.index(outcome.bag.treatment) for outcome in own]
    blocks = choose_blocks([outcome.bag for outcome in own], labels) if own else None
    if blocks is None:
        return _silent(question, outcomes, measured.milestone, why=_say_coinciding(coinciding))
    case = _make_case(question, own, blocks)
    spans = [outcome.reached(measured.milestone) for outcome in case.outcomes]
    later = np.where(case.together, later_of_spans(*_ends(spans), case.strains), 0.0)
    test, why = _test(later, deal_labels(case.labels, case.blocks), measured.milestone)
    rate_case = case.only(measured.rates)
    return dataclasses.replace(
        _silent(question, case.outcomes, measured.milestone, why=why),
        exchanged_within=blocks.words,
        days_sooner=_sooner(case, spans),
        degree_days_sooner=_warmer(case, measured.warmth),
        rate_ratio=_ratio(rate_case, measured.rates) if rate_case else None,
        rate_bags=len(rate_case.outcomes) if rate_case else 0,
        test=test,
    )


def _untangle(question: Question, outcomes: Sequence[Outcome]) -> tuple[list[Outcome], str | None]:
    """Return the bags in question of the strains that tell something, and what coincides in the others."""
    kept: list[Outcome] = []
    coinciding = None
    for strain in dict.fromkeys(outcome.bag.strain for outcome in outcomes):
        own = [o for o in outcomes if o.bag.strain == strain and o.bag.treatment in question.levels]
        labels = [question.levels.index(outcome.bag.treatment) for outcome in own]
        if len(set(labels)) < 2:
            continue
        same = find_coinciding([outcome.bag for outcome in own], labels)
        coinciding = same or coinciding
        kept += [] if same else own
    return kept, coinciding


def _say_coinciding(what: str | None) -> str:
    what = what or "heat run"
    return f"Can't be told apart: level and {what} coincide, so a difference may be the {what}'s."


def _make_case(question: Question, own: Sequence[Outcome], blocks: Blocks) -> _Case:
    outcomes = tuple(own[at] for at in blocks.kept)
    labels = tuple(question.levels.index(outcome.bag.treatment) for outcome in outcomes)
    by_level = question.kind == "trend"
    doses = [o.bag.supplement_pct if by_level else float(x) for o, x in zip(outcomes, labels, strict=True)]
    return _Case(outcomes=outcomes, labels=labels, doses=np.array(doses), blocks=blocks.names)


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


def _ends(spans: Sequence[Span]) -> tuple[Floats, Floats]:
    return np.array([span.after_days for span in spans]), np.array([span.by_days for span in spans])


def _test(later: Floats, labellings: Labellings, milestone: Milestone) -> tuple[PermutationTest | None, str]:
    if not later.any():
        return None, f"Too early: no order among the bags yet in when they came to {milestone}."
    smallest = smallest_two_sided_p(labellings)
    if smallest > ALPHA:
        why = f"Too few bags to test: the clearest result they could give has p = {smallest:.2g}."
        return None, why
    statistics = jonckheere(later, labellings.dealt)
    p = two_sided_p(statistics, float(jonckheere(later, labellings.own[None, :])[0]))
    tried = len(labellings.dealt)
    return PermutationTest(p=p, p_holm=p, comparisons=1, labellings=tried, exact=labellings.exact), ""


def _widest(reach: float, doses: Floats) -> float:
    """A shift that parts any two levels wholly."""
    return float(reach / np.diff(np.unique(doses)).min())


def _sooner(case: _Case, spans: Sequence[Span]) -> Estimate | None:
    """The shift by dose that makes all treatments alike; None while no bag has come."""
    after, by = _ends(spans)
    if not np.isfinite(by).any():
        return None
    reach = float(max(after.max(), by[np.isfinite(by)].max())) + 1.0

    def later_at(shift: float) -> Floats:
        moved = shift * case.doses
        return np.where(case.together, later_of_uniform(after + moved, by + moved), 0.0)

    return invert(later_at, _deal_for_interval(case), widest=_widest(reach, case.doses))


def _deal_for_interval(case: _Case) -> Labellings:
    return deal_labels(case.labels, case.blocks, most=LABELLINGS_FOR_INTERVALS)


def _warmer(case: _Case, warmth: Mapping[str, Span]) -> Estimate | None:
    """The same in degree-days; None unless every bag's are known."""
    if any(outcome.bag.bag not in warmth for outcome in case.outcomes):
        return None
    return _sooner(case, [warmth[outcome.bag.bag] for outcome in case.outcomes])


def _ratio(case: _Case, rates: Mapping[str, float]) -> Estimate | None:
    """Ratio of rates: a shift of their logarithms."""
    logs = np.log([rates[outcome.bag.bag] for outcome in case.outcomes])
    reach = float(np.ptp(logs)) + 0.1
    shift = invert(
        lambda added: np.where(case.together, later_of_values(added * case.doses - logs), 0.0),
        _deal_for_interval(case),
        widest=_widest(reach, case.doses),
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
