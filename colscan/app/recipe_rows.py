"""A recipe as figures: each with what it is of, for how much, and its unit; and an earlier recipe's."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from colscan.errors import TrialError
from colscan.hints import as_typed
from colscan.trial.amounts import LITRES, WATER_KG_PER_L, Masses
from colscan.trial.recipe import (
    USUAL_MOISTURE,
    Base,
    Part,
    Recipe,
    SpawnBase,
    carbon_to_nitrogen,
    wet_to_dry_basis,
    with_usual_moisture,
)

_AS_WEIGHED = {part: f"{part}, as weighed" for part in Part}
_TO_ADD, _WET, _DRY = "to add", "wet, without spawn", "of the substrate, oven-dry"
SPAWN, _FILLED = "as weighed", "wet, with spawn"
_ORDER = (*_AS_WEIGHED.values(), _TO_ADD, _WET, _DRY, SPAWN, _FILLED)
MOISTURE_BASE = "moisture, of its weight"
CN_BASE = "of the mix, by weight"


class Key(NamedTuple):
    """What tells a figure from the other ones; see `Figure`."""

    treatment: str
    mix: str
    what: str
    base: str
    per: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of a recipe.

    Parameters
    ----------
    what, base : str
        What it is, and what it is of or how it is counted.
    per : str
        `bag`, `mix`, `level` (all its bags) or `trial`.
    treatment, mix : str
        Which level and mix of a trial; empty for a recipe of its own, and for what is over all of them.
    value : float or None
        None for not known.
    unit : str
        Its unit; empty for a ratio.
    """

    what: str
    base: str
    per: str
    value: float | None
    unit: str
    treatment: str = ""
    mix: str = ""

    @property
    def key(self) -> Key:
        """What tells it from the other figures."""
        return Key(self.treatment, self.mix, self.what, self.base, self.per, self.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """Something to weigh.

    Parameters
    ----------
    what, base : str
        What it is and how it is counted.
    mass_g : float
        For all the bags, g.
    density_kg_per_l : float, optional
        Where it may be measured by volume.
    quart : str
        The US quart it is measured in.
    """

    what: str
    base: str
    mass_g: float
    density_kg_per_l: float | None = None
    quart: str = "dry qt"


def list_parts(recipe: Recipe, *, bags: int = 1) -> list[Amount]:
    """Return what the substrate of a number of bags is made of."""
    parts = [
        Amount(
            what=i.name,
            base=_AS_WEIGHED[i.part],
            mass_g=i.weight_g * bags,
            density_kg_per_l=i.density_kg_per_l,
        )
        for i in recipe.ingredients
    ]
    water = Amount(
        what="water",
        base=_TO_ADD,
        mass_g=recipe.water_g * bags,
        density_kg_per_l=WATER_KG_PER_L,
        quart="liquid qt",
    )
    return [*parts, water]


def list_amounts(recipe: Recipe, *, bags: int = 1, blanks: int = 0) -> list[Amount]:
    """Return what is weighed for a number of bags, and what it comes to; `blanks` of them get no spawn."""
    amounts = [
        *list_parts(recipe, bags=bags),
        Amount(what="substrate", base=_WET, mass_g=recipe.wet_g * bags),
        Amount(what="dry matter", base=_DRY, mass_g=recipe.dry_g * bags),
    ]
    if recipe.spawn is None:
        return amounts
    spawn_g = recipe.spawn.weight_g * (bags - blanks)
    return [
        *amounts,
        Amount(what="spawn", base=SPAWN, mass_g=spawn_g),
        Amount(what="filled", base=_FILLED, mass_g=recipe.wet_g * bags + spawn_g),
    ]


def by_order(amount: Amount) -> int:
    """Return where an amount stands in a list: as it goes into the mix."""
    return _ORDER.index(amount.base)


def list_figures(recipe: Recipe, scales: dict[str, int]) -> list[Figure]:
    """Return all figures of a recipe.

    Parameters
    ----------
    recipe : Recipe
        Of one bag.
    scales : dict of str to int
        Number of bags in a `bag`, `mix` or `trial`.
    """
    figures = [
        figure
        for per, bags in scales.items()
        for amount in list_amounts(recipe, bags=bags)
        for figure in in_units(amount, per)
    ]
    counts = [
        Figure(what="bags", base="of this recipe", per=per, value=bags, unit="")
        for per, bags in scales.items()
        if per != "bag"
    ]
    return [*figures, *counts, *list_ratios(recipe)]


def in_units(amount: Amount, per: str) -> list[Figure]:
    """Return an amount as a figure in each unit."""
    return [
        Figure(what=amount.what, base=amount.base, per=per, value=value, unit=unit)
        for unit, value in measures(amount).items()
    ]


def measures(amount: Amount) -> dict[str, float]:
    """Return an amount by unit: weights, and volumes where there is a density."""
    by_unit = dataclasses.asdict(Masses.of(amount.mass_g))
    if amount.density_kg_per_l is not None:
        litres = amount.mass_g / 1000.0 / amount.density_kg_per_l
        by_unit |= {"L": litres, f"US {amount.quart}": litres / LITRES[amount.quart]}
    return by_unit


def list_ratios(recipe: Recipe) -> list[Figure]:
    """Return the figures that are the same for a bag as for all: moistures, levels, rates, C:N."""
    ratio = carbon_to_nitrogen(recipe.ingredients)
    return [
        _percent("moisture", "of the wet substrate", recipe.moisture),
        _percent("moisture", "water per dry matter", wet_to_dry_basis(recipe.moisture)),
        *(_percent("supplement", f"of {base}", recipe.supplement_level(base)) for base in Base),
        *(
            _percent("spawn rate", f"of {base}", recipe.spawn_rate(base))
            for base in SpawnBase
            if recipe.spawn
        ),
        *(_percent(i.name, MOISTURE_BASE, i.moisture) for i in recipe.ingredients),
        *(
            _percent(i.name, f"{element} of its dry matter ({i.source})", fraction)
            for i in recipe.ingredients
            for element, fraction in (("C", i.carbon), ("N", i.nitrogen))
            if fraction is not None
        ),
        *([Figure(what="C:N", base=CN_BASE, per="bag", value=ratio, unit="")] if ratio is not None else []),
    ]


def _percent(what: str, base: str, fraction: float | None) -> Figure:
    value = None if fraction is None else 100.0 * fraction
    return Figure(what=what, base=base, per="bag", value=value, unit="%")


def list_warnings(recipe: Recipe, *, target_pct: float | None) -> Iterator[str]:
    """Yield what is doubtful in a recipe, and how much it may be off.

    Parameters
    ----------
    recipe : Recipe
        Of one bag.
    target_pct : float, optional
        The moisture that its water was worked out for, percent.
    """
    unknown = [i.name for i in recipe.ingredients if i.moisture is None]
    if unknown:
        yield _warn_of_moisture(recipe, unknown, target_pct)
    lacking = [i.name for i in recipe.ingredients if i.carbon is None]
    if 0 < len(lacking) < len(recipe.ingredients):
        yield f"no C:N of the mix: {', '.join(lacking)} has no C and N."


def _warn_of_moisture(recipe: Recipe, unknown: list[str], target_pct: float | None) -> str:
    actual = dataclasses.replace(recipe, ingredients=with_usual_moisture(recipe.ingredients))
    said = (
        f"moisture left out for {', '.join(unknown)}: taken as 0 %. At {100 * USUAL_MOISTURE:g} %, usual for"
        f" air-dry goods, this mix has {100 * actual.moisture:.1f} % moisture,"
        f" not {100 * recipe.moisture:.1f} % and"
        f" {actual.dry_g:.1f} g of dry matter a bag, not {recipe.dry_g:.1f} g"
    )
    levels = [f"{100 * r.supplement_level(Base.DRY):.1f} %" for r in (actual, recipe)]
    if levels[0] != levels[1]:
        said += f"; supplement {levels[0]} of {Base.DRY}, not {levels[1]}"
    if target_pct is not None:
        # Each gram of water that is taken for dry matter is too much itself, and asks for water of its own.
        hidden_g = actual.water_total_g - recipe.water_total_g
        said += (
            f"; the water is {hidden_g * (1.0 + wet_to_dry_basis(target_pct / 100.0)):.1f} g a bag too much"
        )
    return said + ". Dry a sample in an oven to know."


def read_figures(path: Path) -> dict[Key, float | None]:
    """Return the figures of a recipe that was printed as JSON, by their key.

    Raises
    ------
    TrialError
        When the file isn't one.
    """
    try:
        rows = json.loads(path.read_text(encoding="utf-8"))["rows"]
        return {_key(row): _number(row["value"]) for row in rows}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        msg = f"{path} is no recipe that colscan printed as JSON."
        raise TrialError(
            msg, f"Make one with: colscan recipe ... --format json > {as_typed(path.name)}"
        ) from None


def _key(row: Mapping[str, object]) -> Key:
    """The key of a row; only a trial's recipe says treatment and mix."""
    whole = {"treatment": "", "mix": "", **row}
    return Key(*(str(whole[name]) for name in Key._fields))


def _number(value: object) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError
    return float(value)
