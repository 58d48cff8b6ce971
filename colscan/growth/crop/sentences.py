"""Yields in words: what each level gave more or less than the lowest, and what must be known to read it."""

from __future__ import annotations

from collections.abc import Sequence

from colscan.growth.crop.intervals import METHOD
from colscan.growth.crop.model import BagYield, Basis, LevelYield, Standing
from colscan.units import count_of

FEW_BAGS = 5
"""With fewer bags a level, one bag more or less turns the mean."""


def say_answers(levels: Sequence[LevelYield], bags: Sequence[BagYield], basis: Basis) -> tuple[str, ...]:
    """Return what the levels gave, and which bags that leaves out; that nothing was harvested, if so."""
    if not _was_harvested(levels):
        return (_say_nothing(levels, bags, basis),)
    runs = _runs_of(bags)
    said = [_say_gain(level, lowest, basis=basis, runs=runs) for level, lowest in _compared(levels)]
    return (*said, *_say_runs(levels, runs), *_say_waiting(levels, basis))


def say_notes(levels: Sequence[LevelYield], *, interim: bool) -> tuple[str, ...]:
    """Return how what the levels gave was worked out; nothing where nothing was harvested."""
    if not _was_harvested(levels):
        return ()
    said = [*_say_few(levels), *_say_efficiency(levels), *_say_cost(levels)]
    return (*said, "Interim: the trial goes on, and figures may change.") if interim else tuple(said)


def _was_harvested(levels: Sequence[LevelYield]) -> bool:
    """Whether a bag that counts gave something."""
    return any(level.harvested_g for level in levels)


def _name(level: LevelYield) -> str:
    return f"{level.strain}, {level.treatment}"


def _say_nothing(levels: Sequence[LevelYield], bags: Sequence[BagYield], basis: Basis) -> str:
    total = sum(level.bags for level in levels)
    lost = sum(level.standings.get(Standing.LOST, 0) for level in levels)
    wait = f"{count_of(total, 'bag')} spawned, {lost} of them lost"
    if basis.days is not None and any(one.standing is Standing.NOT_YET for one in bags):
        return (
            f"No bag that bears is known to have come to day {basis.days:g} yet: ages count to the trial's"
            f" last record, or its end; {wait}."
        )
    return f"No harvest yet ({basis.words}); {wait}."


_Runs = dict[tuple[str, str], set[str | None]]
"""The heat runs of the bags that count, by strain and treatment; None among them where one isn't known."""


def _runs_of(bags: Sequence[BagYield]) -> _Runs:
    runs: _Runs = {}
    for one in bags:
        if one.compared_g is not None:
            runs.setdefault((one.bag.strain, one.bag.treatment), set()).add(one.bag.heat_run)
    return runs


def _compared(levels: Sequence[LevelYield]) -> list[tuple[LevelYield, LevelYield]]:
    """Each level that is compared, with the lowest of its strain, which comes before it."""
    lowest: dict[str, LevelYield] = {}
    pairs = [(level, lowest.setdefault(level.strain, level)) for level in levels]
    return [(level, control) for level, control in pairs if level.gain]


def _say_gain(level: LevelYield, lowest: LevelYield, *, basis: Basis, runs: _Runs) -> str:
    gain = level.gain
    assert gain is not None
    more = "more" if gain.value >= 0 else "less"
    own = runs[level.strain, level.treatment] | runs[lowest.strain, lowest.treatment]
    of = "" if None in own else f" of {count_of(len(own), 'heat run')}"
    start = (
        f"{_name(level)}: {abs(gain.value):.0f} g {more} per bag spawned than at the lowest level,"
        f" {lowest.treatment} ({basis.words}; {gain.bags} bags{of}"
    )
    if gain.low is None or gain.high is None:
        return f"{start}); too few bags for an interval."
    interval = f"; 90 % interval {gain.low:+.0f} to {gain.high:+.0f} g)"
    if gain.low <= 0 <= gain.high:
        return f"{start}{interval}: these bags can't say which of the two gives more."
    return f"{start}{interval}."


def _say_runs(levels: Sequence[LevelYield], runs: _Runs) -> list[str]:
    """Levels that never met the lowest one in a heat run."""
    said = []
    for level, lowest in _compared(levels):
        own, others = (runs[of.strain, of.treatment] for of in (level, lowest))
        if None not in own | others and not own & others:
            said.append(
                f"{_name(level)} and {lowest.treatment} were in no heat run together: what the runs did"
                " can't be told apart from what the level did."
            )
    return said


def _say_waiting(levels: Sequence[LevelYield], basis: Basis) -> list[str]:
    waiting, left = _count_by_level(levels, Standing.NOT_YET), _count_by_level(levels, Standing.LEFT)
    said = []
    if waiting:
        why = (
            "were not followed so long and don't count"
            if basis.flush is None
            else "have not had it yet and don't count; lost bags do already, so these levels look worse"
            " than they will be"
        )
        said.append(f"Bags that {why}: {waiting}.")
    if left:
        said.append(f"Bags that were taken out or went missing without a harvest and don't count: {left}.")
    return said


def _count_by_level(levels: Sequence[LevelYield], standing: Standing) -> str:
    """How many bags of which levels stand so; empty for none."""
    counts = ((level, level.standings.get(standing, 0)) for level in levels)
    return "; ".join(f"{_name(level)} {count} of {level.bags}" for level, count in counts if count)


def _say_few(levels: Sequence[LevelYield]) -> list[str]:
    few = [level for level in levels if 0 < level.counted < FEW_BAGS]
    said = [
        f"{METHOD} They take bags as independent; bags of one heat run are lost together, so with few runs"
        " they are too narrow."
    ]
    if few:
        fewest = min(level.counted for level in few)
        said.insert(
            0,
            f"Few bags: {len(few)} of {len(levels)} levels count under {FEW_BAGS}, {fewest} at the least; one"
            " bag more or less turns such a mean.",
        )
    return said


def _say_efficiency(levels: Sequence[LevelYield]) -> list[str]:
    if not any(level.efficiency for level in levels):
        return ["No biological efficiency: give dry_g in bags.csv, or keep a recipe in trial.toml."]
    sources = sorted({source for level in levels for source in level.dry_sources})
    said = [
        "Biological efficiency: fresh weight in percent of the dry substrate, of the bags harvested"
        + (f" (dry matter {'; '.join(sources)})" if sources else "")
        + "; it may be over 100 %."
    ]
    spent = _count_by_level(levels, Standing.SPENT)
    if spent:
        said.append(
            "It leaves out bags taken out after a harvest, but before the one compared (grams per bag spawned"
            f" count them): {spent}."
        )
    if not any(level.efficiency_with_spawn for level in levels):
        said.append("With the spawn counted as substrate: not known; the recipe lacks the spawn's moisture.")
    return said


def _say_cost(levels: Sequence[LevelYield]) -> list[str]:
    without = sorted({name for level in levels if level.cost for name in level.cost.without})
    return [f"The cost counts nothing for {', '.join(without)}: no price was given."] if without else []
