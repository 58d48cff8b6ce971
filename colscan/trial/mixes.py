"""The trial's heat runs and, in each, its mixes and the order of spawning: what a day's work is."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from colscan.trial.model import Bag, Treatment, Trial
from colscan.trial.recipe import Recipe, Spawn
from colscan.trial.trial_recipe import recipe_of

_DIGITS = re.compile(r"([0-9]{1,9})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """The bags of one treatment that are filled from one mix and heated in one run.

    Parameters
    ----------
    name : str or None
        As in bags.csv; None when the plan says none.
    treatment : Treatment
        Supplement, level and what the level is of.
    bags : tuple of Bag
        In their file's order, blanks last.
    recipe : Recipe or None
        Of one bag; None when the trial has none.
    elsewhere : int
        Bags of the same mix and treatment that go into other heat runs.
    """

    name: str | None
    treatment: Treatment
    bags: tuple[Bag, ...]
    recipe: Recipe | None = None
    elsewhere: int = 0

    @property
    def filled(self) -> int:
        """How many bags the whole mix fills, also those of other heat runs."""
        return len(self.bags) + self.elsewhere


@dataclass(frozen=True, slots=True, kw_only=True)
class Spawning:
    """A bag and the spawn it gets; None when no recipe says how much."""

    bag: Bag
    spawn: Spawn | None

    @property
    def weight_g(self) -> float | None:
        """Its weight, g."""
        return None if self.spawn is None else self.spawn.weight_g


@dataclass(frozen=True, slots=True, kw_only=True)
class SpawnNeed:
    """Spawn of one strain and lot for a number of bags; the weight in g, None when not known."""

    strain: str
    lot: str | None
    bags: int
    weight_g: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRun:
    """What goes into one heat run.

    Parameters
    ----------
    name : str or None
        As in bags.csv; None when the plan says none.
    mixes : tuple of Mix
        By name.
    """

    name: str | None
    mixes: tuple[Mix, ...]

    @property
    def bags(self) -> tuple[Bag, ...]:
        """All its bags, mix by mix."""
        return tuple(bag for mix in self.mixes for bag in mix.bags)

    @property
    def spawned(self) -> tuple[Spawning, ...]:
        """What is spawned, in its order; bags without one come last, by code."""
        own = [
            Spawning(bag=bag, spawn=mix.recipe.spawn if mix.recipe else None)
            for mix in self.mixes
            for bag in mix.bags
            if bag.role != "blank"
        ]
        return tuple(sorted(own, key=_spawning_key))

    @property
    def blanks(self) -> tuple[Bag, ...]:
        """Those that stay sealed, by code."""
        own = [bag for bag in self.bags if bag.role == "blank"]
        return tuple(sorted(own, key=lambda bag: natural_key(bag.bag)))


def list_heat_runs(trial: Trial) -> tuple[HeatRun, ...]:
    """Return the trial's heat runs by name, with every bag in one; bags without a run come last.

    Parameters
    ----------
    trial : Trial
        The plan.

    Raises
    ------
    TrialError
        When its recipe doesn't work out at one of the treatments.
    """
    everywhere = Counter(map(_mix_of, trial.bags))
    runs = []
    for name in _named({bag.heat_run for bag in trial.bags}):
        own = [bag for bag in trial.bags if bag.heat_run == name]
        runs.append(HeatRun(name=name, mixes=tuple(_list_mixes(own, everywhere, trial))))
    return tuple(runs)


def sum_spawn(spawned: Sequence[Spawning]) -> tuple[SpawnNeed, ...]:
    """Return how much spawn of each strain and lot so many bags take, by name."""
    needs: dict[tuple[str, str], list[Spawning]] = {}
    for one in spawned:
        needs.setdefault((one.bag.strain, one.bag.spawn_lot or ""), []).append(one)
    return tuple(
        SpawnNeed(
            strain=strain,
            lot=lot or None,
            bags=len(own),
            weight_g=_sum([one.weight_g for one in own]),
        )
        for (strain, lot), own in sorted(needs.items(), key=lambda need: tuple(map(natural_key, need[0])))
    )


def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Return what sorts names as people do: `H2` before `H10`."""
    parts = (part for part in _DIGITS.split(name) if part)
    return tuple((0, int(part), "") if _DIGITS.fullmatch(part) else (1, 0, part) for part in parts)


def _sum(weights_g: Sequence[float | None]) -> float | None:
    known = [weight for weight in weights_g if weight is not None]
    return sum(known) if len(known) == len(weights_g) else None


def _spawning_key(one: Spawning) -> tuple[bool, int, tuple[tuple[int, int, str], ...]]:
    order = one.bag.spawn_order
    return order is None, order or 0, natural_key(one.bag.bag)


def _mix_of(bag: Bag) -> tuple[str | None, str, float]:
    return bag.mix_batch, bag.supplement, bag.supplement_pct


def _list_mixes(
    bags: Sequence[Bag], everywhere: Counter[tuple[str | None, str, float]], trial: Trial
) -> Iterable[Mix]:
    for name in _named({bag.mix_batch for bag in bags}):
        own_levels = {(bag.supplement, bag.supplement_pct) for bag in bags if bag.mix_batch == name}
        for supplement, level in sorted(own_levels, key=lambda one: (one[1] > 0, *one)):
            own = [bag for bag in bags if _mix_of(bag) == (name, supplement, level)]
            others = everywhere[name, supplement, level] - len(own) if name else 0
            yield Mix(
                name=name,
                treatment=_treatment_of(trial, supplement, level),
                recipe=recipe_of(trial, supplement, level) if trial.recipe else None,
                bags=tuple(sorted(own, key=lambda bag: bag.role == "blank")),
                elsewhere=others,
            )


def _treatment_of(trial: Trial, supplement: str, level: float) -> Treatment:
    planned = (t for t in trial.treatments if (t.supplement, t.supplement_pct) == (supplement, level))
    return next(planned, Treatment(supplement=supplement, supplement_pct=level))


def _named(names: set[str | None]) -> list[str | None]:
    """Names as people sort them, and None last where it is among them."""
    return sorted(names, key=lambda name: (name is None, natural_key(name or "")))
