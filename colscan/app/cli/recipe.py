"""`colscan recipe`: what to weigh, and what it comes to."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import format_option, screen_of_stdout
from colscan.errors import TrialError

if TYPE_CHECKING:
    from colscan.app.recipe_rows import Figure
    from colscan.present.table import Cell
    from colscan.trial.recipe import Recipe

Key = tuple[str, str, str, str]
HEADER = ("what", "base", "per", "value", "unit")
SAME = 1e-6
"""Figures that differ by less than this share are the same: printed ones are rounded."""
_DIGITS = 9
MOST_BAGS = 100_000
"""More bags are a slip of the finger."""


@click.command()
@click.option("--main", multiple=True, required=True, metavar="INGREDIENT", help="Main substrate.")
@click.option("--supplement", multiple=True, metavar="INGREDIENT", help="Bran and the like.")
@click.option("--other", multiple=True, metavar="INGREDIENT", help="Anything else, as gypsum.")
@click.option("--water", metavar="AMOUNT", help="Water added to a bag.")
@click.option("--moisture", metavar="PCT", help="Or: the moisture to reach, of the wet weight.")
@click.option("--bag-wet", metavar="AMOUNT", help="Wet weight of a bag; --main then has no amount.")
@click.option("--bag-dry", metavar="AMOUNT", help="Or: oven-dry matter of a bag.")
@click.option("--spawn", metavar="AMOUNT", help="Weight, or '5% of wet', or '10% of dry'.")
@click.option("--spawn-moisture", metavar="PCT", help="Moisture of the spawn.")
@click.option(
    "--bags", type=click.IntRange(1, MOST_BAGS), metavar="N", help="Bags of this recipe in the trial."
)
@click.option(
    "--bags-per-mix", type=click.IntRange(1, MOST_BAGS), metavar="N", help="Bags that one mix fills."
)
@click.option(
    "--previous", type=click.Path(path_type=Path), metavar="JSON", help="Show what differs from it."
)
@format_option
def recipe(
    main: tuple[str, ...],
    supplement: tuple[str, ...],
    other: tuple[str, ...],
    water: str | None,
    moisture: str | None,
    bag_wet: str | None,
    bag_dry: str | None,
    spawn: str | None,
    spawn_moisture: str | None,
    bags: int | None,
    bags_per_mix: int | None,
    previous: Path | None,
    output_format: str,
) -> None:
    """Work out what to weigh for a bag, a mix and all bags.

    INGREDIENT is "NAME, AMOUNT, moisture PCT", of one bag. An amount is a weight
    (g, kg, oz, lb), or but for --main a share: "2.5% of main" (main substrate as
    weighed) or "20% of dry" (all dry matter, oven-dry). A volume (L, ml,
    liquid qt, dry qt) needs "density D", measured, in kg per litre. For C:N add
    "C PCT, N PCT, source TEXT", percent of dry matter. Water has 0.998 kg/L.

    Spawn counts in no moisture. Keep a recipe with --format json > FILE and
    give it to --previous later.

    \b
    Example:
      colscan recipe --main "pellets, 2 lb, moisture 6%" --water "45 oz"
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.recipe_rows import list_figures, list_warnings, read_figures
    from colscan.trial.model import RecipePlan
    from colscan.trial.trial_recipe import work_out

    plan = RecipePlan(
        main=main,
        supplement=supplement,
        other=other,
        water=water,
        moisture_pct=_percent(moisture, "--moisture"),
        bag_wet=bag_wet,
        bag_dry=bag_dry,
        spawn=spawn,
        spawn_moisture_pct=_percent(spawn_moisture, "--spawn-moisture"),
    )
    worked_out = work_out(plan)
    scales = _scales(bags, bags_per_mix)
    before = None if previous is None else read_figures(previous)
    figures = list_figures(worked_out, scales)
    if output_format == "table":
        _print_tables(worked_out, scales, _changes(figures, before))
    else:
        _print_figures(figures, before, output_format)
    for warning in list_warnings(worked_out, target_pct=plan.moisture_pct):
        click.echo(f"Warning: {warning}", err=True)
    if bags and bags_per_mix and bags % bags_per_mix:
        last = f"the last of {math.ceil(bags / bags_per_mix)} mixes is for {bags % bags_per_mix} bags only."
        click.echo(f"Note: {last}", err=True)


def _percent(text: str | None, option: str) -> float | None:
    from colscan.trial.amounts import parse_moisture

    # Rounded for 0.07 * 100 to be 7, as it was written.
    return None if text is None else round(100.0 * parse_moisture(text, option), _DIGITS)


def _scales(bags: int | None, bags_per_mix: int | None) -> dict[str, int]:
    if bags and bags_per_mix and bags_per_mix > bags:
        msg = f"A mix for {bags_per_mix} bags is more than the {bags} bags in all."
        raise TrialError(msg, "Give a smaller --bags-per-mix.")
    scales = {"bag": 1, "mix": bags_per_mix, "trial": bags}
    return {per: number for per, number in scales.items() if number}


def _print_figures(figures: list[Figure], before: dict[Key, float | None] | None, output_format: str) -> None:
    from colscan.present import render_rows

    header: tuple[str, ...] = HEADER
    rows: list[list[Cell]] = [[f.what, f.base, f.per, _rounded(f.value), f.unit] for f in figures]
    if before is not None:
        header = (*HEADER, "previous")
        for row, figure in zip(rows, figures, strict=True):
            row.append(before.get(figure.key))
        known = {f.key for f in figures}
        gone = [(key, value) for key, value in before.items() if key not in known]
        rows += [[what, base, per, None, unit, value] for (what, base, per, unit), value in gone]
    click.echo(render_rows(header, rows, output_format), nl=False)


def _rounded(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{_DIGITS}g}")


def _changes(figures: list[Figure], before: dict[Key, float | None] | None) -> list[list[Cell]] | None:
    """Rows of a bag's figures (weights in grams only) that differ from an earlier recipe's."""
    if before is None:
        return None
    now = {f.key: f.value for f in figures}
    rows: list[list[Cell]] = []
    for key in [*now, *(k for k in before if k not in now)]:
        what, base, per, unit = key
        if per != "bag" or unit not in ("g", "%", "") or (key in before and _same(now.get(key), before[key])):
            continue
        rows.append([what, base, *(_shown(v.get(key), unit, decimals=2) for v in (before, now))])
    return rows


def _same(value: float | None, earlier: float | None) -> bool:
    if value is None or earlier is None:
        return value is earlier
    return math.isclose(value, earlier, rel_tol=SAME, abs_tol=SAME)


def _print_tables(recipe: Recipe, scales: dict[str, int], changes: list[list[Cell]] | None) -> None:
    from colscan.app.recipe_rows import list_amounts, list_ratios, measures
    from colscan.present import render_rows
    from colscan.present.weights import say_weight

    screen = screen_of_stdout()
    titles = {"bag": "one bag", "mix": f"mix of {scales.get('mix')}", "trial": f"all {scales.get('trial')}"}
    amounts: list[list[Cell]] = []
    for a in list_amounts(recipe):
        by_scale = [measures(a, bags) for bags in scales.values()]
        amounts.append([a.what, a.base, *(say_weight(measure["g"]) for measure in by_scale)])
        if a.density_kg_per_l is not None:
            amounts.append([a.what, "by volume", *map(_say_volume, by_scale)])
    header = ("what", "base", *(titles[per] for per in scales))
    ratios: list[list[Cell]] = [
        [f.what, f.base, _shown(f.value, f.unit, decimals=1)] for f in list_ratios(recipe)
    ]
    click.echo(render_rows(header, amounts, "table", screen=screen))
    click.echo(render_rows(("what", "base", "value"), ratios, "table", screen=screen), nl=False)
    if changes:
        click.echo()
        click.echo(
            render_rows(("changed", "base", "previous", "now"), changes, "table", screen=screen), nl=False
        )
    elif changes is not None:
        click.echo("\nNothing differs from the previous recipe.")


def _say_volume(by_unit: dict[str, float]) -> str:
    return " = ".join(f"{value:.2f} {unit}" for unit, value in by_unit.items() if unit == "L" or "qt" in unit)


def _shown(value: float | None, unit: str, *, decimals: int) -> str:
    return "not known" if value is None else f"{value:.{decimals}f} {unit}".rstrip()
