"""What `colscan recipe` prints: tables for eyes, and figures for programs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import screen_of_stdout
from colscan.app.recipe_levels import Lot, list_mixes, list_purchases
from colscan.app.recipe_rows import (
    SPAWN,
    Amount,
    Figure,
    Key,
    by_order,
    list_amounts,
    list_parts,
    list_ratios,
    measures,
)
from colscan.errors import TrialError
from colscan.present import render_rows
from colscan.present.weights import say_weight

if TYPE_CHECKING:
    from colscan.present.table import Cell
    from colscan.trial.model import Trial
    from colscan.trial.recipe import Recipe

Before = dict[Key, float | None]
HEADER = ("what", "base", "per", "value", "unit")
SAME = 1e-6
"""Figures that differ by less than this share are the same: printed ones are rounded."""
_DIGITS = 9


def print_figures(figures: Sequence[Figure], before: Before | None, output_format: str) -> None:
    """Print figures as CSV or JSON; where there is an earlier recipe, its figures beside them."""
    now = {f.key: _rounded(f.value) for f in figures}
    earlier = before or {}
    rows: list[list[Cell]] = [
        [key.treatment, key.mix, key.what, key.base, key.per, now.get(key), key.unit, earlier.get(key)]
        for key in [*now, *(key for key in earlier if key not in now)]
    ]
    header = ("treatment", "mix", *HEADER, "previous")
    # A recipe of one bag has neither treatment nor mix.
    shown = slice(0 if _is_of_trial(now) else 2, len(header) - (before is None))
    click.echo(render_rows(header[shown], [row[shown] for row in rows], output_format), nl=False)


def _is_of_trial(keys: Before) -> bool:
    return any(key.treatment for key in keys)


def _rounded(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{_DIGITS}g}")


def check_alike(figures: Sequence[Figure], before: Before | None) -> None:
    """Refuse (`TrialError`) to compare a bag's recipe with a trial's."""
    now = {f.key: f.value for f in figures}
    if before is not None and _is_of_trial(now) != _is_of_trial(before):
        kinds = ("a trial's", "a bag's") if _is_of_trial(before) else ("a bag's", "a trial's")
        msg = f"The previous recipe is {kinds[0]}, this one {kinds[1]}."
        raise TrialError(msg, "Give one that was printed in the same way.")


def print_changes(figures: Sequence[Figure], before: Before | None) -> None:
    """Print which of a bag's figures (weights in grams only) differ from an earlier recipe's."""
    if before is None:
        return
    now = {f.key: f.value for f in figures}
    rows: list[list[Cell]] = []
    for key in [*now, *(k for k in before if k not in now)]:
        is_shown = key.per == "bag" and key.unit in ("g", "%", "")
        if is_shown and not (key in before and _same(now.get(key), before[key])):
            values = (_shown(v.get(key), key.unit, decimals=2) for v in (before, now))
            rows.append([key.treatment, key.what, key.base, *values])
    click.echo()
    if not rows:
        click.echo("Nothing differs from the previous recipe.")
        return
    of_trial = _is_of_trial(now)
    header = ("level", "changed", "base", "previous", "now")
    _print_table(header if of_trial else header[1:], [row if of_trial else row[1:] for row in rows])


def _same(value: float | None, earlier: float | None) -> bool:
    if value is None or earlier is None:
        return value is earlier
    return math.isclose(value, earlier, rel_tol=SAME, abs_tol=SAME)


def print_bag_tables(recipe: Recipe, scales: dict[str, int]) -> None:
    """Print what to weigh for a bag, a mix and all bags, and what it comes to."""
    titles = {"bag": "one bag", "mix": f"mix of {scales.get('mix')}", "trial": f"all {scales.get('trial')}"}
    columns = [list_amounts(recipe, bags=bags) for bags in scales.values()]
    _print_table(("what", "base", *(titles[per] for per in scales)), _amount_rows(columns))
    click.echo()
    _print_table(("what", "base", "value"), _ratio_rows([list_ratios(recipe)]))


def print_trial_tables(trial: Trial, levels: Sequence[Lot]) -> None:
    """Print each level side by side, the mixes, and what all bags of the trial take."""
    names = [level.treatment for level in levels]
    _print_table(("one bag", "base", *names), _amount_rows([list_amounts(level.recipe) for level in levels]))
    click.echo()
    _print_table(("", "base", *names), _ratio_rows([list_ratios(level.recipe) for level in levels]))
    click.echo()
    _print_lots([*list_mixes(trial), *levels])
    click.echo()
    blanks = sum(level.blanks for level in levels)
    title = f"all {len(trial.bags)} bags" + (f", {blanks} blank" if blanks else "")
    _print_table(("to buy", "base", title), _amount_rows([list_purchases(trial)]))


def _print_lots(lots: Sequence[Lot]) -> None:
    """Print a row for each mix and for all bags of each level: what goes into them."""
    columns = [[*list_parts(lot.recipe, bags=lot.bags), *_spawn_of(lot)] for lot in lots]
    every = _in_order(columns)
    rows: list[list[Cell]] = []
    for lot, column in zip(lots, columns, strict=True):
        own = {_row_of(a): a for a in column}
        bags = f"{lot.bags}, {lot.blanks} blank" if lot.blanks else str(lot.bags)
        # Narrow columns break a comma better than an equals sign.
        weights = (_say_weight(own.get(_row_of(a)), between=", ") for a in every)
        rows.append([lot.mix or "all", lot.treatment, bags, *weights])
    _print_table(("mix", "level", "bags", *(a.what for a in every)), rows)


def _spawn_of(lot: Lot) -> list[Amount]:
    return [amount for amount in lot.amounts if amount.base == SPAWN]


def _print_table(header: Sequence[str], rows: Sequence[Sequence[Cell]]) -> None:
    click.echo(render_rows(header, rows, "table", screen=screen_of_stdout()), nl=False)


def _row_of(one: Amount | Figure) -> tuple[str, str]:
    return one.what, one.base


def _in_order(columns: Sequence[Sequence[Amount]]) -> list[Amount]:
    """Return each amount that one of the columns has, in the order in which it goes into the mix."""
    return sorted({_row_of(a): a for column in columns for a in column}.values(), key=by_order)


def _amount_rows(columns: Sequence[Sequence[Amount]]) -> list[list[Cell]]:
    """Return a row for each amount by weight, and by volume where it has a density."""
    by_row = [{_row_of(a): a for a in column} for column in columns]
    rows: list[list[Cell]] = []
    for amount in _in_order(columns):
        own = [column.get(_row_of(amount)) for column in by_row]
        rows.append([amount.what, amount.base, *map(_say_weight, own)])
        if amount.density_kg_per_l is not None:
            rows.append([amount.what, f"by volume, US {amount.quart}", *map(_say_volume, own)])
    return rows


def _ratio_rows(columns: Sequence[Sequence[Figure]]) -> list[list[Cell]]:
    by_row = [{_row_of(f): f for f in column} for column in columns]
    every = {row: f.unit for column in by_row for row, f in column.items()}
    return [
        [
            *row,
            *(
                "" if (f := column.get(row)) is None else _shown(f.value, unit, decimals=1)
                for column in by_row
            ),
        ]
        for row, unit in every.items()
    ]


def _say_weight(amount: Amount | None, *, between: str = " = ") -> str:
    if amount is None:
        return "none"
    return say_weight(amount.mass_g, between=between)


def _say_volume(amount: Amount | None) -> str:
    if amount is None:
        return "none"
    by_unit = measures(amount)
    return f"{by_unit['L']:.2f} L = {by_unit[f'US {amount.quart}']:.2f} qt"


def _shown(value: float | None, unit: str, *, decimals: int) -> str:
    return "not known" if value is None else f"{value:.{decimals}f} {unit}".rstrip()
