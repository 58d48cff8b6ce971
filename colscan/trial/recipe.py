"""Arithmetic of a bag's recipe: moisture, supplement level, water, spawn, carbon to nitrogen.

Moistures are on the wet basis (water of total weight) unless a name says otherwise. A percentage of
supplement or spawn has no meaning without its base, so each carries it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from colscan.errors import TrialError

USUAL_MOISTURE = 0.10
"""What an air-dry ingredient may hold: the most that ENplus A1 allows wood pellets, a little under bran's."""

HEAVIEST_G = 1e6
"""No bag takes a tonne: more is a slip of the finger or of the unit."""


class Part(StrEnum):
    """What an ingredient is in the recipe."""

    MAIN = "main"
    SUPPLEMENT = "supplement"
    OTHER = "other"


class Base(StrEnum):
    """What a percentage of supplement is of."""

    MAIN = "main substrate as weighed"
    DRY = "all dry matter, oven-dry"


class SpawnBase(StrEnum):
    """What a spawn rate is of, and how the spawn is counted."""

    WET = "wet substrate as mixed"
    DRY = "all dry matter, spawn as weighed"
    DRY_OF_DRY = "all dry matter, spawn oven-dry"


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """An amount as a share of something.

    Parameters
    ----------
    fraction : float
        From 0 to under 1.
    base : Base
        What it is a share of.
    """

    fraction: float
    base: Base

    def __post_init__(self) -> None:
        _check_fraction(self.fraction, "a supplement's level")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ingredient:
    """Something that is weighed into the mix, apart from water and spawn.

    Parameters
    ----------
    name : str
        What it is called.
    part : Part
        Main substrate, supplement or other.
    weight_g : float
        As weighed, in one bag, g.
    moisture : float, optional
        Water of its weight, from 0 to under 1; None when not known, which counts as 0.
    carbon, nitrogen : float, optional
        Of its dry matter, from 0 to 1.
    source : str
        Where carbon and nitrogen come from.
    density_kg_per_l : float, optional
        As measured.

    Raises
    ------
    TrialError
        When a value can't be.
    """

    name: str
    part: Part
    weight_g: float
    moisture: float | None = None
    carbon: float | None = None
    nitrogen: float | None = None
    source: str = ""
    density_kg_per_l: float | None = None

    def __post_init__(self) -> None:
        check_mass(self.weight_g, self.name)
        if self.moisture is not None:
            _check_fraction(self.moisture, f"{self.name}: moisture")
        _check_carbon_nitrogen(self)

    @property
    def water_g(self) -> float:
        """Water that it brings along, g."""
        return self.weight_g * (self.moisture or 0.0)

    @property
    def dry_g(self) -> float:
        """Oven-dry matter, g."""
        return self.weight_g - self.water_g


@dataclass(frozen=True, slots=True, kw_only=True)
class Spawn:
    """Spawn for one bag.

    Parameters
    ----------
    weight_g : float
        As weighed, g.
    moisture : float, optional
        Water of its weight, from 0 to under 1.
    """

    weight_g: float
    moisture: float | None = None

    def __post_init__(self) -> None:
        check_mass(self.weight_g, "spawn")
        if self.moisture is not None:
            _check_fraction(self.moisture, "spawn: moisture")


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What goes into one bag.

    Parameters
    ----------
    ingredients : tuple of Ingredient
        At least one of them main substrate.
    water_g : float
        Water that is added, g.
    spawn : Spawn, optional
        Not part of the substrate: it counts in no moisture here.
    """

    ingredients: tuple[Ingredient, ...]
    water_g: float
    spawn: Spawn | None = None

    def __post_init__(self) -> None:
        check_mass(self.water_g, "water")
        check_mass(self.wet_g, "the substrate")
        names = [i.name for i in self.ingredients]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            msg = f"{twice[0]!r} is in the recipe twice."
            raise TrialError(msg, "Add the two up, or give them different names.")
        if self._weight_of(Part.MAIN) == 0 or self.dry_g == 0:
            msg = "The recipe has no main substrate."
            raise TrialError(msg, "Give its weight, over 0, and what it is; levels are counted on it.")

    @property
    def dry_g(self) -> float:
        """Oven-dry matter of the substrate, g."""
        return sum(i.dry_g for i in self.ingredients)

    @property
    def water_total_g(self) -> float:
        """Water added and water that the ingredients bring along, g."""
        return self.water_g + sum(i.water_g for i in self.ingredients)

    @property
    def wet_g(self) -> float:
        """Weight of the substrate without spawn, g."""
        return self.dry_g + self.water_total_g

    @property
    def moisture(self) -> float:
        """Water of the substrate's weight, a fraction."""
        return self.water_total_g / self.wet_g

    def supplement_level(self, base: Base) -> float:
        """Return the supplement's level on a base, a fraction."""
        if base is Base.MAIN:
            return self._weight_of(Part.SUPPLEMENT) / self._weight_of(Part.MAIN)
        return sum(i.dry_g for i in self.ingredients if i.part is Part.SUPPLEMENT) / self.dry_g

    def spawn_rate(self, base: SpawnBase) -> float | None:
        """Return the spawn rate on a base, a fraction; None without spawn or without its moisture."""
        if self.spawn is None:
            return None
        if base is SpawnBase.WET:
            return self.spawn.weight_g / self.wet_g
        if base is SpawnBase.DRY:
            return self.spawn.weight_g / self.dry_g
        if self.spawn.moisture is None:
            return None
        return self.spawn.weight_g * (1.0 - self.spawn.moisture) / self.dry_g

    def _weight_of(self, part: Part) -> float:
        return sum(i.weight_g for i in self.ingredients if i.part is part)


def wet_to_dry_basis(moisture: float) -> float:
    """Return water per dry matter, of a moisture on the wet basis (0 to under 1).

    >>> wet_to_dry_basis(0.5)
    1.0
    """
    _check_fraction(moisture, "moisture")
    return moisture / (1.0 - moisture)


def dry_matter_g(wet_g: float, moisture: float) -> float:
    """Return the oven-dry matter, g, of a wet weight and its moisture (0 to under 1)."""
    check_mass(wet_g, "wet weight")
    _check_fraction(moisture, "moisture")
    return wet_g * (1.0 - moisture)


def water_to_add_g(ingredients: Sequence[Ingredient], target: float) -> float:
    """Return the water, g, that brings ingredients to a moisture.

    Parameters
    ----------
    ingredients : sequence of Ingredient
        With their weights.
    target : float
        Moisture of the mix, wet basis, over 0 and under 1.

    Raises
    ------
    TrialError
        When the target can't be, or the mix is wetter already.
    """
    if not 0.0 < target < 1.0:
        msg = f"A moisture of {100 * target:g} % can't be aimed at."
        raise TrialError(msg, "Give a percentage of the wet weight, over 0 and under 100.")
    dry, water = sum(i.dry_g for i in ingredients), sum(i.water_g for i in ingredients)
    to_add = dry * wet_to_dry_basis(target) - water
    if to_add < -1e-9 * (dry + water):  # a rounding error is no water
        msg = (
            f"The mix is already wetter than {100 * target:g} %: its ingredients alone have"
            f" {100 * water / (dry + water):.1f} %."
        )
        raise TrialError(msg, "Aim higher, dry the wettest ingredient, or check the moistures given.")
    return max(0.0, to_add)


def weigh_out(
    orders: Sequence[tuple[Ingredient, Share | None]], *, bag_dry_g: float | None = None
) -> tuple[Ingredient, ...]:
    """Return ingredients with their weights, where some are asked for as shares or as the rest of a bag.

    Parameters
    ----------
    orders : sequence of (Ingredient, Share or None)
        A share replaces the ingredient's weight.
    bag_dry_g : float, optional
        Oven-dry matter of a bag, g: the one main substrate then makes it up, whatever its weight says.

    Raises
    ------
    TrialError
        When the shares and weights leave nothing for the main substrate.
    """
    of_dry = sum(share.fraction for _, share in orders if share and share.base is Base.DRY)
    of_main = [(i, share.fraction) for i, share in orders if share and share.base is Base.MAIN]
    dry_per_main = sum(fraction * (1.0 - (i.moisture or 0.0)) for i, fraction in of_main)
    mains = [i for i, _ in orders if i.part is Part.MAIN]
    weighed = [i for i, share in orders if share is None]
    if of_dry >= 1.0:
        msg = f"Supplements of {100 * of_dry:g} % of all dry matter leave nothing for the main substrate."
        raise TrialError(msg, "Their levels must sum to under 100 %.")
    if bag_dry_g is None:
        main_g = sum(i.weight_g for i in mains)
        dry_g = (sum(i.dry_g for i in weighed) + main_g * dry_per_main) / (1.0 - of_dry)
    else:
        dry_g = bag_dry_g
        fixed = sum(i.dry_g for i in weighed if i.part is not Part.MAIN)
        main_g = _main_of_bag(mains, dry_g * (1.0 - of_dry) - fixed, dry_per_main)
    return tuple(
        dataclasses.replace(i, weight_g=_weight(i, share, main_g=main_g, dry_g=dry_g))
        if share
        else dataclasses.replace(i, weight_g=main_g)
        if bag_dry_g is not None and i.part is Part.MAIN
        else i
        for i, share in orders
    )


def _main_of_bag(mains: Sequence[Ingredient], left_dry_g: float, dry_per_main: float) -> float:
    if len(mains) != 1:
        msg = f"With a bag's weight given there must be one main substrate, not {len(mains)}."
        raise TrialError(msg, "Give the others as other ingredients, by weight.")
    if left_dry_g <= 0:
        msg = "The other ingredients leave nothing of the bag for the main substrate."
        raise TrialError(msg, "Give a bigger bag, or less of them.")
    return left_dry_g / (1.0 - (mains[0].moisture or 0.0) + dry_per_main)


def _weight(ingredient: Ingredient, share: Share, *, main_g: float, dry_g: float) -> float:
    if share.base is Base.MAIN:
        return share.fraction * main_g
    return share.fraction * dry_g / (1.0 - (ingredient.moisture or 0.0))


def carbon_to_nitrogen(ingredients: Sequence[Ingredient]) -> float | None:
    """Return carbon per nitrogen of the mix, by weight; None unless each ingredient's values are known.

    Raises
    ------
    TrialError
        When there is no nitrogen at all.
    """
    carbon = nitrogen = 0.0
    for i in ingredients:
        if i.carbon is None or i.nitrogen is None:
            return None
        carbon += i.dry_g * i.carbon
        nitrogen += i.dry_g * i.nitrogen
    if nitrogen == 0:
        msg = "The mix has no nitrogen, so no carbon-to-nitrogen ratio."
        raise TrialError(msg, "Check the nitrogen percentages: they are of dry matter, and 0 is none at all.")
    return carbon / nitrogen


def with_usual_moisture(ingredients: Sequence[Ingredient]) -> tuple[Ingredient, ...]:
    """Return ingredients, those of unknown moisture at `USUAL_MOISTURE`: how far off 0 may be."""
    return tuple(
        dataclasses.replace(i, moisture=USUAL_MOISTURE) if i.moisture is None else i for i in ingredients
    )


def check_mass(value: float, what: str) -> None:
    """Refuse (`TrialError`) grams of something that can't be its amount."""
    if not 0.0 <= value <= HEAVIEST_G:  # also refuses nan
        msg = f"{what}: {value:g} g can't be an amount."
        raise TrialError(msg, f"Give 0 or more, and at most {HEAVIEST_G / 1000:g} kg.")


def _check_fraction(value: float, what: str) -> None:
    if not 0.0 <= value < 1.0:  # also refuses nan
        msg = f"{what}: {100 * value:g} % can't be."
        raise TrialError(msg, "Give a percentage from 0 to under 100.")


def _check_carbon_nitrogen(ingredient: Ingredient) -> None:
    name, given = ingredient.name, (ingredient.carbon, ingredient.nitrogen)
    if given == (None, None):
        return
    carbon, nitrogen = given
    if carbon is None or nitrogen is None:
        msg = f"{name}: carbon and nitrogen are only known together."
        raise TrialError(msg, "Give both C and N, or neither.")
    if not (carbon >= 0 and nitrogen >= 0 and carbon + nitrogen <= 1):
        msg = f"{name}: C {100 * carbon:g} % and N {100 * nitrogen:g} % of its dry matter can't be."
        raise TrialError(msg, "Give percentages of dry matter that sum to at most 100.")
    if not ingredient.source.strip():
        msg = f"{name}: C and N are given without their source."
        raise TrialError(msg, 'Add e.g. "source lab report of 3 March": the values differ much between lots.')
