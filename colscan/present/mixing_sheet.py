"""The mixing sheet: run by run what to weigh, mix, heat and spawn, with room for what it really was."""

from __future__ import annotations

from collections.abc import Sequence

from colscan.present.cautions import HEAT_CAUTION, SPORE_CAUTION
from colscan.present.flow import LEADING_MM, TEXT_MM, Flow, number_pages, wrap_items
from colscan.present.form import (
    FIELDS_MM,
    HEAD_MM,
    ROW_MM,
    Cell,
    Column,
    Mark,
    field_row,
    tick_row,
    write_table,
)
from colscan.present.paper import Paper, fit_text, printable, wrap_text, write_pdf
from colscan.present.weights import say_weight
from colscan.trial.mixes import HeatRun, Mix, Spawning, list_heat_runs, sum_spawn
from colscan.trial.model import Bag, Trial
from colscan.trial.recipe import Base, Recipe
from colscan.units import count_of

WIDTH_MM = 180.0
SHOWS_TREATMENTS = "Shows the treatments: not for the person who judges the bags."
NO_RECIPE = (
    "This trial has no recipe, so the weights are left to you. To have them worked out, keep one in the "
    "trial (colscan recipe TRIAL_DIR --main ... --keep) and print this sheet again."
)
MIX_CAUTION = (
    "Hot water: pour it slowly, arms and face away from the steam. A full tub of mix is too heavy for one."
)
NO_TIMES = "This sheet gives no times or temperatures for it."
_RUN_MM, _MIX_MM, _PART_MM = 5.6, 4.6, 3.8
_GAP_MM = 5.0
_WEIGHING = (
    Column("", 6.0), Column("weigh", 39.0), Column("for one bag", 37.0), Column("for the whole mix", 41.0),
    Column("weighed", 21.0), Column("moisture %", 19.0), Column("lot", 17.0),
)  # fmt: skip
_SPAWNING = (
    Column("", 6.0), Column("order", 12.0), Column("bag", 34.0, bold=True), Column("strain", 32.0),
    Column("spawn lot", 26.0), Column("how", 13.0), Column("spawn", 35.0), Column("weighed", 22.0),
)  # fmt: skip
_LINES_TO_FILL = 2
"""Rows left for other ingredients where no recipe names them."""


def draw_mixing_sheet(trial: Trial, paper: Paper) -> bytes:
    """Return a PDF of what to weigh, mix, heat and spawn, each heat run on pages of its own.

    Parameters
    ----------
    trial : Trial
        The plan; without a recipe the weights are left blank.
    paper : Paper
        What it will be printed on.

    Returns
    -------
    bytes
        The same for the same plan.

    Raises
    ------
    TrialError
        When the recipe doesn't work out at one of the treatments.
    """
    flow = Flow(paper, _head(trial), width_mm=WIDTH_MM)
    runs = list_heat_runs(trial)
    _write_opening(flow, trial, runs)
    for number, run in enumerate(runs):
        flow.head = _head(trial, f", heat run {run.name}" if run.name else "")
        if number:
            flow.turn()
        _write_run(flow, run)
    number_pages(flow.pages)
    return write_pdf(flow.pages, f"Mixing sheet of the trial {trial.name}")


def texts_printed(trial: Trial) -> list[str]:
    """Return what the sheet shows beside the names that stand on cards: of mixes, lots, ingredients."""
    texts = [text for bag in trial.bags for text in (bag.mix_batch, bag.heat_run, bag.spawn_lot) if text]
    recipes = [mix.recipe for run in list_heat_runs(trial) for mix in run.mixes if mix.recipe]
    return [*texts, *(ingredient.name for recipe in recipes for ingredient in recipe.ingredients)]


def _head(trial: Trial, run: str = "") -> str:
    # The name alone is shortened: the rest must be read.
    name, _ = fit_text(printable(trial.name), 40.0, (2.8,))
    return f"{SHOWS_TREATMENTS} Mixing sheet of {name}{run}"


def _write_opening(flow: Flow, trial: Trial, runs: Sequence[HeatRun]) -> None:
    flow.title(f"Mixing sheet of the trial {trial.name}", size_mm=6.4)
    mixes = {mix.name for run in runs for mix in run.mixes} - {None}
    named = [run for run in runs if run.name]
    flow.paragraph(
        f"{count_of(len(trial.bags), 'bag')}, {count_of(len(mixes), 'mix', 'mixes')}, "
        f"{count_of(len(named), 'heat run')}. Tick what is done and write what it really was; "
        "record it with `colscan mix` and `colscan heat`."
    )
    if trial.recipe is None:
        flow.paragraph(NO_RECIPE)
    flow.skip(_GAP_MM)


def _write_run(flow: Flow, run: HeatRun) -> None:
    blanks = f", {len(run.blanks)} of them blank" if run.blanks else ""
    name = f"Heat run {run.name}" if run.name else "No heat run planned"
    flow.title(f"{name}: {count_of(len(run.bags), 'bag')}{blanks}", size_mm=_RUN_MM)
    flow.paragraph(MIX_CAUTION)
    for mix in run.mixes:
        flow.skip(_GAP_MM)
        _write_mix(flow, mix)
    flow.skip(_GAP_MM)
    _write_heating(flow)
    flow.skip(_GAP_MM)
    _write_spawning(flow, run)


def _write_mix(flow: Flow, mix: Mix) -> None:
    """One mix; it begins a page where it would be parted."""
    texts = _describe(mix)
    rows = _weighing_rows(mix)
    flow.keep(_MIX_MM * 1.5 + LEADING_MM * len(texts) + HEAD_MM + ROW_MM * len(rows) + 2 * FIELDS_MM)
    name = f"Mix {mix.name}" if mix.name else "No mix planned"
    flow.title(f"{name}: {_treatment(mix)}", size_mm=_MIX_MM)
    flow.lines(texts)
    write_table(flow, _WEIGHING, rows)
    tick_row(flow, ("mixed evenly", "bags filled by weight", "closed", "each bag's code on it"))
    field_row(flow, (("mixed at", 40.0), ("moisture of the mix, %", 22.0), ("by", 30.0)))


def _describe(mix: Mix) -> list[str]:
    bags = [bag.bag for bag in mix.bags if bag.role != "blank"]
    blanks = [bag.bag for bag in mix.bags if bag.role == "blank"]
    lines = wrap_items(f"{count_of(len(bags), 'bag')}:", bags, WIDTH_MM) if bags else []
    if blanks:
        lines += wrap_items(
            f"{count_of(len(blanks), 'blank')} (filled and heated, no spawn):", blanks, WIDTH_MM
        )
    if mix.elsewhere:
        lines.append(f"Make it once, for {mix.filled} bags, {mix.elsewhere} of them in another heat run.")
    return lines + (_describe_recipe(mix.recipe) if mix.recipe else [])


def _describe_recipe(recipe: Recipe) -> list[str]:
    comes_to = f"Comes to {100 * recipe.moisture:.1f} % moisture, of the wet weight."
    if recipe.supplement_level(Base.MAIN):
        levels = ", ".join(f"{100 * recipe.supplement_level(base):.1f} % of {base}" for base in Base)
        comes_to += f" Supplement: {levels}."
    lines = wrap_text(comes_to, WIDTH_MM, TEXT_MM)
    unknown = [ingredient.name for ingredient in recipe.ingredients if ingredient.moisture is None]
    if unknown:
        lines += wrap_items("Reckoned as oven-dry, so the mix gets wetter than that:", unknown, WIDTH_MM)
    return lines


def _weighing_rows(mix: Mix) -> list[tuple[Cell, ...]]:
    """A row for each thing to weigh: a box to tick, what, for one bag, for all, and blanks to write in."""
    if mix.recipe is None:
        supplement = [mix.treatment.supplement] if mix.treatment.supplement_pct else []
        names: list[Cell] = ["main substrate", *supplement, *[Mark.BLANK] * _LINES_TO_FILL, "water"]
        return [(Mark.BOX, name, *[Mark.BLANK] * 5) for name in names]
    recipe, blank = mix.recipe, Mark.BLANK
    rows: list[tuple[Cell, ...]] = [
        (Mark.BOX, i.name, *_amounts(i.weight_g, mix), blank, blank, blank)
        for i in recipe.ingredients
        if i.weight_g
    ]
    rows.append((Mark.BOX, "water to add", *_amounts(recipe.water_g, mix), blank, "", ""))
    rows.append(("", "wet mix, to fill", *_amounts(recipe.wet_g, mix), blank, blank, ""))
    return rows


def _amounts(bag_g: float, mix: Mix) -> tuple[str, str]:
    return say_weight(bag_g), say_weight(bag_g * mix.filled)


def _treatment(mix: Mix) -> str:
    treatment = mix.treatment
    if treatment.supplement == "none":
        return "no supplement"
    return f"{treatment.supplement} {treatment.supplement_pct:g} % of {treatment.supplement_base}"


def _write_heating(flow: Flow) -> None:
    flow.keep(40.0)
    flow.title("Heat", size_mm=_PART_MM)
    flow.paragraph(f"{HEAT_CAUTION} {NO_TIMES}")
    tick_row(flow, ("loaded", "heated", "cooled"))
    field_row(flow, (("started at", 40.0), ("ended at", 40.0), ("method", 40.0)))
    field_row(flow, (("core temperature, °C or °F", 25.0), ("note", 90.0)))


def _write_spawning(flow: Flow, run: HeatRun) -> None:
    """The bags in their order; it begins a page where it would be parted and a page is enough."""
    needs, spawned = sum_spawn(run.spawned), run.spawned
    rows = [*map(_spawning_row, spawned), *map(_blank_row, run.blanks)]
    flow.keep(30.0 + LEADING_MM * len(needs) + ROW_MM * len(rows) + FIELDS_MM)
    ordered = any(one.bag.spawn_order for one in spawned)
    flow.title("Spawn, in this order" if ordered else "Spawn", size_mm=_PART_MM)
    flow.paragraph(SPORE_CAUTION)
    for need in needs:
        weight = "" if need.weight_g is None else f", {say_weight(need.weight_g)} of spawn"
        lot = f", lot {need.lot}" if need.lot else ""
        flow.paragraph(f"{need.strain}{lot}: {count_of(need.bags, 'bag')}{weight}")
    write_table(flow, _SPAWNING, rows)
    field_row(flow, (("started at", 40.0), ("ended at", 40.0), ("by", 30.0)))


def _spawning_row(one: Spawning) -> tuple[Cell, ...]:
    bag = one.bag
    order = "" if bag.spawn_order is None else str(bag.spawn_order)
    weight: Cell = Mark.BLANK if one.weight_g is None else say_weight(one.weight_g)
    lot = bag.spawn_lot or Mark.BLANK
    return Mark.BOX, order, bag.bag, bag.strain, lot, bag.spawn_method, weight, Mark.BLANK


def _blank_row(bag: Bag) -> tuple[Cell, ...]:
    return Mark.BOX, "", bag.bag, "blank: no spawn", "", "", "stays sealed", ""
