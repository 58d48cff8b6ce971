"""A comparison in words that need no course in statistics."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

from colscan.growth.compare.model import ALL_STRAINS, SEED, Comparison, Contrast, DayCount, PermutationTest
from colscan.growth.compare.times import headline
from colscan.growth.curve import Estimate
from colscan.growth.outcomes import Milestone
from colscan.trial.model import Trial
from colscan.trial.power import ALPHA
from colscan.units import count_of

_SOONER, _FEWER = ("days", "sooner", "later"), ("degree-days", "fewer", "more")
"""A unit of time, and what its amounts are that the treatment takes less and more."""
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
    said += [_say_day(count) for count in headline(found.days, broadest)]
    if found.unreviewed:
        said.append(_say_unreviewed(found.unreviewed))
    if not found.contrasts:
        said.append(f"There is one treatment only ({found.control}): nothing to hold it against.")
    scopes = dict.fromkeys(contrast.scope for contrast in found.contrasts)
    by_scope = {scope: [c for c in found.contrasts if c.scope == scope] for scope in scopes}
    mute = [name for name, own in by_scope.items() if name != broadest and not any(map(_tells, own))]
    for contrast in found.contrasts:
        if contrast.scope not in mute:
            whole = contrast.scope == broadest
            said.append(say_contrast(contrast, interim=found.interim, with_rates=whole))
    if mute:
        said.append(f"Within {', '.join(mute)} alone the bags tell nothing of how levels differ.")
    return (*said, *found.not_told_apart)


def _say_interim(trial: Trial) -> str:
    end = f"until {trial.planned_end:%Y-%m-%d}" if trial.planned_end else "with no planned end in trial.toml"
    return f"Interim: the trial runs {end}. What follows may still change, and nothing is tested yet."


def _say_day(count: DayCount) -> str:
    parts = [f"{_share(count.full, count.bags)} full", f"{_share(count.lost, count.bags)} lost"]
    parts.append(f"{_share(count.running, count.bags)} still running")
    if count.gone:
        parts.append(f"{_share(count.gone, count.bags)} no longer followed")
    name = "without supplement" if count.treatment == "none" else f"with {count.treatment}"
    return f"By day {count.day:.0f}, of {_plural(count.bags, 'bag')} spawned {name}: {', '.join(parts)}."


def _say_unreviewed(bags: int) -> str:
    who = "1 bag carries a suspect patch" if bags == 1 else f"{bags} bags carry suspect patches"
    return f"{who} that nobody has called harmless or contaminated: here they count as not lost."


def _share(count: int, bags: int) -> str:
    return f"{100 * count / bags:.0f} %"


def _tells(contrast: Contrast) -> bool:
    """Whether there is more to say of it than that its bags are too few."""
    return contrast.coinciding is not None or _says_how_much(contrast)


def _says_how_much(contrast: Contrast) -> bool:
    effects = (contrast.days_sooner, contrast.rate_ratio)
    return any(effect is not None and is_bounded(effect) for effect in effects)


def is_bounded(effect: Estimate) -> bool:
    """Whether the data bound an effect, days or a ratio, at one end at least."""
    return math.isfinite(effect.high) or 0 < abs(effect.low) < math.inf


def days_decimals(contrast: Contrast, effect: Estimate) -> int:
    """Return with how many decimals a comparison's days are told: a single percent does little."""
    return decimals_of(effect, 2) if contrast.kind == "trend" else 1


def ratio_decimals(contrast: Contrast, effect: Estimate) -> int:
    """Return with how many decimals a comparison's ratio is told."""
    return decimals_of(effect, 3) if contrast.kind == "trend" else 2


def decimals_of(effect: Estimate, most: int) -> int:
    """Return with how many decimals an effect is told, 1 to `most`: those that its interval bears.

    Of half the interval's width two digits up to 35, else one (as the Particle Data Group rounds).

    >>> [decimals_of(Estimate(value=1.0, low=1 - half, high=1 + half), 3) for half in (0.4, 0.04, 0.02)]
    [1, 2, 3]
    """
    far = [abs(end - effect.value) for end in (effect.low, effect.high) if math.isfinite(end)]
    half = sum(far) / len(far) if far else math.inf
    if half > 0:
        most = min(most, math.ceil(-math.log10(half / 3.55))) if math.isfinite(half) else 1
    return max(1, most)


def say_contrast(contrast: Contrast, *, interim: bool, with_rates: bool) -> str:
    """Return one comparison in a few sentences.

    Parameters
    ----------
    contrast : Contrast
        Which.
    interim : bool
        Whether nothing is tested yet, which is said once for all.
    with_rates : bool
        Whether rates and warmth are said, too.
    """
    who = "Over all strains" if contrast.scope == ALL_STRAINS else contrast.scope
    basis = f"{_plural(contrast.bags, 'bag')}, {_plural(contrast.heat_runs, 'heat run')}"
    sooner = contrast.days_sooner
    if sooner is None or not _says_how_much(contrast):
        why = contrast.why_no_test or "Too few bags to bound a difference."
        return f"{who}, {_subject(contrast)}: can't be said ({basis}). {why}"
    decimals = days_decimals(contrast, sooner)
    first = f"{who}, {_say_size(contrast, sooner.value, decimals)}"
    parts = [f"{first} (90 % interval: {_say_range(sooner, decimals)}; {basis})."]
    parts += _say_test(contrast, interim)
    if with_rates and contrast.rate_ratio is not None:
        parts.append(_say_ratio(contrast.rate_ratio, contrast))
    if with_rates and contrast.degree_days_sooner is not None:
        parts.append(_say_warmth(contrast.degree_days_sooner, contrast))
    return " ".join(parts)


def _say_size(contrast: Contrast, days: float, decimals: int) -> str:
    come, none = _COME[contrast.milestone], round(abs(days), decimals) == 0
    if contrast.kind == "trend":
        size = "no sooner or later" if none else _say_amount(days, decimals)
        return f"each 1 % of {contrast.treatment} makes bags {come} {size}"
    if none:
        return f"{contrast.treatment} was {come} when {contrast.control} was"
    return f"{contrast.treatment} was {come} {_say_amount(days, decimals)} than {contrast.control}"


def _subject(contrast: Contrast) -> str:
    if contrast.kind == "trend":
        return f"trend over {contrast.treatment}"
    return f"{contrast.treatment} against {contrast.control}"


def _plural(count: int, what: str) -> str:
    if not count:
        return f"no {what} named"
    return count_of(count, what)


def _say_amount(amount: float, decimals: int, words: tuple[str, str, str] = _SOONER) -> str:
    return f"{abs(amount):.{decimals}f} {words[0]} {_way(amount, words)}"


def _way(amount: float, words: tuple[str, str, str]) -> str:
    return words[1] if amount >= 0 else words[2]


def _say_range(effect: Estimate, decimals: int, words: tuple[str, str, str] = _SOONER) -> str:
    low, high = effect.low, effect.high
    if math.isinf(low) and math.isinf(high):
        return "too few bags to bound it"
    if math.isinf(high) or math.isinf(low):
        bound, is_least = (low, low >= 0) if math.isinf(high) else (high, high < 0)
        side = "at least" if is_least else "at most"
        return f"{side} {_say_amount(bound, decimals, words)}, too few bags to bound it more"
    if _way(low, words) != _way(high, words):
        return f"{_say_amount(low, decimals, words)} to {_say_amount(high, decimals, words)}"
    near, far = sorted((low, high), key=abs)
    return f"{abs(near):.{decimals}f} to {_say_amount(far, decimals, words)}"


def _say_test(contrast: Contrast, interim: bool) -> list[str]:
    test = contrast.test
    if test is None:
        return [] if interim else [contrast.why_no_test]
    verdict = "Chance alone would hardly do this" if test.p_holm <= ALPHA else "Chance alone could do this"
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
    per, digits = " for each 1 %" if contrast.kind == "trend" else "", ratio_decimals(contrast, ratio)
    grew = f"At its fastest it grew {ratio.value:.{digits}f} times as fast{per}"
    if not is_bounded(ratio):
        return f"{grew}, too few bags to bound it."
    high = "no limit" if math.isinf(ratio.high) else f"{ratio.high:.{digits}f}"
    return f"{grew} ({ratio.low:.{digits}f} to {high}; {_plural(contrast.rate_bags, 'bag')})."


def _say_warmth(effect: Estimate, contrast: Contrast) -> str:
    per, decimals = (" for each 1 %", 1) if contrast.kind == "trend" else ("", 0)
    amount, ends = _say_amount(effect.value, decimals, _FEWER), _say_range(effect, decimals, _FEWER)
    return f"Counted by the warmth of the air: {amount}{per} ({ends})."


def describe_method(contrasts: Sequence[Contrast]) -> str:
    """Return how it was worked out, to be cited."""
    said = (
        "Times lie between two photos. The share that had come is the non-parametric maximum-likelihood"
        " estimate on half-open intervals (Turnbull 1976), lost bags never coming; the interval of its median"
        " is one of order statistics."
    )
    within = dict.fromkeys(contrast.exchanged_within for contrast in contrasts if contrast.exchanged_within)
    if within:
        said += (
            " In comparisons lost bags count until their onset. Differences are the shifts that leave none,"
            " with a 90 % interval that inverts a permutation test of rank scores (Hodges and Lehmann 1963;"
            f" Adichie 1967), times drawn within their intervals (seed {SEED}). Labels are exchanged within"
            f" {', or within '.join(name for name in within if not _is_within_another(name, within))}."
        )
    return said + _describe_tests([contrast.test for contrast in contrasts if contrast.test is not None])


def _is_within_another(name: str, names: Collection[str]) -> bool:
    """Whether another one says the same and more: over strains the strain is said, within one it isn't."""
    return any(other != name and other.endswith(name) for other in names)


def _describe_tests(tests: Sequence[PermutationTest]) -> str:
    if not tests:
        return ""
    drawn = max((test.labellings for test in tests if not test.exact), default=0)
    ways = (
        f"{drawn:,} ways to deal the labels, drawn with that seed,"
        if drawn
        else "all ways to deal the labels"
    )
    return (
        f" p is the share of {ways} that part the bags as clearly, either way, by Wilcoxon scores for"
        " interval-censored times (Fay 1996), over levels by Jonckheere's statistic (1954); for several"
        " comparisons adjusted by Holm (1979)."
    )
