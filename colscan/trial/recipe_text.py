"""An ingredient or spawn as it is written on the command line."""

from __future__ import annotations

import re
from typing import Any

from colscan.errors import TrialError
from colscan.trial.amounts import parse_mass, parse_moisture, parse_percent
from colscan.trial.recipe import Base, Ingredient, Part, Recipe, Share, Spawn

EXAMPLE = '"bran, 0.8 oz, moisture 12%"'
WEIGHED_EXAMPLE = '"pellets, 2.03 kg, moisture 7%, lot A12"'
_LOT = "lot "
_SHARE = re.compile(r"(?P<percent>[^%]*)%\s*(?:of\s+(?P<base>\w+))?\Z", re.IGNORECASE)
_UNWEIGHED = {
    Part.MAIN: ("the bag's weight", "the main substrate makes up the bag"),
    Part.SUPPLEMENT: ("the treatments' levels", "a trial's supplement has the level of each treatment"),
}
_SUPPLEMENT_BASES = {"main": Base.MAIN, "dry": Base.DRY}
_SPAWN_BASES = ("wet", "dry")
_FRACTIONS = {"moisture": "moisture", "c": "carbon", "n": "nitrogen"}


def parse_ingredient(text: str, part: Part, *, weighed: bool = True) -> tuple[Ingredient, Share | None]:
    """Return an ingredient, and its share where its amount is one.

    Parameters
    ----------
    text : str
        ``NAME, AMOUNT``, then any of ``moisture P%``, ``C P%``, ``N P%``, ``density D``, ``source TEXT``.
    part : Part
        What it is in the recipe.
    weighed : bool
        Whether the text says the amount. If not, it follows from elsewhere (the main substrate makes up
        the bag, a supplement has the treatment's level), must not stand here, and the weight here is 0.

    Raises
    ------
    TrialError
        When something in it isn't understood.
    """
    name, *words = [word.strip() for word in text.split(",")]
    if not name:
        msg = f"{part}: {text!r} has no name."
        raise TrialError(msg, f"Write e.g. {EXAMPLE}.")
    given: dict[str, Any] = {}
    amount = ""
    while words:
        word = words.pop(0)
        key, _, value = word.partition(" ")
        key = key.lower()
        if key == "source":
            given["source"], words = ", ".join([value.strip(), *words]), []
        elif key in _FRACTIONS and _FRACTIONS[key] not in given:
            parse = parse_moisture if key == "moisture" else parse_percent
            given[_FRACTIONS[key]] = parse(value, f"{name}: {key}")
        elif key == "density" and "density_kg_per_l" not in given:
            given["density_kg_per_l"] = _parse_density(value, name)
        elif not amount and _begins_amount(word):
            amount = word
        else:
            msg = f"{name}: {word!r} is not understood."
            raise TrialError(msg, f"Write e.g. {EXAMPLE}; decimals with a point.")
    weight_g, share = _parse_amount(amount, name, part, given.get("density_kg_per_l"), weighed)
    return Ingredient(name=name, part=part, weight_g=weight_g, **given), share


def parse_weighed(text: str) -> tuple[Ingredient, str | None]:
    """Return an ingredient as it was weighed, and its lot.

    Parameters
    ----------
    text : str
        ``NAME, WEIGHT``, then any of ``moisture P%``, ``lot NAME``; or a volume and ``density D``.

    Raises
    ------
    TrialError
        When something in it isn't understood, or isn't what a scale shows.
    """
    name, *words = [word.strip() for word in text.split(",")]
    lots = [word[len(_LOT) :].strip() for word in words if word.lower().startswith(_LOT)]
    rest = [word for word in words if not word.lower().startswith(_LOT)]
    ingredient, share = parse_ingredient(", ".join([name, *rest]), Part.OTHER)
    if share is not None or ingredient.carbon is not None or ingredient.source or len(lots) > 1:
        msg = f"{text!r} is more or other than a weight, a moisture and a lot."
        raise TrialError(msg, f"Write e.g. {WEIGHED_EXAMPLE}.")
    return ingredient, next(iter(lots), None)


def drop_amount(text: str) -> str:
    """Return the text of an ingredient without its amount, where it has one."""
    name, *words = text.split(",")
    for i, word in enumerate(words):
        if word.split()[:1] == ["source"]:
            break
        if _begins_amount(word.strip()):
            return ",".join([name, *words[:i], *words[i + 1 :]])
    return text


def _begins_amount(word: str) -> bool:
    return word[:1] in tuple("-.0123456789")


def _parse_amount(
    amount: str, name: str, part: Part, density: float | None, weighed: bool
) -> tuple[float, Share | None]:
    if not weighed and not amount:
        return 0.0, None
    if not weighed:
        fixed, why = _UNWEIGHED[part]
        msg = f"{name}: {amount!r} and {fixed} can't both be given."
        raise TrialError(msg, f"Leave one of the two out: {why}.")
    if not amount:
        msg = f"{name}: no amount is given."
        raise TrialError(msg, f"Write it after a comma, e.g. {EXAMPLE}.")
    match = _SHARE.match(amount)
    if match is None:
        return parse_mass(amount, name, density_kg_per_l=density), None
    base = _SUPPLEMENT_BASES.get((match["base"] or "").lower())
    if part is Part.MAIN or base is None:
        msg = (
            f"{name}: {amount!r} doesn't say of what."
            if base is None
            else f"{name}: {amount!r} is no weight."
        )
        hint = 'Write "2.5% of main" (main substrate as weighed) or "20% of dry" (all dry matter, oven-dry).'
        raise TrialError(msg, hint if base is None else "The main substrate is given as a weight.")
    return 0.0, Share(fraction=parse_percent(match["percent"], name), base=base)


def _parse_density(text: str, name: str) -> float:
    try:
        density = float(text.lower().removesuffix("kg/l"))
    except ValueError:
        density = 0.0
    # From loose shavings to wet grain; pellets have 0.6 to 0.75, and what is beyond is in another unit.
    if 0.02 <= density <= 2.0:
        return density
    msg = f"{name}: density {text!r} can't be."
    raise TrialError(msg, "Give kg per litre, from 0.02 to 2, like density 0.65.")


def parse_spawn(text: str, recipe: Recipe, *, moisture: float | None) -> Spawn:
    """Return the spawn that a text like ``1 lb``, ``5% of wet`` or ``10% of dry`` asks for.

    Parameters
    ----------
    text : str
        A weight, or a percentage (of spawn as weighed) with its base.
    recipe : Recipe
        What the percentage is of.
    moisture : float, optional
        Of the spawn, from 0 to under 1.

    Raises
    ------
    TrialError
        When it is neither.
    """
    match = _SHARE.match(text.strip())
    if match is None:
        return Spawn(weight_g=parse_mass(text, "spawn"), moisture=moisture)
    base = (match["base"] or "").lower()
    if base not in _SPAWN_BASES:
        msg = f"spawn: {text.strip()!r} doesn't say of what."
        raise TrialError(msg, 'Write "5% of wet" (wet substrate) or "10% of dry" (its oven-dry matter).')
    of_g = recipe.wet_g if base == "wet" else recipe.dry_g
    return Spawn(weight_g=parse_percent(match["percent"], "spawn") * of_g, moisture=moisture)
