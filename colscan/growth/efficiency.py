"""Biological efficiency: what a bag gave, against the dry substrate it gave it from."""

from __future__ import annotations

from dataclasses import dataclass

from colscan.errors import AnalysisError
from colscan.trial.model import Bag, Trial
from colscan.trial.trial_recipe import recipe_of


@dataclass(frozen=True, slots=True, kw_only=True)
class DrySubstrate:
    """Dry matter of a bag's substrate.

    Parameters
    ----------
    dry_g : float
        Without the spawn's, g.
    source : str
        Where it comes from, when it isn't the bag's own in bags.csv; else empty.
    """

    dry_g: float
    source: str = ""


def find_dry_substrate(trial: Trial, bag: Bag) -> DrySubstrate | None:
    """Return the dry matter of a bag: as bags.csv has it, else by the trial's recipe; None without both.

    Where bags.csv has the bag's wet weight, the recipe gives its moisture only.
    """
    if bag.dry_g:
        return DrySubstrate(dry_g=bag.dry_g)
    if trial.recipe is None:
        return None
    recipe = recipe_of(trial, bag.supplement, bag.supplement_pct)
    if bag.fill_wet_g:
        dry_g = bag.fill_wet_g * (1.0 - recipe.moisture)
        return DrySubstrate(dry_g=dry_g, source="as filled, at the recipe's moisture")
    return DrySubstrate(dry_g=recipe.dry_g, source="by the recipe, not weighed")


def find_dry_with_spawn(trial: Trial, bag: Bag) -> DrySubstrate | None:
    """Return the dry matter of a bag with its spawn's; None unless the spawn's weight and moisture are known.

    The spawn's weight is that of bags.csv, else the recipe's; its moisture the recipe's.
    """
    dry = find_dry_substrate(trial, bag)
    if dry is None or trial.recipe is None or trial.recipe.spawn_moisture_pct is None:
        return None
    spawn_g, source = bag.spawn_g, dry.source
    if spawn_g is None:
        spawn = recipe_of(trial, bag.supplement, bag.supplement_pct).spawn
        if spawn is None:
            return None
        spawn_g, source = spawn.weight_g, dry.source or "spawn by the recipe, not weighed"
    return DrySubstrate(
        dry_g=dry.dry_g + spawn_g * (1 - trial.recipe.spawn_moisture_pct / 100), source=source
    )


def biological_efficiency_pct(fresh_g: float, dry_g: float) -> float:
    """Return the fresh weight of all flushes in percent of the dry substrate; it may be over 100.

    The spawn's own dry matter is left out of the substrate, as the trade and most papers count it: 75 g
    of spawn at 45 % moisture to 1000 g dry would turn 45.0 % into 43.2 %.

    Parameters
    ----------
    fresh_g : float
        Fresh mushrooms of all flushes so far, g, 0 or more.
    dry_g : float
        Dry matter of the bag's substrate, g, over 0.

    Raises
    ------
    AnalysisError
        When a weight can't be.
    """
    if not (fresh_g >= 0 and dry_g > 0):  # also refuses nan
        msg = f"no efficiency of {fresh_g:g} g fresh from {dry_g:g} g dry"
        raise AnalysisError(msg, "Correct dry_g in bags.csv, or the harvest's weight.")
    return 100 * fresh_g / dry_g
