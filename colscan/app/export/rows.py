"""The columns of an export that the ledger doesn't have: results, one kind of row a file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from colscan.flags import Flag
from colscan.tables import Column, Row, column


def _text(meaning: str) -> Column:
    return Column(kind="text", meaning=meaning)


def _days(meaning: str) -> Column:
    return Column(kind="number", meaning=meaning, unit="days", decimals=3)


def _pct(meaning: str) -> Column:
    return Column(kind="number", meaning=meaning, unit="%", low=0, high=100)


def _count(meaning: str) -> Column:
    return Column(kind="integer", meaning=meaning, low=0)


_BAG = _text("The bag's code, as in bags.csv.")
_STRAIN = _text("The strain's code.")
_SUPPLEMENT = _text("The supplement; may be `none`.")
_LEVEL = Column(kind="number", meaning="Its level, on the base that bags.csv's plan states.", unit="%")
_AFTER = "Days since spawning at the last photo in which it had not come"
_BY = "Days since spawning at the first photo in which it had come; empty while it hasn't"


@dataclass(frozen=True, slots=True, kw_only=True)
class LongScoreRow(Row):
    """One score with all that a model of it needs beside it."""

    FILE: ClassVar[str] = "scores.csv"
    bag: str = column(_BAG)
    strain: str = column(_STRAIN)
    supplement: str = column(_SUPPLEMENT)
    supplement_pct: float = column(_LEVEL)
    role: str = column(Column(kind="choice", meaning="As in bags.csv.", choices=("trial", "blank")))
    heat_run: str | None = column(_text("The heat run, as in bags.csv."), default=None)
    mix_batch: str | None = column(_text("The mix, as in bags.csv."), default=None)
    spawn_lot: str | None = column(_text("The lot of its spawn, as in bags.csv."), default=None)
    photo_sha256: str = column(_text("SHA-256 of the photo's bytes: scores of one photo share it."))
    taken_at: datetime = column(Column(kind="time", meaning="When the photo was taken."))
    day: float = column(_days("Age of the bag: hours since its spawning / 24."))
    segment: int = column(_count("0, and one more after each shaken, turned or opened."))
    coverage_pct: float | None = column(
        _pct("Share of the seen face that carries mycelium; empty where it can't be measured."), default=None
    )
    coverage_low_pct: float | None = column(_pct("Low end of its 90 % interval."), default=None)
    coverage_high_pct: float | None = column(_pct("High end of its 90 % interval."), default=None)
    density_pct: float | None = column(_pct("Mean opacity of the mycelium over the seen face."), default=None)
    unseen_pct: float | None = column(_pct("Share of the face that is hidden."), default=None)
    suspects: int = column(_count("How many suspect patches."))
    suspect_area_pct: float | None = column(_pct("Their share of the seen face."), default=None)
    flags: tuple[Flag, ...] = column(
        Column(kind="words", meaning="What makes the row doubtful.", choices=tuple(Flag)), default=()
    )
    method: str = column(_text("Name and version of the method that measured it."))


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeRow(Row):
    """What became of one bag; times lie between two photos."""

    FILE: ClassVar[str] = "outcomes.csv"
    bag: str = column(_BAG)
    strain: str = column(_STRAIN)
    supplement: str = column(_SUPPLEMENT)
    supplement_pct: float = column(_LEVEL)
    half_after_days: float = column(_days(f"Half colonized: {_AFTER[0].lower()}{_AFTER[1:]}."))
    half_by_days: float | None = column(_days(f"Half colonized: {_BY[0].lower()}{_BY[1:]}."), default=None)
    ninety_after_days: float = column(_days(f"90 % colonized: {_AFTER[0].lower()}{_AFTER[1:]}."))
    ninety_by_days: float | None = column(_days(f"90 % colonized: {_BY[0].lower()}{_BY[1:]}."), default=None)
    full_after_days: float = column(_days(f"Full: {_AFTER[0].lower()}{_AFTER[1:]}."))
    full_by_days: float | None = column(_days(f"Full: {_BY[0].lower()}{_BY[1:]}."), default=None)
    lost_after_days: float | None = column(
        _days(
            "Lost to contamination: days since spawning at the last photo without it; empty when it isn't."
        ),
        default=None,
    )
    lost_by_days: float | None = column(
        _days("Lost to contamination: at the first photo with it, never the verdict."), default=None
    )
    followed_days: float = column(_days("Age at its last measured photo before it was lost or left."))
    left: str | None = column(
        _text("`discarded`, `retired` or `missing` when it left for another reason."), default=None
    )
    harvested_days: float | None = column(_days("Age at its first harvest."), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class CodebookRow(Row):
    """One column of one file."""

    FILE: ClassVar[str] = "codebook.csv"
    file: str = column(_text("The file of this folder."))
    name: str = column(_text("The column."))
    kind: str = column(
        _text("text, integer, number, time (ISO 8601), choice (one word), words, points (x y x y ...).")
    )
    unit: str = column(_text("Its unit; empty for none."), default="")
    allowed: str = column(_text("The words that may stand there; empty for any."), default="")
    meaning: str = column(_text("What it says. An empty cell is not known."))
