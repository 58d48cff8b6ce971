"""What is known of how a bag grew: its curve's figures with intervals, and its doubtful photos."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from colscan.growth.curve.shapes import Curve, Shape
from colscan.trial.model import Bag


class Measure(StrEnum):
    """What is followed over time."""

    COVERAGE = "colonized"
    DENSITY = "how white"


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A figure and the ends of its 90 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorParts:
    """How a score's claimed variance divides, as shares of it; they may sum to over 1.

    Parameters
    ----------
    own, photo, bag : float
        What is the score's alone, what all bags of a photo share, what all photos of a bag share.
    """

    own: float
    photo: float
    bag: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlierPhoto:
    """A photo that doesn't fit the bag's others: its name, the bag's age, what it says, what they say."""

    photo: str
    days: float
    value: float
    expected: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BagFit:
    """How one bag grew in one segment. All times are days since inoculation.

    Parameters
    ----------
    bag : Bag
        As planned.
    measure : Measure
        What was followed.
    segment : int
        0, and one more after each shaken, turned or opened.
    began_days : float
        Age when the segment began: 0 for the first.
    points : int
        Photos that the figures stand on, without outliers.
    model : Curve or None
        The model chosen, over days since inoculation; None where its rate is not identified.
    asymptote : Estimate or None
        Where the model ends, fraction.
    rate_per_day : Estimate or None
        The model's greatest rate, fraction a day.
    lag_days : Estimate or None
        Days to leap off: where the tangent of that rate meets 0.
    half_days, ninety_days : Estimate or None
        When it came to 50 and 90 % (of density: of its asymptote), by the trend.
    outliers : tuple of OutlierPhoto
        Photos left out, in order of time.
    why_not : str
        A sentence for days, rate and lag that are None; empty when none is.
    """

    bag: Bag
    measure: Measure
    segment: int
    began_days: float
    points: int
    model: Curve | None = None
    asymptote: Estimate | None = None
    rate_per_day: Estimate | None = None
    lag_days: Estimate | None = None
    half_days: Estimate | None = None
    ninety_days: Estimate | None = None
    outliers: tuple[OutlierPhoto, ...] = ()
    why_not: str = ""

    @property
    def shape(self) -> Shape | None:
        """The model's shape, None without one."""
        return None if self.model is None else self.model.shape
