"""What the bags show of the risk, in words a grower reads without a statistics course."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise, takewhile

from colscan.growth.risk.followed import as_large
from colscan.growth.risk.limits import Rule
from colscan.growth.risk.model import Dose, Level, LevelRisk, LossSource, Trend
from colscan.growth.risk.trend import DRAWN
from colscan.trial.power import ALPHA
from colscan.units import count_of

# A source is pointed out from so many losses on, and from so many times those expected.
_FEWEST_LOSSES, _TIMES_EXPECTED = 3, 2.0


def pct(share: float) -> str:
    """Return a share as a whole percent, with a decimal below 10 %, an upper limit never rounded down to 0.

    >>> pct(0.2345), pct(0.031)
    ('23 %', '3.1 %')
    """
    return f"{100 * share:.1f} %" if share < 0.0995 else f"{100 * share:.0f} %"


def say_level(own: LevelRisk, rule: Rule) -> str:
    """Return what the bags of a level show, against the accepted risk."""
    coming = f" ({own.running} on the way)" if own.running else ""
    if own.limit is None or own.low is None or own.share is None:
        where = as_large(own.more_runs, rule.clusters, "")
        need = f"; {own.more} without a loss, in {where}, would be enough to say" if own.more else ""
        return f"{own.level.name}: 0 of {count_of(own.spawned, 'bag')} at the horizon yet{need}."
    said = f"{own.level.name}: {own.lost} of {count_of(own.followed, 'bag')} lost"
    accepted = f"your limit of {100 * rule.accepted:g} %"
    high = pct(own.limit)
    if own.suspects and own.limit_at_worst is not None:
        high = f"{high} ({pct(own.limit_at_worst)} if the suspects are losses, too)"
    if own.low > rule.accepted:
        return f"{said}; the true share is at least {pct(own.low)}, over {accepted}, and up to {high}."
    if own.share > rule.accepted:
        return f"{said}, more than {accepted}; the true share may be anything from {pct(own.low)} to {high}."
    said = f"{said}; the true share may be as high as {high}"
    if own.acceptable:
        return f"{said}, within {accepted}."
    if own.more is None:
        return f"{said}, over {accepted}."
    need = f"{own.more} more without a loss, in {as_large(own.more_runs, rule.clusters)}, would do"
    return f"{said}, over {accepted}: not enough bags to say, {need}{coming}."


def say_highest(levels: Sequence[LevelRisk], highest: Level | None, rule: Rule) -> str:
    """Return the highest level still acceptable, or why none can be named."""
    place = -1 if highest is None else [own.level for own in levels].index(highest)
    alone = ", ".join(own.level.name for own in levels[place + 1 :] if own.acceptable)
    skipped = f" ({alone} would pass alone, but no level is skipped.)" if alone else ""
    if highest is None:
        return f"{_say_none(levels[0], rule)}{skipped}"
    if place == len(levels) - 1:
        tried = "the only one tried" if len(levels) == 1 else "the highest one tried"
        return f"Highest level still acceptable: {highest.name}, {tried}."
    return f"Highest level still acceptable: {highest.name}.{skipped}"


def _say_none(first: LevelRisk, rule: Rule) -> str:
    if first.low is not None and first.low > rule.accepted:
        return (
            f"No level is acceptable: at the lowest, {first.level.name}, {pct(first.low)} or more are lost."
        )
    if first.more is None:
        return (
            f"Highest level still acceptable: can't be said, {first.level.name} has too many losses for that."
        )
    need = f"{first.more} more of {first.level.name} without a loss"
    where = as_large(first.more_runs, rule.clusters)
    return f"Highest level still acceptable: not enough bags to say, {need}, in {where}, would do."


def say_at_worst(levels: Sequence[LevelRisk], highest: Level | None, rule: Rule) -> str:
    """Return what would be left of the highest level if the suspects were losses, too; empty if all of it."""
    within = list(takewhile(lambda own: (own.limit_at_worst or 1.0) <= rule.accepted, levels))
    worst = within[-1].level if within else None
    if highest is None or (worst is not None and worst.pct >= highest.pct):
        return ""
    left = "none could be named" if worst is None else f"it would be {worst.name}"
    return f"Review the suspects: if they were losses, too, {left}."


def say_order(levels: Sequence[LevelRisk]) -> str:
    """Return where the share lost falls from a level to the next; empty where it never does."""
    known = [own for own in levels if own.share is not None]
    for lower, higher in pairwise(known):
        if (higher.share or 0) < (lower.share or 0):
            return (
                f"Losses don't rise steadily: {lower.lost} of {lower.followed} at {lower.level.name},"
                f" {higher.lost} of {higher.followed} at {higher.level.name}."
            )
    return ""


def say_trend(trend: Trend) -> str:
    """Return whether losses rise with the level."""
    if trend.p is None:
        return f"Trend over levels: no p-value, {trend.why_not}."
    p = "p < 0.001" if trend.p < 0.001 else f"p = {trend.p:.2g}"
    drawn = "" if trend.seed is None else f", {DRAWN:,} draws with seed {trend.seed}"
    how = f"{p}; Cochran-Armitage, levels exchanged between the {trend.exchanged} of each heat run{drawn}"
    if trend.p > ALPHA:
        return f"Whether losses change with the level can't be told yet ({how})."
    way = "rise" if (trend.z or 0) > 0 else "fall"
    return f"Losses {way} with the level ({how})."


def say_dose(dose: Dose, levels: Sequence[LevelRisk], rule: Rule) -> str:
    """Return the level at which the accepted risk is reached."""
    if dose.pct is None:
        return f"No dose estimate: {dose.why_not}."
    tried = [own.level.pct for own in levels if own.followed]
    curve = f"A curve through all levels reaches {100 * rule.accepted:g} % lost"
    return f"{curve} {_say_place(dose.pct, tried)}; {_say_bounds(dose)}."


def _say_place(pct: float, tried: Sequence[float]) -> str:
    """Where the dose lies; outside the levels tried the curve is a guess, far outside it tells no figure."""
    if pct > tried[-1]:
        beyond = f"beyond {tried[-1]:g} %, the highest level tried"
        return beyond if pct > 2 * tried[-1] - tried[0] else f"{beyond} (about {pct:.1f} %)"
    if pct < tried[0]:
        below = f"below {tried[0]:g} %, the lowest level tried" if tried[0] else "without supplement"
        return f"already {below}"
    return f"at {pct:.1f} %"


def _say_bounds(dose: Dose) -> str:
    low, high = max(0.0, dose.low_pct or 0.0), dose.high_pct
    if high is None:
        open_ = f"90 % interval from {low:.1f} % on, with no upper end"
        return open_ if low else "these bags rule out no level"
    return f"90 % interval from {low:.1f} to {high:.1f} %" if high > 0 else "no level is in its 90 % interval"


def say_not_followed(*, running: int, gone: int, suspects: int, front_only: int) -> tuple[str, ...]:
    """Return what the limits leave out, a sentence each.

    Parameters
    ----------
    running, gone : int
        Bags not at the horizon yet, and bags that left before it for another reason.
    suspects : int
        Bags with a suspect patch that would be lost at worst.
    front_only : int
        Bags followed to the horizon of which nobody has looked at the other sides.
    """
    lines = []
    if running:
        lines.append(
            f"{count_of(running, 'bag')} not at the horizon yet: clean so far is not clean, so they enter no"
            " limit. Lost ones enter at once: shares are too high until all are there."
        )
    if gone:
        lines.append(
            f"{count_of(gone, 'bag')} left before the horizon for another reason: they enter no limit."
        )
    if suspects:
        lines.append(
            f"{count_of(suspects, 'bag')} with suspect patches that nobody has called harmless or"
            " contaminated: 'at worst' counts them as lost."
        )
    if front_only:
        lines.append(
            f"{count_of(front_only, 'bag')} at the horizon of which only the front was seen: a loss at the"
            " back would be missed. Look all round, and record it."
        )
    return tuple(lines)


def say_sources(sources: Sequence[LossSource]) -> tuple[str, ...]:
    """Return the sources that losses gather in."""
    said = []
    for own in sources:
        if own.expected is None or own.lost < _FEWEST_LOSSES or own.lost < _TIMES_EXPECTED * own.expected:
            continue
        said.append(
            f"{own.lost} of the {own.followed} bags of {own.kind} {own.name} were lost; by strain and level"
            f" {own.expected:.1f} were to be expected."
        )
    return tuple(said)
