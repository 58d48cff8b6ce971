"""How far the scores agree with what people saw on the same bags in the same photos.

Estimates by eye and painted masks are both a person's; the scorer is held against them, never the other way.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value and its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One bag in one photo, seen by the scorer and by a person.

    Parameters
    ----------
    photo_sha256, bag : str
        Which.
    score, seen : float
        Coverage by the scorer and by the person, fractions.
    held : bool
        Whether the person's value lies within the score's own 90 % interval.
    by : str
        Who saw it; `mask` for a painted one.
    blind : bool
        Whether the score was hidden from the person.
    """

    photo_sha256: str
    bag: str
    score: float
    seen: float
    held: bool
    by: str
    blind: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Concordance:
    """Lin's concordance of pairs within a range of what was seen (fractions), and what it is made of.

    `value` is `correlation` (precision) times `accuracy` (bias correction); None where all pairs are alike.
    """

    low: float
    high: float
    pairs: int
    value: float | None
    correlation: float | None
    accuracy: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """How far scores and one kind of values agree; differences are score minus seen, fractions.

    Parameters
    ----------
    what : str
        What the scores are held against.
    pairs : tuple of Pair
        All of them.
    bags, photos : int
        How many bags and photos they are of.
    bias, lower, upper : Estimate or None
        Mean difference and limits of agreement (95 % of differences), each with its 95 % interval; None
        for a single pair.
    mean_abs : float
        Mean absolute difference.
    held_share : float
        Share of pairs in which the score's own 90 % interval holds the person's value.
    concordance : Concordance
        Over all pairs.
    bands : tuple of Concordance
        The same within bands of what was seen.
    sentences : tuple of str
        What that means on these bags.
    """

    what: str
    pairs: tuple[Pair, ...]
    bags: int
    photos: int
    bias: Estimate | None
    lower: Estimate | None
    upper: Estimate | None
    mean_abs: float
    held_share: float
    concordance: Concordance
    bands: tuple[Concordance, ...]
    sentences: tuple[str, ...]
