"""What bags gave: by bag, by strain and level, and on which footing they are compared."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from colscan.growth.efficiency import DrySubstrate
from colscan.trial.model import Bag


class Standing(StrEnum):
    """How a bag stands at the age or flush at which bags are compared; the first four count."""

    HARVESTED = "harvested"
    SPENT = "spent"
    """Taken out after a harvest, before the flush compared: what it gave is all it gives."""
    LOST = "lost"
    NOTHING = "nothing"
    """Followed to the age compared without a harvest: zero so far."""
    NOT_YET = "not yet"
    LEFT = "left"


COUNTS = frozenset({Standing.HARVESTED, Standing.SPENT, Standing.LOST, Standing.NOTHING})


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """At what bags are compared: a flush, or an age; exactly one of them.

    Parameters
    ----------
    flush : int or None
        All flushes up to this one count, of bags that had it or that are lost.
    days : float or None
        All harvests up to this age count, of bags that were followed so long.
    """

    flush: int | None = None
    days: float | None = None

    @property
    def words(self) -> str:
        """The basis as on screens."""
        if self.flush is None:
            return f"up to day {self.days:g}"
        return "first flush" if self.flush == 1 else f"flushes 1 to {self.flush}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Flush:
    """One harvest of a bag: the flush's number, the bag's age in days, the weights in g."""

    number: int
    days: float
    fresh_g: float
    saleable_g: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BagYield:
    """What one bag gave.

    Parameters
    ----------
    bag : Bag
        As planned.
    flushes : tuple of Flush
        All of them, by age; also those after the flush or age compared.
    standing : Standing
        At the flush or age compared.
    compared_g : float or None
        Fresh weight up to there, g: what a lost bag gave before, mostly 0. None for bags that don't count.
    cycle_days : float or None
        Age at the last harvest in it; None without one.
    pins_days, first_days : float or None
        Age when pins were first recorded, and at the first harvest.
    dry, dry_with_spawn : DrySubstrate or None
        Dry matter of the substrate, and with the spawn's in it; None where not known.
    """

    bag: Bag
    flushes: tuple[Flush, ...]
    standing: Standing
    compared_g: float | None
    cycle_days: float | None
    pins_days: float | None
    first_days: float | None
    dry: DrySubstrate | None
    dry_with_spawn: DrySubstrate | None

    @property
    def fresh_g(self) -> float:
        """All it gave so far, g."""
        return sum((flush.fresh_g for flush in self.flushes), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A mean (or a difference of two), and its 90 % interval; None where the bags don't carry one."""

    value: float
    low: float | None
    high: float | None
    bags: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ages:
    """Ages at which something came: the median of the bags where it did, the first and the last."""

    median: float
    first: float
    last: float
    bags: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What a bag of a level costs, in the unit of the prices given.

    Parameters
    ----------
    per_bag : float
        Of one bag spawned.
    per_kg : float or None
        Of a kg fresh, with the lost bags paid for; None where nothing was harvested.
    without : tuple of str
        Ingredients that no price was given for: they count as nothing.
    """

    per_bag: float
    per_kg: float | None
    without: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelYield:
    """What the bags of one strain and treatment gave.

    Parameters
    ----------
    strain, treatment : str
        As planned.
    supplement_pct : float
        The level.
    standings : dict of Standing to int
        How many of its bags stand how; together all that were spawned.
    heat_runs : int or None
        Of the bags that count; None when bags.csv doesn't say them.
    grams : Mean or None
        Fresh g per bag spawned, lost bags counting what they gave before (mostly 0); None without a bag
        that counts.
    per_day_g : float or None
        The same per day from spawning to the harvest compared (mean of the bags harvested), or to the age.
    cycle_days : float or None
        That time.
    gain : Mean or None
        Grams per bag spawned more than at the lowest level of this strain; None for that level itself.
    harvested_g : Mean or None
        Fresh g per bag of those harvested alone: beside the headline, never instead of it.
    efficiency, efficiency_with_spawn : Mean or None
        Biological efficiency (%) of the bags harvested whose dry matter is known; the second counts the
        spawn's dry matter as substrate.
    dry_sources : tuple of str
        Where dry matter comes from, when it isn't bags.csv.
    pins, first : Ages or None
        Days from spawning to the first pins recorded and to the first harvest.
    cost : Cost or None
        When prices are given and the trial has a recipe.
    """

    strain: str
    treatment: str
    supplement_pct: float
    standings: dict[Standing, int]
    heat_runs: int | None
    grams: Mean | None
    per_day_g: float | None
    cycle_days: float | None
    gain: Mean | None
    harvested_g: Mean | None
    efficiency: Mean | None
    efficiency_with_spawn: Mean | None
    dry_sources: tuple[str, ...]
    pins: Ages | None
    first: Ages | None
    cost: Cost | None

    @property
    def bags(self) -> int:
        """How many were spawned."""
        return sum(self.standings.values())

    @property
    def counted(self) -> int:
        """How many of them count in the comparison."""
        return sum(count for standing, count in self.standings.items() if standing in COUNTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Yields:
    """What a trial's bags gave.

    Parameters
    ----------
    basis : Basis
        At what bags are compared.
    interim : bool
        Whether the trial goes on: figures may still change.
    bags : tuple of BagYield
        In the plan's order, blanks left out.
    levels : tuple of LevelYield
        By strain in the plan's order, then by level.
    answers : tuple of str
        In words what the levels gave, and which bags that leaves out.
    notes : tuple of str
        How it was worked out, and what must be known to read it.
    """

    basis: Basis
    interim: bool
    bags: tuple[BagYield, ...]
    levels: tuple[LevelYield, ...]
    answers: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def sentences(self) -> tuple[str, ...]:
        """All that is said, the answers first."""
        return self.answers + self.notes
