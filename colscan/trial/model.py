"""The values of a plan: trial, limits, strains, treatments, shelves, bags."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar, Literal
from zlib import crc32
from zoneinfo import ZoneInfo

from colscan.tables import Column, Row, column

HEALTHY_LOOKS = ("amber", "brown", "grey", "orange", "dark")
JUDGING = ("open", "blind")
PLAN_FILE = "trial.toml"
LAST_BAG_TAG = 579
SHELF_TAGS = range(580, 587)
_OVER_TAGS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The thresholds a grower may change, with their defaults.

    Parameters
    ----------
    contamination_risk : float
        Accepted share of bags lost, held against an upper one-sided 95 % limit.
    horizon : str or float
        How long bags are followed: ``"full"``, ``"first-harvest"``, or days.
    full_coverage_pct, ready_coverage_pct : float
        See the word `full`: coverage at or over the first, its low end over the second.
    stalled_points_per_day, stalled_days : float
        See the word `stalled`.
    max_photo_megapixels : float
        Larger photos are refused before they are decoded.
    """

    contamination_risk: float = 0.20
    horizon: str | float = "full"
    full_coverage_pct: float = 98.0
    ready_coverage_pct: float = 95.0
    stalled_points_per_day: float = 1.0
    stalled_days: float = 3.0
    max_photo_megapixels: float = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Strain:
    """A strain and what it shows when well."""

    code: str
    species: str = ""
    spawn: Literal["grain", "sawdust", "plugs"] = "grain"
    consolidate_days: float = 3.0
    healthy_looks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """A supplement at one level; the percentage is of `supplement_base`."""

    supplement: str
    supplement_pct: float
    supplement_base: str = "main substrate as weighed"

    @property
    def name(self) -> str:
        """Supplement and level as shown on screens, e.g. ``bran 4 %``."""
        return "none" if self.supplement == "none" else f"{self.supplement} {self.supplement_pct:g} %"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipePlan:
    """What goes into one bag, in the words of `colscan recipe`; `trial_recipe` works it out.

    Parameters
    ----------
    main, other : tuple of str
        Ingredients as ``NAME, AMOUNT, moisture P%, ...``.
    supplement : tuple of str
        Likewise; those of a trial have no amount, for their levels are the treatments'.
    water : str or None
        Water added, as ``45 oz``; or instead
    moisture_pct : float or None
        the moisture to reach, percent of the wet weight.
    bag_wet, bag_dry : str or None
        Wet weight or dry matter of a bag, as ``2.5 kg``; the main substrate, without amount, makes it up.
    spawn : str or None
        As ``1 lb``, ``5% of wet`` or ``10% of dry``.
    spawn_moisture_pct : float or None
        Its moisture, percent of its weight.
    """

    main: tuple[str, ...]
    supplement: tuple[str, ...] = ()
    other: tuple[str, ...] = ()
    water: str | None = None
    moisture_pct: float | None = None
    bag_wet: str | None = None
    bag_dry: str | None = None
    spawn: str | None = None
    spawn_moisture_pct: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """A shelf of the rack and the tag ids of its fixed cards."""

    name: str
    tiers: int = 1
    cards: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Bag(Row):
    """One bag as planned; a row of bags.csv."""

    FILE: ClassVar[str] = "bags.csv"
    bag: str = column(Column(kind="text", meaning="The bag's code, unique in the trial."))
    tag: int | None = column(
        Column(
            kind="integer",
            meaning="AprilTag id of its card, 0 to 579 (580 to 586 are shelf cards); empty for no card.",
            low=0,
            high=LAST_BAG_TAG,
        ),
        default=None,
    )
    role: str = column(
        Column(
            kind="choice",
            meaning="`trial`, or `blank` for a sealed bag without spawn.",
            choices=("trial", "blank"),
        ),
        default="trial",
    )
    strain: str = column(Column(kind="text", meaning="The strain's code."))
    supplement: str = column(Column(kind="text", meaning="The supplement; may be `none`."))
    supplement_pct: float = column(
        Column(kind="number", meaning="Its level, on the treatment's stated base.", unit="%", low=0, high=100)
    )
    group: str | None = column(
        Column(kind="text", meaning="Randomised group over shelf places."), default=None
    )
    shelf: str | None = column(Column(kind="text", meaning="The planned shelf."), default=None)
    position: str | None = column(Column(kind="text", meaning="The planned place on it."), default=None)
    mix_batch: str | None = column(Column(kind="text", meaning="The mix it was filled from."), default=None)
    heat_run: str | None = column(Column(kind="text", meaning="The heat run it went through."), default=None)
    spawn_lot: str | None = column(Column(kind="text", meaning="The lot of its spawn."), default=None)
    spawn_order: int | None = column(
        Column(kind="integer", meaning="Its place in the order of spawning.", low=1), default=None
    )
    spawn_method: str = column(
        Column(kind="choice", meaning="Spawn mixed in, or laid on top.", choices=("mixed", "top")),
        default="mixed",
    )
    fill_wet_g: float | None = column(
        Column(kind="number", meaning="Wet substrate filled in.", unit="g", low=0), default=None
    )
    dry_g: float | None = column(
        Column(kind="number", meaning="Its dry matter.", unit="g", low=0), default=None
    )
    spawn_g: float | None = column(
        Column(kind="number", meaning="Spawn added.", unit="g", low=0), default=None
    )
    inoculated_at: datetime = column(
        Column(kind="time", meaning="Day 0, with the offset from UTC, like 2026-03-02T06:00:00-05:00.")
    )
    note: str | None = column(Column(kind="text", meaning="Anything else."), default=None)

    @property
    def key(self) -> int:
        """What photos know the bag by: its tag, or a number over all tags that its code gives."""
        return _OVER_TAGS + crc32(self.bag.encode()) if self.tag is None else self.tag

    @property
    def treatment(self) -> str:
        """Its treatment's name."""
        return Treatment(supplement=self.supplement, supplement_pct=self.supplement_pct).name


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A whole plan: trial.toml and bags.csv."""

    name: str
    time_zone: str
    question: str = ""
    planned_end: datetime | None = None
    ended_at: datetime | None = None
    judging: Literal["open", "blind"] = "open"
    plan: str = ""
    limits: Limits = field(default_factory=Limits)
    recipe: RecipePlan | None = None
    strains: tuple[Strain, ...] = ()
    treatments: tuple[Treatment, ...] = ()
    shelves: tuple[Shelf, ...] = ()
    bags: tuple[Bag, ...] = ()

    @property
    def zone(self) -> ZoneInfo:
        """The trial's time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def shelf_names(self) -> frozenset[str]:
        """Shelves that the plan names: in trial.toml, or as a bag's place."""
        return frozenset([*(s.name for s in self.shelves), *(b.shelf for b in self.bags if b.shelf)])

    def has_ended(self, now: datetime) -> bool:
        """Whether its end is said and has come."""
        return self.ended_at is not None and self.ended_at <= now

    def is_interim(self, now: datetime) -> bool:
        """Whether its results are interim: it has neither ended nor come to its planned end."""
        return not any(end is not None and end <= now for end in (self.planned_end, self.ended_at))

    def bag(self, code: str) -> Bag | None:
        """The bag of this code, or None."""
        return next((bag for bag in self.bags if bag.bag == code), None)

    @property
    def mixes(self) -> dict[str, tuple[Bag, ...]]:
        """The bags of each mix that bags.csv names."""
        return self._bags_by("mix_batch")

    @property
    def heat_runs(self) -> dict[str, tuple[Bag, ...]]:
        """The bags of each heat run that bags.csv names."""
        return self._bags_by("heat_run")

    def _bags_by(self, column_name: str) -> dict[str, tuple[Bag, ...]]:
        names = dict.fromkeys(name for bag in self.bags if (name := getattr(bag, column_name)))
        return {name: tuple(bag for bag in self.bags if getattr(bag, column_name) == name) for name in names}

    def strain(self, code: str) -> Strain | None:
        """The strain of this code, or None."""
        return next((strain for strain in self.strains if strain.code == code), None)
