"""A recipe's texts to the `Recipe` of one bag: as they stand, or at a treatment of a trial."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from colscan.errors import TrialError
from colscan.trial.amounts import WATER_KG_PER_L, parse_mass
from colscan.trial.model import PLAN_FILE, RecipePlan, Treatment, Trial
from colscan.trial.recipe import (
    Base,
    Ingredient,
    Part,
    Recipe,
    Share,
    dry_matter_g,
    water_to_add_g,
    weigh_out,
)
from colscan.trial.recipe_text import parse_ingredient, parse_spawn

BASES = {base.value: base for base in Base} | {"all dry matter": Base.DRY}
"""What `supplement_base` of a treatment may say where a recipe follows from it."""
_Order = tuple[Ingredient, Share | None]


def work_out(plan: RecipePlan) -> Recipe:
    """Return the recipe of one bag whose texts say all amounts, the supplements' too.

    Raises
    ------
    TrialError
        When a text isn't understood, or they don't work out together.
    """
    return _weigh(plan, [parse_ingredient(text, Part.SUPPLEMENT) for text in plan.supplement])


def recipe_of(trial: Trial, supplement: str, supplement_pct: float) -> Recipe:
    """Return the recipe of one bag of a trial at a treatment.

    Parameters
    ----------
    trial : Trial
        With a recipe.
    supplement : str
        As in bags.csv; `none` for none at all.
    supplement_pct : float
        Its level, percent on the base that the trial's treatment states; at 0 there is no supplement.

    Raises
    ------
    TrialError
        When the trial has no recipe, or it doesn't work out at this treatment.
    """
    plan = trial.recipe
    if plan is None:
        msg = f"The trial {trial.name} has no recipe."
        raise TrialError(
            msg, f"Write one into its {PLAN_FILE} with: colscan recipe TRIAL_DIR --main ... --keep"
        )
    if supplement == "none" or supplement_pct == 0:
        return _weigh(plan, [])
    planned = (
        t for t in trial.treatments if (t.supplement, t.supplement_pct) == (supplement, supplement_pct)
    )
    treatment = next(planned, None)
    if treatment is None:
        msg = f"{supplement} {supplement_pct:g} % is no treatment of the trial {trial.name}."
        raise TrialError(msg, f"Correct it, or add a [[treatment]] in {PLAN_FILE}.")
    share = Share(fraction=supplement_pct / 100.0, base=_base_of(treatment))
    return _weigh(plan, [(_find_supplement(plan, supplement), share)])


def check_texts(plan: RecipePlan) -> Iterator[tuple[str, int, TrialError]]:
    """Yield what is wrong in each ingredient of a trial's recipe: its key, its place there, the error."""
    weighed = {"main": plan.bag_wet is None and plan.bag_dry is None, "supplement": False, "other": True}
    for key, said in weighed.items():
        for i, text in enumerate(getattr(plan, key)):
            try:
                parse_ingredient(text, Part(key), weighed=said)
            except TrialError as error:
                yield key, i, error


def _base_of(treatment: Treatment) -> Base:
    base = BASES.get(treatment.supplement_base.strip())
    if base is None:
        msg = (
            f"supplement_base {treatment.supplement_base!r} of {treatment.supplement}"
            f" {treatment.supplement_pct:g} % is none that a recipe can be worked out on."
        )
        raise TrialError(msg, f"Write one of: {', '.join(repr(base.value) for base in Base)}.")
    return base


def _find_supplement(plan: RecipePlan, name: str) -> Ingredient:
    own = [parse_ingredient(text, Part.SUPPLEMENT, weighed=False)[0] for text in plan.supplement]
    found = [ingredient for ingredient in own if ingredient.name == name]
    if len(found) == 1:
        return found[0]
    if found:
        msg = f"The recipe has the supplement {name!r} {len(found)} times."
        raise TrialError(msg, "Keep one of them: each treatment has one supplement.")
    known = ", ".join(ingredient.name for ingredient in own) or "none"
    msg = f"The recipe says nothing of the supplement {name!r}; its supplements: {known}."
    raise TrialError(msg, f'Add it as a supplement, e.g. "{name}, moisture 12%".')


def _weigh(plan: RecipePlan, supplements: Sequence[_Order]) -> Recipe:
    if (plan.water is None) == (plan.moisture_pct is None):
        msg = "Give either water or the moisture, one of the two."
        raise TrialError(msg, "The other one is worked out from it.")
    bag_dry_g = _bag_dry_g(plan)
    ingredients = weigh_out(
        [
            *(parse_ingredient(text, Part.MAIN, weighed=bag_dry_g is None) for text in plan.main),
            *supplements,
            *(parse_ingredient(text, Part.OTHER) for text in plan.other),
        ],
        bag_dry_g=bag_dry_g,
    )
    if plan.moisture_pct is not None:
        water_g = water_to_add_g(ingredients, plan.moisture_pct / 100.0)
    else:
        water_g = parse_mass(plan.water or "", "water", density_kg_per_l=WATER_KG_PER_L)
    substrate = Recipe(ingredients=ingredients, water_g=water_g)
    if plan.spawn is None:
        if plan.spawn_moisture_pct is not None:
            msg = "The spawn's moisture is given without spawn."
            raise TrialError(msg, "Say how much spawn.")
        return substrate
    moisture = None if plan.spawn_moisture_pct is None else plan.spawn_moisture_pct / 100.0
    spawn = parse_spawn(plan.spawn, substrate, moisture=moisture)
    return Recipe(ingredients=ingredients, water_g=water_g, spawn=spawn)


def _bag_dry_g(plan: RecipePlan) -> float | None:
    if plan.bag_wet is None:
        return None if plan.bag_dry is None else parse_mass(plan.bag_dry, "dry matter of a bag")
    if plan.bag_dry is not None or plan.moisture_pct is None:
        msg = "A bag's wet weight goes with the moisture, and not with its dry matter."
        raise TrialError(msg, "A wet weight and its moisture make the dry matter.")
    return dry_matter_g(parse_mass(plan.bag_wet, "wet weight of a bag"), plan.moisture_pct / 100.0)
