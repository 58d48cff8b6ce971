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


def _rate(meaning: str) -> Column:
    return Column(kind="number", meaning=meaning, unit="%/day")


def _ratio(meaning: str) -> Column:
    return Column(kind="number", meaning=meaning, decimals=4)


def _grams(meaning: str) -> Column:
    return Column(kind="number", meaning=meaning, unit="g")


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
            "Lost to contamination: days since spawning at the last photo without it; 0 where no photo shows"
            " that it wasn't there; empty when it isn't lost."
        ),
        default=None,
    )
    lost_by_days: float | None = column(
        _days(
            "Lost to contamination: at the first photo with it, not at the verdict; at the verdict where no"
            " photo shows it, or none any more."
        ),
        default=None,
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


@dataclass(frozen=True, slots=True, kw_only=True)
class FitRow(Row):
    """How one bag grew in one segment; the ends of 90 % intervals beside each figure."""

    FILE: ClassVar[str] = "fits.csv"
    bag: str = column(_BAG)
    measure: str = column(_text("What was followed: `colonized` or `how white`."))
    segment: int = column(_count("0, and one more after each shaken, turned or opened."))
    began_days: float = column(_days("Age of the bag when the segment began."))
    points: int = column(_count("Photos that the figures stand on."))
    model: str | None = column(_text("Growth model that was chosen."), default=None)
    lag_days: float | None = column(_days("Days to leap off: where the tangent meets 0."), default=None)
    lag_low_days: float | None = column(_days("Low end."), default=None)
    lag_high_days: float | None = column(_days("High end."), default=None)
    rate_pct_per_day: float | None = column(_rate("Greatest rate."), default=None)
    rate_low_pct_per_day: float | None = column(_rate("Low end."), default=None)
    rate_high_pct_per_day: float | None = column(_rate("High end."), default=None)
    half_days: float | None = column(_days("Age at 50 %."), default=None)
    half_low_days: float | None = column(_days("Low end."), default=None)
    half_high_days: float | None = column(_days("High end."), default=None)
    ninety_days: float | None = column(_days("Age at 90 %."), default=None)
    ninety_low_days: float | None = column(_days("Low end."), default=None)
    ninety_high_days: float | None = column(_days("High end."), default=None)
    why_not: str | None = column(_text("Why a figure is missing."), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ContrastRow(Row):
    """One treatment against the control, or the trend over a supplement's levels; 90 % intervals."""

    FILE: ClassVar[str] = "comparisons.csv"
    scope: str = column(_text("The strain's code, or `all strains`."))
    kind: str = column(
        Column(kind="choice", meaning="Against the control, or per 1 %.", choices=("level", "trend"))
    )
    treatment: str = column(_text("The treatment; the supplement of a trend."))
    control: str = column(_text("What it is held against."))
    milestone: str = column(_text("How far bags must have come."))
    bags: int = column(_count("Bags that carry it."))
    heat_runs: int = column(_count("Their heat runs; 0 where none is named."))
    days_sooner: float | None = column(_days("Days sooner; negative for later."), default=None)
    days_sooner_low: float | None = column(_days("Low end; empty for no limit."), default=None)
    days_sooner_high: float | None = column(_days("High end; empty for no limit."), default=None)
    rate_ratio: float | None = column(_ratio("Greatest rate, as a multiple."), default=None)
    rate_ratio_low: float | None = column(_ratio("Low end; empty for no limit."), default=None)
    rate_ratio_high: float | None = column(_ratio("High end; empty for no limit."), default=None)
    p: float | None = column(_ratio("Two-sided p of the permutation test."), default=None)
    p_holm: float | None = column(_ratio("The same after Holm."), default=None)
    exchanged_within: str | None = column(_text("Bags whose labels are exchanged share this."), default=None)
    seed: int | None = column(_count("Of drawn exchanges; empty when all were tried."), default=None)
    why_no_test: str | None = column(_text("Why there is no p."), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class LossRow(Row):
    """What became of the bags of a level, and what that shows of the risk to lose one."""

    FILE: ClassVar[str] = "losses.csv"
    strain: str = column(_text("The strain's code, or `all strains`."))
    supplement: str = column(_text("The supplement of the series; the control belongs to each."))
    supplement_pct: float = column(_LEVEL)
    spawned: int = column(_count("All bags."))
    followed: int = column(_count("Of them lost, or followed to the end without a loss."))
    lost: int = column(_count("Of them lost to contamination."))
    running: int = column(_count("Neither lost nor at the end yet."))
    gone: int = column(_count("Left the trial for another reason."))
    heat_runs: int = column(_count("Heat runs of the followed bags."))
    share_pct: float | None = column(_pct("Share lost of the followed bags."), default=None)
    low_pct: float | None = column(_pct("Low end of its 90 % interval."), default=None)
    limit_pct: float | None = column(
        _pct("Upper one-sided 95 % limit, with what bags of a heat run share."), default=None
    )
    limit_at_worst_pct: float | None = column(_pct("The same if all suspects were losses."), default=None)
    acceptable: str = column(
        Column(kind="choice", meaning="Whether the limit is within the accepted risk.", choices=("yes", "no"))
    )
    more: int | None = column(
        _count("Further bags without a loss, in heat runs as large as now, that would make it so."),
        default=None,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class YieldRow(Row):
    """What one bag gave."""

    FILE: ClassVar[str] = "yields.csv"
    bag: str = column(_BAG)
    compared: str = column(_text("The flush or age at which bags are compared."))
    standing: str = column(
        _text("How it stands there: harvested, spent, lost and nothing count; not yet and left don't.")
    )
    flushes: int = column(_count("Flushes so far."))
    fresh_g: float = column(_grams("All it gave so far."))
    compared_g: float | None = column(_grams("What it gave up to the flush or age compared."), default=None)
    dry_g: float | None = column(_grams("Dry matter of its substrate, without spawn."), default=None)
    pins_days: float | None = column(_days("Age at the first pins."), default=None)
    first_days: float | None = column(_days("Age at the first harvest."), default=None)
