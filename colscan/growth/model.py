"""What growth knows of a bag: its rows, its series of scores, its onsets, and what to do with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from colscan.growth.patches import Patches, patches_of
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
class Onset:
    """When a suspect patch came: between the last photo without it and the first with it.

    Parameters
    ----------
    patch, kind : str
        Its name within the bag, and how it looks.
    after_days : float or None
        Age of the bag at its last measured photo without the patch; None when there is none.
    by_days : float
        Age at the first photo with it.
    call : str or None
        The call that stands on it (contaminated, unsure), None for not reviewed.
    """

    patch: str
    kind: str
    after_days: float | None
    by_days: float
    call: str | None


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
    bag : Bag
        The bag as planned.
    series : GrowthSeries
        Its scores.
    onsets : tuple of Onset
        Suspect patches that are neither expected nor called harmless.
    happenings : tuple of Happening
        Its events.
    contaminated : bool
        Whether the standing call on the whole bag is `contaminated`.
    """

    bag: Bag
    series: GrowthSeries
    onsets: tuple[Onset, ...]
    happenings: tuple[Happening, ...]
    contaminated: bool


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
