"""`colscan recipe`: what to weigh, and what it comes to; of one bag, or of each level of a trial."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from colscan.app.cli.options import WholeRange, format_option, optional_trial_dir_argument
from colscan.errors import TrialError
from colscan.trial.model import PLAN_FILE

if TYPE_CHECKING:
    from colscan.app.cli.recipe_tables import Before
    from colscan.trial.model import RecipePlan, Trial

_DIGITS = 9
MOST_BAGS = 100_000
"""More bags are a slip of the finger."""


@click.command()
@optional_trial_dir_argument
@click.option("--main", multiple=True, metavar="INGREDIENT", help="Main substrate.")
@click.option("--supplement", multiple=True, metavar="INGREDIENT", help="Bran and the like.")
@click.option("--other", multiple=True, metavar="INGREDIENT", help="Anything else, as gypsum.")
@click.option("--water", metavar="AMOUNT", help="Water added to a bag.")
@click.option("--moisture", metavar="PCT", help="Or: the moisture to reach, of the wet weight.")
@click.option("--bag-wet", metavar="AMOUNT", help="Wet weight of a bag; --main then has no amount.")
@click.option("--bag-dry", metavar="AMOUNT", help="Or: oven-dry matter of a bag.")
@click.option("--spawn", metavar="AMOUNT", help="Weight, or '5% of wet', or '10% of dry'.")
@click.option("--spawn-moisture", metavar="PCT", help="Moisture of the spawn.")
@click.option("--bags", type=WholeRange(1, MOST_BAGS), metavar="N", help="Bags of this recipe in the trial.")
@click.option("--bags-per-mix", type=WholeRange(1, MOST_BAGS), metavar="N", help="Bags that one mix fills.")
@click.option(
    "--previous", type=click.Path(path_type=Path), metavar="JSON", help="Show what differs from it."
)
@click.option("--keep", is_flag=True, help="Write these options into TRIAL_DIR as its recipe.")
@format_option
def recipe(
    trial_dir: Path | None,
    bags: int | None,
    bags_per_mix: int | None,
    previous: Path | None,
    keep: bool,
    output_format: str,
    **said: Any,
) -> None:
    """Work out what to weigh for a bag, a mix and all bags.

    INGREDIENT is "NAME, AMOUNT, moisture PCT", of one bag. An amount is a weight
    (g, kg, oz, lb), or but for --main a share: "2.5% of main" (main substrate as
    weighed) or "20% of dry" (all dry matter, oven-dry). A volume (L, ml,
    liquid qt, dry qt) needs "density D", measured, in kg per litre. For C:N add
    "C PCT, N PCT, source TEXT", percent of dry matter. Water has 0.998 kg/L.

    With TRIAL_DIR: each level of the trial side by side, its mixes, and what all
    its bags take; the recipe is its own, or the one given, which --keep writes
    into it. A supplement's amount is then its level in the trial.

    Spawn counts in no moisture. Keep what is printed with --format json > FILE
    and give it to --previous later.

    \b
    Example:
      colscan recipe --main "pellets, 2 lb, moisture 6%" --water "45 oz"
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.recipe_rows import read_figures

    plan = _read_plan(**said)
    before = None if previous is None else read_figures(previous)
    if trial_dir is not None:
        if bags or bags_per_mix:
            msg = "--bags and --bags-per-mix don't go with a trial."
            raise TrialError(msg, "Its bags and mixes stand in bags.csv.")
        _print_trial(_choose_trial(trial_dir, plan, keep=keep), before, output_format)
        return
    if plan is None or keep:
        msg = "--keep is given without a trial." if plan else "There is no --main, and no trial."
        raise TrialError(msg, "Give the trial's folder, or the ingredients of a bag.")
    _print_bag(plan, _scales(bags, bags_per_mix), before, output_format)


def _read_plan(
    main: tuple[str, ...], moisture: str | None, spawn_moisture: str | None, **texts: Any
) -> RecipePlan | None:
    """Return what the options say; None when they say nothing."""
    from colscan.trial.model import RecipePlan

    if not main:
        if moisture or spawn_moisture or any(texts.values()):
            msg = "A recipe is given without --main."
            raise TrialError(msg, "Say what its main substrate is; a trial's own recipe is taken as it is.")
        return None
    return RecipePlan(
        main=main,
        moisture_pct=_percent(moisture, "--moisture"),
        spawn_moisture_pct=_percent(spawn_moisture, "--spawn-moisture"),
        **texts,
    )


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


def _print_bag(plan: RecipePlan, scales: dict[str, int], before: Before | None, output_format: str) -> None:
    from colscan.app.cli.recipe_tables import check_alike, print_bag_tables, print_changes, print_figures
    from colscan.app.recipe_rows import list_figures, list_warnings
    from colscan.trial.trial_recipe import work_out

    worked_out = work_out(plan)
    figures = list_figures(worked_out, scales)
    check_alike(figures, before)
    if output_format == "table":
        print_bag_tables(worked_out, scales)
        print_changes(figures, before)
    else:
        print_figures(figures, before, output_format)
    for warning in list_warnings(worked_out, target_pct=plan.moisture_pct):
        click.echo(f"Warning: {warning}", err=True)
    bags, bags_per_mix = scales.get("trial"), scales.get("mix")
    if bags and bags_per_mix and bags % bags_per_mix:
        last = f"the last of {math.ceil(bags / bags_per_mix)} mixes is for {bags % bags_per_mix} bags only."
        click.echo(f"Note: {last}", err=True)


def _choose_trial(folder: Path, plan: RecipePlan | None, *, keep: bool) -> Trial:
    """Return the trial with the recipe that counts: its own, or the options'."""
    from colscan.trial import load_trial
    from colscan.trial.keeping import keep_recipe, with_recipe

    trial = load_trial(folder)
    if plan is None:
        if keep:
            msg = "--keep is given without a recipe."
            raise TrialError(msg, "Give its ingredients, from --main on.")
        return trial
    changed = with_recipe(trial, plan)
    if changed.recipe != plan:
        click.echo("Note: a supplement's amount is the level of each treatment in the trial.", err=True)
    if keep and changed.recipe:
        is_new = keep_recipe(folder, changed.recipe)
        where = folder / PLAN_FILE
        click.echo(f"The recipe stands in {where}{'' if is_new else ' already'}.", err=True)
    return changed


def _print_trial(trial: Trial, before: Before | None, output_format: str) -> None:
    from colscan.app.cli.recipe_tables import check_alike, print_changes, print_figures, print_trial_tables
    from colscan.app.recipe_levels import list_differences, list_levels, list_trial_figures
    from colscan.app.recipe_rows import list_warnings

    levels = list_levels(trial)
    if not levels:
        msg = f"The trial {trial.name} has no treatment, so no level to weigh for."
        raise TrialError(msg, f"Add a [[treatment]] in {PLAN_FILE}, and bags.")
    figures = list_trial_figures(trial)
    check_alike(figures, before)
    if output_format == "table":
        print_trial_tables(trial, levels)
        print_changes(figures, before)
    else:
        print_figures(figures, before, output_format)
    for difference in list_differences(levels):
        click.echo(f"Note: {difference}", err=True)
    # What a moisture that isn't known does is largest where most is weighed.
    richest = max(levels, key=lambda level: sum(i.weight_g for i in level.recipe.ingredients))
    target_pct = trial.recipe.moisture_pct if trial.recipe else None
    for warning in list_warnings(richest.recipe, target_pct=target_pct):
        click.echo(f"Warning: at {richest.treatment}: {warning}", err=True)
