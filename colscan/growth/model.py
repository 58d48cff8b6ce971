"""What growth knows of a bag: its rows, its series of scores, its onsets, and what to do with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from colscan.growth.onsets import Onset, find_onsets
from colscan.growth.patches import Patches, patches_of, standing_calls, standing_discards
from colscan.ledger import Seen, seen_last
from colscan.ledger.columns import EventRow, ScoreRow, SuspectRow, VerdictRow
from colscan.trial.model import Bag

FloatSeries = NDArray[np.float64]
"""(N,), one value a photo, NaN where the bag could not be measured."""


@dataclass(frozen=True, kw_only=True)
class BagRecord:
    """All that stands about one bag, each part in order of time.

    Parameters
    ----------
    bag : Bag
        The bag as planned.
    scores, suspects : sequence of rows
        Its rows; of a large ledger they are read when they are asked for.
    verdicts : tuple of VerdictRow
        Every call, superseded ones too.
    events : tuple of EventRow
        What happened to the bag, to its shelf or to the room.
    shelf : str or None
        Where it stands: its planned shelf, or the one it was moved to.
    """

    bag: Bag
    scores: Sequence[ScoreRow] = ()
    suspects: Sequence[SuspectRow] = ()
    verdicts: tuple[VerdictRow, ...] = ()
    events: tuple[EventRow, ...] = ()
    shelf: str | None = None

    @cached_property
    def latest(self) -> Seen | None:
        """What the latest score says; None without a photo."""
        return seen_last(self.scores)

    @cached_property
    def patches(self) -> Patches:
        """Its suspect rows by column, with the calls that stand on them."""
        return patches_of(self.suspects, self.verdicts)

    @cached_property
    def onsets(self) -> tuple[Onset, ...]:
        """When each patch came that is neither expected nor called harmless."""
        return find_onsets(self.patches, self.scores, self.bag.inoculated_at)

    @cached_property
    def standing_calls(self) -> tuple[VerdictRow, ...]:
        """The latest call on each patch and on the whole bag, in order of time, without withdrawn ones."""
        return standing_calls(self.verdicts)

    @cached_property
    def discards(self) -> tuple[VerdictRow, ...]:
        """The calls by which it was discarded that stand, in order of time."""
        return standing_discards(self.verdicts)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GrowthSeries:
    """One bag's scores over time.

    Parameters
    ----------
    bag : str
        Its code.
    days : ndarray, shape (N,)
        Age at each photo: hours since inoculation / 24, rising.
    coverage, low, high, density : ndarray, shape (N,)
        Fractions 0-1; NaN where the bag could not be measured.
    segment : ndarray of int, shape (N,)
        Rising; another one after each shaken, turned or opened, whether the scores know of it or not.
    """

    bag: str
    days: FloatSeries
    coverage: FloatSeries
    low: FloatSeries
    high: FloatSeries
    density: FloatSeries
    segment: NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """One event of a bag: what, the bag's age in days, and the shelf when it happened to a whole one."""

    what: str
    days: float
    shelf: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BagCurve:
    """One bag's line of a chart: its series and what is marked on it.

    Parameters
    ----------
    record : BagRecord
        What stands about the bag. Its marks are found when they are asked for, as a chart of many bags
        shows none.
    series : GrowthSeries
        Its scores.
    happenings : tuple of Happening
        Its events.
    """

    record: BagRecord
    series: GrowthSeries
    happenings: tuple[Happening, ...] = ()

    @property
    def bag(self) -> Bag:
        """The bag as planned."""
        return self.record.bag

    @property
    def onsets(self) -> tuple[Onset, ...]:
        """When each patch came that is neither expected nor called harmless."""
        return self.record.onsets

    @property
    def contaminated(self) -> bool:
        """Whether the standing call on the whole bag is `contaminated`."""
        return any(call.patch is None and call.call == "contaminated" for call in self.record.standing_calls)


class Advice(StrEnum):
    """What to do with a bag, or the state in which nothing is to be done."""

    WAIT = "wait"
    LOOK = "look"
    TURN = "turn it and look"
    READY = "ready"
    STALLED = "stalled"
    CONTAMINATED = "contaminated"
    DISCARDED = "discarded"
    RETIRED = "retired"
    MISSING = "missing"
    OPENED = "opened"
    FRUITING = "fruiting"
    BLANK = "blank"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """An advice and its reason, in a short sentence with numbers."""

    advice: Advice
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BagStatus:
    """One bag today.

    Parameters
    ----------
    bag, strain, treatment : str
        As planned.
    taken_at : datetime or None
        When its latest photo was taken; None without a photo.
    day : float or None
        Its age then, hours since inoculation / 24.
    coverage, low, high, density : float or None
        Fractions of the latest photo; None when it can't be measured.
    points_per_day : float or None
        Recent speed, percentage points a day; None with one score.
    suspects : int
        Patches of the latest photo that are neither expected nor called harmless.
    advice : Advice
        What to do.
    why : str
        The reason.
    """

    bag: str
    strain: str
    treatment: str
    taken_at: datetime | None
    day: float | None
    coverage: float | None
    low: float | None
    high: float | None
    density: float | None
    points_per_day: float | None
    suspects: int
    advice: Advice
    why: str
