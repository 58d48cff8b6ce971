"""What a bag costs, by the trial's recipe and the prices that are given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from colscan.errors import TrialError
from colscan.trial.amounts import parse_mass
from colscan.trial.model import Trial
from colscan.trial.recipe import Recipe
from colscan.trial.trial_recipe import recipe_of

SPAWN = "spawn"
EXAMPLES = '"bran, 1.20 per kg", "spawn, 6 per lb", "bag, 0.40 each"'


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """A price in whatever currency: per gram as weighed of an ingredient or the spawn, or for each bag.

    One of `per_g` and `per_bag` is 0.
    """

    name: str
    per_g: float = 0.0
    per_bag: float = 0.0


def parse_price(text: str) -> Price:
    """Return the price that a text like ``bran, 1.20 per kg`` or ``bag, 0.40 each`` says.

    Raises
    ------
    TrialError
        When it isn't understood.
    """
    name, _, rest = (part.strip() for part in text.rpartition(",")[0:3])
    number, _, unit = (part.strip() for part in rest.lower().partition(" "))
    try:
        amount = float(number)
    except ValueError:
        amount = -1.0
    if name and 0 <= amount < float("inf"):
        if unit == "each":
            return Price(name=name, per_bag=amount)
        if unit.startswith("per "):
            return Price(name=name, per_g=amount / parse_mass(f"1 {unit[4:]}", f"price of {name}"))
    msg = f"{text!r} is no price."
    raise TrialError(msg, f"Write e.g. {EXAMPLES}; decimals with a point, the currency left out.")


def check_prices(trial: Trial, prices: Sequence[Price]) -> None:
    """Refuse prices that can't be used.

    Raises
    ------
    TrialError
        When the trial has no recipe, a price stands twice, or its recipe has no ingredient of that name.
    """
    if not prices:
        return
    if trial.recipe is None:
        msg = f"The trial {trial.name} has no recipe, so prices have no weights to go with."
        raise TrialError(msg, "Write one into trial.toml with: colscan recipe TRIAL_DIR --main ... --keep")
    known = _weights(trial)
    names = [price.name for price in prices]
    for price in prices:
        if names.count(price.name) > 1:
            msg = f"The price of {price.name!r} is given twice."
            raise TrialError(msg, "Give one of the two.")
        if price.per_g and price.name not in known:
            msg = f"No ingredient of the trial's recipe is called {price.name!r}."
            raise TrialError(msg, f"Its ingredients: {', '.join(sorted(known))}; for a thing a bag: 'each'.")


def cost_of_bag(
    trial: Trial, supplement: str, level_pct: float, *, prices: Sequence[Price]
) -> tuple[float, tuple[str, ...]]:
    """Return what a bag of a level costs by the recipe, and what in it has no price; water has none.

    Parameters
    ----------
    trial : Trial
        With a recipe.
    supplement : str
        As in bags.csv.
    level_pct : float
        Its level, percent.
    prices : sequence of Price
        As `check_prices` lets pass.
    """
    weights = _weigh(recipe_of(trial, supplement, level_pct))
    per_g = {price.name: price.per_g for price in prices if price.per_g or not price.per_bag}
    cost = sum(price.per_bag for price in prices)
    cost += sum(weight_g * per_g.get(name, 0.0) for name, weight_g in weights.items())
    return cost, tuple(name for name, weight_g in weights.items() if weight_g and name not in per_g)


def _weights(trial: Trial) -> set[str]:
    """All that the trial's recipe weighs, over its levels."""
    levels = {(bag.supplement, bag.supplement_pct) for bag in trial.bags}
    return {name for level in levels for name in _weigh(recipe_of(trial, *level))}


def _weigh(recipe: Recipe) -> dict[str, float]:
    weights = {ingredient.name: ingredient.weight_g for ingredient in recipe.ingredients}
    return weights | ({SPAWN: recipe.spawn.weight_g} if recipe.spawn else {})
