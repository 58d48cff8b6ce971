"""A comparison in words that need no course in statistics."""

from __future__ import annotations

import math
from collections.abc import Sequence

from colscan.growth.compare.model import ALL_STRAINS, SEED, Comparison, Contrast, DayCount
from colscan.growth.curve import Estimate
from colscan.growth.outcomes import Milestone
from colscan.trial.model import Trial

ALPHA = 0.05
_COME = {Milestone.HALF: "half-colonized", Milestone.NINETY: "at 90 %", Milestone.FULL: "full"}


def say_comparison(found: Comparison, trial: Trial) -> tuple[str, ...]:
    """Return the answer in sentences, the most important first.

    Parameters
    ----------
    found : Comparison
        All but its sentences.
    trial : Trial
        The plan, for its end.
    """
    broadest = found.times[0].scope
    said = [_say_interim(trial)] if found.interim else []
    said += [_say_day(day) for day in _headline(found.days, broadest)]
    if not found.contrasts:
        said.append(f"There is one treatment only ({found.control}): nothing to hold it against.")
    said += [say_contrast(contrast, interim=found.interim) for contrast in found.contrasts]
    return (*said, *found.not_told_apart)


def _say_interim(trial: Trial) -> str:
    end = f"until {trial.planned_end:%Y-%m-%d}" if trial.planned_end else "with no planned end in trial.toml"
    return f"Interim: the trial runs {end}. What follows may still change, and nothing is tested yet."


def _headline(days: Sequence[DayCount], scope: str) -> list[DayCount]:
    """The latest day that every treatment has come to."""
    own = [day for day in days if day.scope == scope]
    latest = {count.treatment: count.day for count in own}
    common = min(latest.values())
    return [count for count in own if count.day == common]


def _say_day(count: DayCount) -> str:
    parts = [f"{_share(count.full, count.bags)} full", f"{_share(count.lost, count.bags)} lost"]
    parts.append(f"{_share(count.running, count.bags)} still running")
    if count.gone:
        parts.append(f"{_share(count.gone, count.bags)} no longer followed")
    name = "without supplement" if count.treatment == "none" else f"with {count.treatment}"
    return f"By day {count.day:.0f}, of {count.bags} bags spawned {name}: {', '.join(parts)}."


def _share(count: int, bags: int) -> str:
    return f"{100 * count / bags:.0f} %"


def say_contrast(contrast: Contrast, *, interim: bool) -> str:
    """Return one comparison in a sentence or two; that nothing is tested in the interim is said once."""
    who = "" if contrast.scope == ALL_STRAINS else f"{contrast.scope}: "
    basis = f"{_plural(contrast.bags, 'bag')}, {_plural(contrast.heat_runs, 'heat run')}"
    if contrast.days_sooner is None:
        return (
            f"{who}{_subject(contrast)}: no difference in days can be given ({basis}). {contrast.why_no_test}"
        )
    sooner = contrast.days_sooner
    size = _say_days(sooner.value)
    come = _COME[contrast.milestone]
    if contrast.kind == "trend":
        first = f"{who}each 1 % of {contrast.treatment} makes bags {come} {size}"
    else:
        first = f"{who}{contrast.treatment} was {come} {size} than {contrast.control}"
    parts = [f"{first} (90 % interval: {_say_range(sooner)}; {basis}).", *_say_test(contrast, interim)]
    if contrast.rate_ratio is not None:
        parts.append(_say_ratio(contrast.rate_ratio, contrast))
    if contrast.degree_days_sooner is not None:
        parts.append(_say_warmth(contrast.degree_days_sooner))
    return " ".join(parts)


def _subject(contrast: Contrast) -> str:
    if contrast.kind == "trend":
        return f"trend over {contrast.treatment}"
    return f"{contrast.treatment} against {contrast.control}"


def _plural(count: int, what: str) -> str:
    if not count:
        return f"no {what} named"
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _say_days(days: float) -> str:
    shown = f"{abs(days):.2f}" if abs(days) < 1 else f"{abs(days):.1f}"
    return f"{shown} days {'sooner' if days >= 0 else 'later'}"


def _say_range(effect: Estimate) -> str:
    """Days from the later to the sooner end."""
    ends = ["no limit" if math.isinf(end) else _say_days(end) for end in (effect.low, effect.high)]
    return f"{ends[0]} to {ends[1]}"


def _say_test(contrast: Contrast, interim: bool) -> list[str]:
    test = contrast.test
    if test is None:
        return [] if interim else [contrast.why_no_test]
    verdict = "Hardly chance" if test.p_holm <= ALPHA else "May be chance"
    number = f"p = {say_p(test.p)}"
    if test.comparisons > 1:
        number += f", {say_p(test.p_holm)} for {test.comparisons} comparisons"
    return [f"{verdict} ({number})."]


def say_p(p: float) -> str:
    """Return a p-value as people write it.

    >>> say_p(0.03124), say_p(0.0001)
    ('0.031', '0.0001')
    """
    return f"{p:.2g}" if p < 0.1 else f"{p:.2f}"


def _say_ratio(ratio: Estimate, contrast: Contrast) -> str:
    per = " per 1 %" if contrast.kind == "trend" else ""
    low = "0" if ratio.low == 0 else f"{ratio.low:.2f}"
    high = "no limit" if math.isinf(ratio.high) else f"{ratio.high:.2f}"
    return f"Fastest growth {ratio.value:.2f} times as fast{per} ({low} to {high})."


def _say_warmth(effect: Estimate) -> str:
    way = "fewer" if effect.value >= 0 else "more"
    low, high = ("no limit" if math.isinf(end) else f"{end:.0f}" for end in (effect.low, effect.high))
    return f"By the warmth of the air: {abs(effect.value):.0f} degree-days {way} ({low} to {high})."


def describe_method(contrasts: Sequence[Contrast]) -> str:
    """Return how it was worked out, to be cited."""
    within = dict.fromkeys(contrast.exchanged_within for contrast in contrasts if contrast.exchanged_within)
    tests = [contrast.test for contrast in contrasts if contrast.test is not None]
    drawn = max((test.labellings for test in tests if not test.exact), default=0)
    ways = f"{drawn:,} drawn ways to deal them (seed {SEED})" if drawn else "all ways to deal them"
    said = (
        "Times lie between two photos; share that had come by non-parametric maximum likelihood on half-open"
        " intervals (Turnbull 1976), lost bags never coming. Differences are shifts with a 90 % interval that"
        " inverts the permutation test of Wilcoxon scores for interval-censored times (Fay 1996), over levels"
        " that of Jonckheere and Terpstra, bags lost before counting until their onset."
    )
    if not within:
        return said
    tested = (
        f"Labels are exchanged within: {'; '.join(within)}; p is two-sided, over {ways}, adjusted by Holm."
    )
    return f"{said} {tested}"
