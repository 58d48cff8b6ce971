"""`colscan yield`: what bags and levels gave (the module can't be called so: a word of Python)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import (
    FiniteRange,
    WholeRange,
    format_option,
    screen_of_stdout,
    trial_dir_argument,
)
from colscan.errors import TrialError
from colscan.hints import as_typed

if TYPE_CHECKING:
    from colscan.growth.crop import Yields
    from colscan.growth.crop.model import Ages, BagYield, LevelYield, Mean
    from colscan.present.table import Cell

LEVEL_SCREEN = (
    "strain", "treatment", "bags", "heat runs", "lost", "not yet", "g per bag spawned (90 % interval)",
    "g a day", "BE % of those harvested (bags)", "BE % with spawn", "pins on day", "first harvest on day",
    "cost a bag", "cost a kg",
)  # fmt: skip
LEVEL_COLUMNS = (
    "compared", "strain", "treatment", "supplement_pct", "bags", "counted", "harvested", "spent", "lost",
    "nothing", "not_yet", "left", "heat_runs", "g_per_bag_spawned", "g_per_bag_spawned_low",
    "g_per_bag_spawned_high", "g_per_bag_per_day", "cycle_days", "gain_g", "gain_low_g", "gain_high_g",
    "g_per_bag_harvested", "biological_efficiency_pct", "biological_efficiency_with_spawn_pct",
    "efficiency_bags", "pins_days", "pins_bags", "first_harvest_days", "first_harvest_bags", "cost_per_bag",
    "cost_per_kg",
)  # fmt: skip
BAG_SCREEN = (
    "bag", "strain", "treatment", "standing", "g in all", "g compared", "BE %", "BE % with spawn",
    "pins on day", "flushes",
)  # fmt: skip
BAG_COLUMNS = (
    "compared", "bag", "strain", "treatment", "supplement_pct", "standing", "flushes", "fresh_g",
    "saleable_g", "compared_g", "cycle_days", "dry_g", "dry_with_spawn_g", "biological_efficiency_pct",
    "biological_efficiency_with_spawn_pct", "pins_days", "first_harvest_days",
)  # fmt: skip


@click.command("yield")
@trial_dir_argument
@click.option(
    "--flush", type=WholeRange(1, 20), metavar="N", help="Compare flushes 1 to N, of bags that had it."
)
@click.option(
    "--days",
    type=FiniteRange(1, 1000),
    metavar="N",
    help="Or: compare harvests up to day N, of bags that the trial's records follow so long.",
)
@click.option("--price", "prices", multiple=True, metavar="TEXT", help="As 'bran, 1.20 per kg'; repeatable.")
@click.option("--bags", "by_bag", is_flag=True, help="A row a bag instead of a level.")
@format_option
def yield_(
    trial_dir: Path,
    flush: int | None,
    days: float | None,
    prices: tuple[str, ...],
    by_bag: bool,
    output_format: str,
) -> None:
    """Show what bags and levels gave.

    The figure of a level is fresh grams per bag spawned: a bag lost to
    contamination counts what it gave before, mostly nothing. Bags that are
    still to give the flush compared don't count. Without --flush or --days it
    is the latest flush that no bag is waited for.

    Biological efficiency (BE) is fresh weight in percent of the dry substrate;
    of the bags harvested, without and with the spawn's dry matter in it.

    --price needs the trial's recipe: an ingredient's name or 'spawn' per g, kg,
    oz or lb as weighed, or anything that each bag takes, as 'filter, 0.40 each'.

    \b
    Example:
      colscan yield hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.growth.crop import Basis, parse_price, sum_yields
    from colscan.ledger import read_ledger
    from colscan.present import render_rows
    from colscan.trial import load_trial
    from colscan.units import now

    if flush is not None and days is not None:
        msg = "--flush and --days can't both be given."
        raise TrialError(msg, "Compare bags either at the same flush or at the same age.")
    basis = None if flush is None and days is None else Basis(flush=flush, days=days)
    priced = tuple(map(parse_price, prices))
    yields = sum_yields(load_trial(trial_dir), read_ledger(trial_dir), now(), basis=basis, prices=priced)
    header, rows = _table_of(yields, by_bag=by_bag, for_screen=output_format == "table")
    screen = screen_of_stdout()
    click.echo(render_rows(header, rows, output_format, screen=screen), nl=False)
    click.echo(f"Compared: {yields.basis.words}.", err=True)
    for sentence in yields.sentences:
        click.echo(sentence, err=True)
    if not any(one.flushes for one in yields.bags):
        click.echo(f"Record a harvest: colscan harvest {as_typed(trial_dir)} BAG 1 GRAMS", err=True)


def _table_of(
    yields: Yields, *, by_bag: bool, for_screen: bool
) -> tuple[Sequence[str], Sequence[Sequence[Cell]]]:
    words = yields.basis.words
    if by_bag and for_screen:
        return BAG_SCREEN, [_bag_screen(one) for one in yields.bags]
    if by_bag:
        return BAG_COLUMNS, [[words, *_bag_data(one)] for one in yields.bags]
    if for_screen:
        return _drop_empty(LEVEL_SCREEN, [_level_screen(level) for level in yields.levels])
    return LEVEL_COLUMNS, [[words, *_level_data(level)] for level in yields.levels]


def _drop_empty(
    header: Sequence[str], rows: Sequence[Sequence[Cell]]
) -> tuple[Sequence[str], Sequence[Sequence[Cell]]]:
    """Columns that say nothing of any level are left out of the table for eyes."""
    keep = [i for i in range(len(header)) if any(row[i] not in ("", None) for row in rows)]
    return [header[i] for i in keep], [[row[i] for i in keep] for row in rows]


def _level_screen(level: LevelYield) -> list[Cell]:
    stand = _counts(level)
    return [
        level.strain,
        level.treatment,
        level.bags,
        level.heat_runs or "",
        stand.get("lost", 0),
        stand.get("not yet", ""),
        _show_mean(level.grams),
        _show(level.per_day_g, 1),
        _show_percent(level.efficiency, of=level.bags),
        _show_percent(level.efficiency_with_spawn, of=level.bags),
        _show_ages(level.pins),
        _show_ages(level.first),
        _show(level.cost.per_bag if level.cost else None, 2),
        _show(level.cost.per_kg if level.cost else None, 2),
    ]


def _counts(level: LevelYield) -> dict[str, int]:
    return {str(standing): count for standing, count in level.standings.items()}


def _show(value: float | None, decimals: int) -> str:
    return "" if value is None else f"{value:.{decimals}f}"


def _show_mean(mean: Mean | None) -> str:
    if mean is None:
        return ""
    interval = "" if mean.low is None or mean.high is None else f" ({mean.low:.0f}-{mean.high:.0f})"
    return f"{mean.value:3.0f}{interval}"


def _show_percent(mean: Mean | None, *, of: int) -> str:
    """An efficiency, with how many bags it is of where some of those spawned are left out."""
    if mean is None:
        return ""
    return f"{mean.value:.1f}" + (f" ({mean.bags} of {of})" if mean.bags < of else "")


def _show_ages(ages: Ages | None) -> str:
    if ages is None:
        return ""
    span = "" if ages.bags == 1 else f" ({ages.first:.0f}-{ages.last:.0f})"
    return f"{ages.median:.0f}{span}"


def _level_data(level: LevelYield) -> list[Cell]:
    stand = _counts(level)
    return [
        level.strain,
        level.treatment,
        level.supplement_pct,
        level.bags,
        level.counted,
        *(stand.get(word, 0) for word in ("harvested", "spent", "lost", "nothing", "not yet", "left")),
        level.heat_runs,
        *_three(level.grams),
        _rounded(level.per_day_g),
        _rounded(level.cycle_days),
        *_three(level.gain),
        _value(level.harvested_g),
        _value(level.efficiency),
        _value(level.efficiency_with_spawn),
        level.efficiency.bags if level.efficiency else 0,
        *_median(level.pins),
        *_median(level.first),
        _rounded(level.cost.per_bag if level.cost else None),
        _rounded(level.cost.per_kg if level.cost else None),
    ]


def _three(mean: Mean | None) -> list[Cell]:
    return [None] * 3 if mean is None else [_rounded(v) for v in (mean.value, mean.low, mean.high)]


def _value(mean: Mean | None) -> float | None:
    return None if mean is None else _rounded(mean.value)


def _median(ages: Ages | None) -> list[Cell]:
    return [None, 0] if ages is None else [_rounded(ages.median), ages.bags]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def _efficiencies(one: BagYield) -> list[float | None]:
    from colscan.growth import biological_efficiency_pct

    return [
        None
        if dry is None or one.compared_g is None
        else _rounded(biological_efficiency_pct(one.compared_g, dry.dry_g))
        for dry in (one.dry, one.dry_with_spawn)
    ]


def _bag_screen(one: BagYield) -> list[Cell]:
    return [
        one.bag.bag,
        one.bag.strain,
        one.bag.treatment,
        one.standing,
        f"{one.fresh_g:.0f}" if one.flushes else "",
        _show(one.compared_g, 0),
        *(_show(pct, 1) for pct in _efficiencies(one)),
        _show(one.pins_days, 0),
        ", ".join(f"{flush.number}: {flush.fresh_g:.0f} g on day {flush.days:.0f}" for flush in one.flushes),
    ]


def _bag_data(one: BagYield) -> list[Cell]:
    saleable = [flush.saleable_g for flush in one.flushes if flush.saleable_g is not None]
    return [
        one.bag.bag,
        one.bag.strain,
        one.bag.treatment,
        one.bag.supplement_pct,
        one.standing,
        len(one.flushes),
        _rounded(one.fresh_g),
        _rounded(sum(saleable)) if saleable else None,
        _rounded(one.compared_g),
        _rounded(one.cycle_days),
        _rounded(one.dry.dry_g if one.dry else None),
        _rounded(one.dry_with_spawn.dry_g if one.dry_with_spawn else None),
        *_efficiencies(one),
        _rounded(one.pins_days),
        _rounded(one.first_days),
    ]
