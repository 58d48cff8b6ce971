"""A trial's recipe as figures: each level's, each mix's, and what to buy for all bags together."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from colscan.app.recipe_rows import (
    SPAWN,
    Amount,
    Figure,
    by_order,
    in_units,
    list_amounts,
    list_figures,
    list_parts,
)
from colscan.trial.mixes import natural_key
from colscan.trial.model import Bag, Trial
from colscan.trial.recipe import Recipe
from colscan.trial.trial_recipe import recipe_of

SAME_MOISTURE = 0.005
"""Moistures closer than this are the same: that of an ingredient is hardly known better."""
SAME_DRY = 1.02
"""Dry matters whose ratio is below this are the same: filling bags by hand varies as much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """Bags of one level that are made together.

    Parameters
    ----------
    treatment : str
        The level's name.
    mix : str
        The mix they are filled from; empty for all bags of the level.
    recipe : Recipe
        Of one of them.
    bags, blanks : int
        How many they are, and how many of them get no spawn.
    """

    treatment: str
    mix: str
    recipe: Recipe
    bags: int
    blanks: int

    @property
    def amounts(self) -> list[Amount]:
        """What is weighed for all of them."""
        return list_amounts(self.recipe, bags=self.bags, blanks=self.blanks)


def list_levels(trial: Trial) -> list[Lot]:
    """Return the bags of each treatment, in the order of trial.toml; there may be none of one."""
    return [
        _lot(
            recipe_of(trial, t.supplement, t.supplement_pct),
            [bag for bag in trial.bags if bag.treatment == t.name],
            treatment=t.name,
        )
        for t in trial.treatments
    ]


def list_mixes(trial: Trial) -> list[Lot]:
    """Return the bags of each mix and treatment, by the mix's name; those without mix are left out."""
    by_mix: dict[tuple[str, str], list[Bag]] = {}
    for bag in trial.bags:
        if bag.mix_batch:
            by_mix.setdefault((bag.mix_batch, bag.treatment), []).append(bag)
    return [
        _lot(recipe_of(trial, bags[0].supplement, bags[0].supplement_pct), bags, treatment=treatment, mix=mix)
        for (mix, treatment), bags in sorted(
            by_mix.items(), key=lambda lot: (natural_key(lot[0][0]), lot[0][1])
        )
    ]


def _lot(recipe: Recipe, bags: Sequence[Bag], *, treatment: str, mix: str = "") -> Lot:
    blanks = sum(bag.role == "blank" for bag in bags)
    return Lot(treatment=treatment, mix=mix, recipe=recipe, bags=len(bags), blanks=blanks)


def list_purchases(trial: Trial) -> list[Amount]:
    """Return what all bags together take: each ingredient, water, and the spawn of each strain."""
    bought: dict[tuple[str, str], Amount] = {}
    for bag in trial.bags:
        recipe = recipe_of(trial, bag.supplement, bag.supplement_pct)
        taken = list_parts(recipe)
        if recipe.spawn and bag.role != "blank":
            taken.append(Amount(what=f"spawn {bag.strain}", base=SPAWN, mass_g=recipe.spawn.weight_g))
        for one in taken:
            so_far = bought.get((one.what, one.base))
            mass_g = one.mass_g + (so_far.mass_g if so_far else 0.0)
            bought[one.what, one.base] = dataclasses.replace(one, mass_g=mass_g)
    return sorted(bought.values(), key=by_order)


def list_differences(levels: Sequence[Lot]) -> Iterator[str]:
    """Yield in what the bags of the levels differ besides the supplement, and how they needn't."""
    moistures = [level.recipe.moisture for level in levels]
    if max(moistures) - min(moistures) > SAME_MOISTURE:
        yield (
            f"the levels differ in moisture too, {100 * min(moistures):.1f} to {100 * max(moistures):.1f} %:"
            " give the moisture instead of the water, and each level's water is worked out for it."
        )
    dry_g = [level.recipe.dry_g for level in levels]
    if max(dry_g) > SAME_DRY * min(dry_g):
        yield (
            f"the levels differ in dry matter too, {min(dry_g):.0f} to {max(dry_g):.0f} g a bag: give the dry"
            " matter or the wet weight of a bag instead of the main substrate's amount, and they don't."
        )


def list_trial_figures(trial: Trial) -> list[Figure]:
    """Return all figures of a trial's recipe: of a bag and all bags of each level, by mix, over the trial."""
    figures = []
    for level in list_levels(trial):
        of_bag = list_figures(level.recipe, {"bag": 1})
        figures += [dataclasses.replace(figure, treatment=level.treatment) for figure in of_bag]
        figures += _lot_figures(level, "level")
    for lot in list_mixes(trial):
        figures += _lot_figures(lot, "mix")
    return [*figures, *(f for amount in list_purchases(trial) for f in in_units(amount, "trial"))]


def _lot_figures(lot: Lot, per: str) -> list[Figure]:
    counts = {"of this recipe": lot.bags, "blanks, without spawn": lot.blanks}
    figures = [f for amount in lot.amounts for f in in_units(amount, per)]
    figures += [Figure(what="bags", base=base, per=per, value=n, unit="") for base, n in counts.items()]
    return [dataclasses.replace(f, treatment=lot.treatment, mix=lot.mix) for f in figures]
