"""How far to trust the scores on a grower's own bags, in words."""

from __future__ import annotations

from collections.abc import Sequence

from colscan.growth.agree import LEAST_OF_BAND, MIDDLE, Agreement, Band, Check, Kind, Limits
from colscan.units import count_of

FEW_PAIRS = 20
"""The limits' own intervals then reach over three quarters of a standard deviation to either side."""
_WORST_TIMES = 1.5
"""A band is named whose differences are so many times those of all pairs."""
_MIDDLE = f"{100 * MIDDLE[0]:.0f} to {100 * MIDDLE[1]:.0f} % covered"
_ORIGIN = (
    "The scorer was built on rendered photos, and no open photo set of such bags exists: what your own eyes"
    " say of your own bags is its only check on them."
)


def say_agreement(check: Check) -> tuple[str, ...]:
    """Return what the check says, in sentences: the headline first, then what must be known to read it."""
    headline = check.agreements[0]
    said = [_say_trust(headline)]
    said += _say_bias(headline)
    said += _say_bands(headline)
    said += _say_headline(headline)
    said += _say_left_out(check)
    return (*said, _ORIGIN)


def _say_trust(one: Agreement) -> str:
    if one.limits is None:
        score, seen = _pct(one.pairs[0].score), _pct(one.pairs[0].seen)
        return f"One pair says nothing of the others: a score of {score} where {seen} was seen ({one.kind})."
    worst = max(limits.farthest for limits in (one.limits, one.middle) if limits)
    said = (
        f"On these bags read a single score as good to about {_points(worst)} points. 19 of 20 lie"
        f" {_between(one.limits)} points from what was seen ({count_of(len(one.pairs), 'pair')} of"
        f" {count_of(one.bags, 'bag')}, {one.kind})"
    )
    if one.middle is None:
        said += f"; hardly any bag was {_MIDDLE}, where scores can go wrong: estimate such bags, too."
    else:
        said += f"; of the {one.middle.pairs} that were {_MIDDLE}, {_between(one.middle)}."
    if len(one.pairs) < FEW_PAIRS:
        far = max(abs(one.limits.lower.low), abs(one.limits.upper.high))
        said += (
            f" So few pairs don't settle it: it may be {_points(far)} points as well; {FEW_PAIRS} pairs or"
            " more say it better."
        )
    return said


def _say_bias(one: Agreement) -> list[str]:
    if one.limits is None:
        return []
    bias = one.limits.bias
    interval = f"95 % interval {_points(bias.low, sign=True)} to {_points(bias.high, sign=True)}"
    if bias.low <= 0 <= bias.high:
        return [f"They are neither too high nor too low on the whole, as far as the pairs tell ({interval})."]
    way = "high" if bias.value > 0 else "low"
    return [f"On the whole scores are too {way}, by {_points(abs(bias.value))} points ({interval})."]


def _say_bands(one: Agreement) -> list[str]:
    said = []
    full = [band for band in one.bands if band.pairs >= LEAST_OF_BAND]
    worst = max(full, key=lambda band: band.mean_abs, default=None)
    if worst is not None and worst.mean_abs > _WORST_TIMES * one.mean_abs:
        said.append(
            f"Worst where {_range(worst)} was seen: {_points(worst.mean_abs)} points in the mean of"
            f" {count_of(worst.pairs, 'pair')}."
        )
    if one.whole.concordance:
        said.append(
            f"Lin's concordance is {one.whole.concordance.value:.3f} over {_range(one.whole)} (precision"
            f" {one.whole.concordance.correlation:.3f}, accuracy {one.whole.concordance.accuracy:.3f});"
            " over a wide range it is high by itself, so look at the bands."
        )
    said.append(
        f"The scores' own 90 % intervals hold {100 * one.held:.0f} % of what was seen. An eye errs, too: by 4"
        " to 9 points in the mean on leaves (Franceschi et al. 2020, doi:10.1111/ppa.13148)."
    )
    return said


def _say_headline(one: Agreement) -> list[str]:
    said = []
    if one.kind is Kind.OPEN:
        said.append(
            "No estimate here is blind: who knows score or treatment agrees with it unawares. Estimate some"
            " bags without looking at the scores, and write blind = yes."
        )
    if one.bags < len(one.pairs):
        said.append("Pairs of one bag are alike, so the intervals are rather too narrow.")
    return said


def _say_left_out(check: Check) -> list[str]:
    counts: Sequence[tuple[int, str]] = (
        (check.unmatched, "of a bag or photo that has no score, or more than one"),
        (check.unmeasured, "of a bag that could not be measured in that photo"),
    )
    return [f"Left out: {count_of(count, 'value')} {why}." for count, why in counts if count]


def _pct(fraction: float) -> str:
    return f"{100 * fraction:.0f} %"


def _points(fraction: float, *, sign: bool = False) -> str:
    return f"{100 * fraction:+.1f}" if sign else f"{100 * fraction:.1f}"


def _between(limits: Limits) -> str:
    lower, upper = limits.lower.value, limits.upper.value
    return f"between {_points(lower, sign=True)} and {_points(upper, sign=True)}"


def _range(band: Band) -> str:
    return f"{100 * band.low:.0f} to {100 * band.high:.0f} %"
