"""Each ledger file's columns, declared once: the row types of what is measured and of what people say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from colscan.flags import Flag
from colscan.tables import Column, Row, column
from colscan.trial.recipe import HEAVIEST_G
from colscan.units import to_celsius

TAKEN_AT_FROM = ("exif-offset", "exif-trial-zone", "option", "file-name", "file-time")
IDENTIFIED_BY = ("card", "map")
PATCH_KINDS = ("green", "dark", "orange", "grey", "amber", "brown")
CALLS = ("contaminated", "harmless", "unsure", "withdrawn")
PLACES = ("face", "back", "bottom", "top", "seam", "inside")
ACTIONS = ("watched", "isolated", "discarded")
SCOPES = ("bag", "shelf", "room")
HAPPENINGS = (
    "shaken", "turned", "moved", "looked-round", "pins", "opened", "cold-shocked", "soaked", "fruiting",
    "discarded", "missing", "retired", "power-cut", "other",
)  # fmt: skip
COLDEST_CORE_C = -20.0
"""As a home freezer has it: no thermometer in substrate shows less."""
HOTTEST_CORE_C = 150.0
"""Wet substrate is no hotter than steam at its pressure, 4.8 bar (absolute) here: above vessels for bags.

What is above it is a slip, most often a reading in Fahrenheit.
"""
COLDEST_AIR_C = -30.0
WARMEST_AIR_C = 50.0
"""No place with living bags is colder or warmer: a sensor at fault, or degrees Fahrenheit."""
ROOM = "room"
"""The place of a temperature that is neither a shelf nor a bag."""
SHORT_SHA = 8
"""How many letters of a photo's SHA-256 its name under photos/ has: enough to tell a trial's photos apart."""

_PHOTO = Column(kind="text", meaning="The photo's file name as given.")
_SHA = Column(kind="sha256", meaning="SHA-256 of the photo's bytes, lower-case hex.", is_code=True)
_TAKEN = Column(kind="time", meaning="When the photo was taken.")
_BAG = Column(kind="text", meaning="The bag's code, as in bags.csv.", is_code=True)
_METHOD = Column(
    kind="text",
    meaning="Name and version of the method that measured it; of a photo the rows of the last one count.",
)
_SCANNED = Column(kind="time", meaning="When the row was written.")
_FLAGS = Column(kind="words", meaning="What makes the row doubtful.", choices=tuple(Flag))
_AT = Column(kind="time", meaning="When it happened or was said.")
_NOTE = Column(kind="text", meaning="Anything else.")


def _pct(meaning: str) -> Column:
    return Column(kind="number", meaning=meaning, unit="%", low=0, high=100)


def _mm(meaning: str, unit: str = "mm") -> Column:
    return Column(kind="number", meaning=meaning, unit=unit, low=0, decimals=4 if unit == "mm/px" else 1)


_PX = Column(
    kind="number",
    meaning="Place in the upright photo, from the centre of its top left pixel.",
    unit="px",
    decimals=1,
)
_OFFSET_MM = Column(
    kind="number", meaning="Place from the middle of the face, right and down.", unit="mm", decimals=1
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoRow(Row):
    """One scanned photo: the commit mark of its scores and suspects."""

    FILE: ClassVar[str] = "photos.csv"
    photo: str = column(_PHOTO)
    photo_sha256: str = column(_SHA)
    taken_at: datetime = column(_TAKEN)
    taken_at_from: str = column(
        Column(kind="choice", meaning="Where that time is from.", choices=TAKEN_AT_FROM)
    )
    shelf: str | None = column(Column(kind="text", meaning="The shelf in the photo, if said."), default=None)
    camera: str | None = column(Column(kind="text", meaning="Maker, model, lens, flash."), default=None)
    width_px: int = column(Column(kind="integer", meaning="Width of the upright photo.", unit="px", low=1))
    height_px: int = column(Column(kind="integer", meaning="Height of the upright photo.", unit="px", low=1))
    bags_found: int = column(Column(kind="integer", meaning="How many bags of the trial were found.", low=0))
    mm_per_px: float | None = column(_mm("Median scale at the bags.", "mm/px"), default=None)
    smallest_spot_mm: float | None = column(_mm("The smallest spot that this photo can show."), default=None)
    problems: tuple[Flag, ...] = column(
        Column(kind="words", meaning="What makes the whole photo doubtful.", choices=tuple(Flag)), default=()
    )
    bags_elsewhere: int | None = column(
        Column(
            kind="integer",
            meaning="How many of them are scored under another photo, taken within minutes of this one.",
            low=0,
        ),
        default=None,
    )
    burst: str | None = column(
        Column(
            kind="text",
            meaning="Photos that were combined, a row a bag: SHA-256 of the first of them; empty = none.",
        ),
        default=None,
    )
    method: str = column(_METHOD)
    scanned_at: datetime = column(_SCANNED)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreRow(Row):
    """One found bag in one photo. Key: photo_sha256, bag, method."""

    FILE: ClassVar[str] = "scores.csv"
    photo: str = column(_PHOTO)
    photo_sha256: str = column(_SHA)
    taken_at: datetime = column(_TAKEN)
    bag: str = column(_BAG)
    segment: int = column(
        Column(kind="integer", meaning="0, and one more after each shaken, turned or opened.", low=0),
        default=0,
    )
    coverage_pct: float | None = column(
        _pct(
            "Share of the face that carries mycelium, without what card, wires and neighbours hide; under"
            " glare as judged by what is around it."
        ),
        default=None,
    )
    coverage_low_pct: float | None = column(_pct("Low end of its 90 % interval."), default=None)
    coverage_high_pct: float | None = column(_pct("High end of its 90 % interval."), default=None)
    density_pct: float | None = column(_pct("Mean opacity of the mycelium over the same."), default=None)
    unseen_pct: float | None = column(_pct("Share of the face that is hidden."), default=None)
    suspects: int = column(Column(kind="integer", meaning="How many suspect patches.", low=0), default=0)
    suspect_area_pct: float | None = column(_pct("Their share of the seen face."), default=None)
    mm_per_px: float | None = column(_mm("Scale at the bag.", "mm/px"), default=None)
    outline: tuple[tuple[float, float], ...] = column(
        Column(
            kind="points",
            meaning="The face's polygon, x y x y ..., at most 32 corners.",
            unit="px",
            decimals=1,
        ),
        default=(),
    )
    flags: tuple[Flag, ...] = column(_FLAGS, default=())
    identified_by: str = column(Column(kind="choice", meaning="How the bag was told.", choices=IDENTIFIED_BY))
    method: str = column(_METHOD)
    scanned_at: datetime = column(_SCANNED)


@dataclass(frozen=True, slots=True, kw_only=True)
class SuspectRow(Row):
    """One suspect patch on one bag in one photo: how it looks, never what it is."""

    FILE: ClassVar[str] = "suspects.csv"
    photo: str = column(_PHOTO)
    photo_sha256: str = column(_SHA)
    taken_at: datetime = column(_TAKEN)
    bag: str = column(_BAG)
    patch: str = column(Column(kind="text", meaning="The patch's name, stable within a bag (p1, p2, ...)."))
    kind: str = column(Column(kind="choice", meaning="How it looks.", choices=PATCH_KINDS))
    area_mm2: float = column(_mm("Its area.", "mm2"))
    area_pct: float = column(_pct("Its share of the seen face."))
    x_px: float = column(_PX)
    y_px: float = column(_PX)
    x_mm: float = column(_OFFSET_MM)
    y_mm: float = column(_OFFSET_MM)
    outline: tuple[tuple[float, float], ...] = column(
        Column(kind="points", meaning="Its polygon, x y x y ...", unit="px", decimals=1), default=()
    )
    strength: float = column(
        Column(
            kind="number",
            meaning="How surely it is neither this bag's substrate nor its mycelium.",
            low=0,
            high=1,
        )
    )
    first_seen_at: datetime | None = column(
        Column(kind="time", meaning="When it was first seen."), default=None
    )
    growth_mm2_per_day: float | None = column(
        Column(kind="number", meaning="Growth since it was first seen.", unit="mm2/day", decimals=1),
        default=None,
    )
    flags: tuple[Flag, ...] = column(_FLAGS, default=())
    method: str = column(_METHOD)


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictRow(Row):
    """What a person says of a patch or a bag. The latest call counts; undo is `withdrawn`."""

    FILE: ClassVar[str] = "verdicts.csv"
    at: datetime = column(_AT)
    bag: str = column(_BAG)
    patch: str | None = column(
        Column(kind="text", meaning="The patch; empty for the whole bag."), default=None
    )
    photo_sha256: str | None = column(_SHA, default=None)
    call: str = column(Column(kind="choice", meaning="What is said.", choices=CALLS))
    where: str | None = column(
        Column(kind="choice", meaning="Where on the bag.", choices=PLACES), default=None
    )
    found_by: str | None = column(
        Column(kind="choice", meaning="Seen in a photo or by hand.", choices=("photo", "hand")), default=None
    )
    action: str | None = column(
        Column(
            kind="choice",
            meaning="What was done. Discarded stands until another action, or withdrawn, is said there.",
            choices=ACTIONS,
        ),
        default=None,
    )
    blind: str | None = column(
        Column(kind="choice", meaning="Whether the treatment was hidden.", choices=("yes", "no")),
        default=None,
    )
    by: str | None = column(Column(kind="text", meaning="Who says it."), default=None)
    note: str | None = column(_NOTE, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class EventRow(Row):
    """What happened to a bag, a shelf or the room."""

    FILE: ClassVar[str] = "events.csv"
    at: datetime = column(_AT)
    scope: str = column(Column(kind="choice", meaning="What it happened to.", choices=SCOPES))
    name: str | None = column(
        Column(kind="text", meaning="The bag's code or the shelf's name; empty for the room."), default=None
    )
    what: str = column(Column(kind="choice", meaning="What happened.", choices=HAPPENINGS))
    detail: str | None = column(
        Column(kind="text", meaning="Anything else; for `moved` of a bag or a shelf, the shelf it went to."),
        default=None,
    )

    @property
    def occasion(self) -> tuple[datetime, str, str | None, str, str | None]:
        """What tells it from others: time, subject and kind; notes of no kind by their detail, too."""
        return self.at, self.scope, self.name, self.what, self.detail if self.what == "other" else None


@dataclass(frozen=True, slots=True, kw_only=True)
class HarvestRow(Row):
    """One flush of one bag; the latest row of a bag and flush counts."""

    FILE: ClassVar[str] = "harvests.csv"
    at: datetime = column(_AT)
    bag: str = column(_BAG)
    flush: int = column(Column(kind="integer", meaning="1 for the first flush.", low=1, high=20))
    fresh_g: float = column(Column(kind="number", meaning="Fresh weight.", unit="g", low=0, high=100_000))
    saleable_g: float | None = column(
        Column(kind="number", meaning="Of it, fit for sale.", unit="g", low=0, high=100_000), default=None
    )
    note: str | None = column(_NOTE, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRow(Row):
    """What was weighed into a mix of one ingredient; the latest row of a mix, ingredient and lot counts."""

    FILE: ClassVar[str] = "batches.csv"
    mix_batch: str = column(Column(kind="text", meaning="The mix, as in bags.csv."))
    at: datetime = column(Column(kind="time", meaning="When it was weighed in."))
    ingredient: str = column(Column(kind="text", meaning="What it is; `water` for the water added."))
    lot: str | None = column(
        Column(
            kind="text",
            meaning="The lot it is from. Of a mix, ingredient and lot the latest row counts; lots add up.",
        ),
        default=None,
    )
    weight_g: float = column(
        Column(
            kind="number",
            meaning="Weight as weighed, for the whole mix.",
            unit="g",
            low=0,
            high=HEAVIEST_G,
        )
    )
    moisture_pct: float | None = column(_pct("Water of that weight."), default=None)

    @property
    def key(self) -> tuple[str, str, str | None]:
        """What a later row must share to replace this one."""
        return self.mix_batch, self.ingredient, self.lot


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRunRow(Row):
    """How a heat run went; the latest row of a run counts."""

    FILE: ClassVar[str] = "heat_runs.csv"
    heat_run: str = column(
        Column(kind="text", meaning="The heat run, as in bags.csv; its latest row counts.")
    )
    started_at: datetime = column(Column(kind="time", meaning="When it began."))
    ended_at: datetime | None = column(Column(kind="time", meaning="When it ended."), default=None)
    method: str | None = column(
        Column(kind="text", meaning="The method, in the grower's words."), default=None
    )
    core_celsius: float | None = column(
        Column(
            kind="number",
            meaning="What the thermometer in the substrate showed.",
            unit="C",
            low=COLDEST_CORE_C,
            high=HOTTEST_CORE_C,
        ),
        default=None,
    )
    note: str | None = column(_NOTE, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureRow(Row):
    """One reading of a thermometer: of the air, or of a bag, which heats itself and so is an outcome."""

    FILE: ClassVar[str] = "temperature.csv"
    at: datetime = column(Column(kind="time", meaning="When it was read."))
    place: str = column(
        Column(
            kind="text",
            meaning="`room`, a shelf's name (the air there) or a bag's code (inside it).",
        )
    )
    celsius: float | None = column(
        Column(kind="number", meaning="The temperature; empty for no reading.", unit="C"), default=None
    )
    fahrenheit: float | None = column(
        Column(kind="number", meaning="The same in Fahrenheit, where celsius is empty.", unit="F"),
        default=None,
    )

    @property
    def reading_c(self) -> float | None:
        """What counts of it, degrees Celsius; None without a reading or with one that can't be."""
        value = self.celsius
        if value is None and self.fahrenheit is not None:
            value = to_celsius(self.fahrenheit)
        return value if value is not None and COLDEST_AIR_C <= value <= WARMEST_AIR_C else None


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimateRow(Row):
    """What a person's eye says of one bag in one photo; of a photo, bag and person the latest row counts."""

    FILE: ClassVar[str] = "estimates.csv"
    at: datetime = column(Column(kind="time", meaning="When it was estimated."))
    bag: str = column(_BAG)
    photo_sha256: str = column(
        Column(
            kind="text",
            meaning="SHA-256 of the photo's bytes, or its first 8 letters: those of its name under photos/.",
            is_code=True,
        )
    )
    coverage_pct: float = column(_pct("Share of the seen face that carries mycelium, as estimated."))
    by: str | None = column(Column(kind="text", meaning="Who estimated."), default=None)
    blind: str | None = column(
        Column(
            kind="choice",
            meaning="Whether score, treatment and earlier estimates were hidden; only `yes` is held against"
            " the scores in the main figure.",
            choices=("yes", "no"),
        ),
        default=None,
    )

    @property
    def key(self) -> tuple[str, str, str | None]:
        """What a later row must share to replace this one."""
        return self.photo_sha256[:SHORT_SHA].lower(), self.bag, self.by


LEDGER_TABLES: tuple[type[Row], ...] = (
    PhotoRow, ScoreRow, SuspectRow, VerdictRow, EventRow, HarvestRow, BatchRow, HeatRunRow,
    TemperatureRow, EstimateRow,
)  # fmt: skip
SEGMENT_ENDERS = ("shaken", "turned", "opened")


def original_stem(taken_at: datetime, photo_sha256: str) -> str:
    """Return the name, without suffix, under which a photo is kept: when it was taken, and its bytes.

    >>> original_stem(datetime.fromisoformat("2026-03-09T10:05:00-05:00"), "5e1d07c2" + 56 * "0")
    '2026-03-09T100500-5e1d07c2'
    """
    return f"{taken_at:%Y-%m-%dT%H%M%S}-{photo_sha256[:8]}"
