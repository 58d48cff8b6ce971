"""How far the scores agree with what people saw on the same bags in the same photos.

Estimates by eye and painted masks are both a person's; the scorer is held against them, never the other way.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from statistics import fmean

import numpy as np

from colscan.errors import AnalysisError
from colscan.growth.model import FloatSeries
from colscan.ledger import Ledger
from colscan.ledger.columns import ScoreRow
from colscan.trial.model import Trial

LIMITS_SD = 1.96
"""Limits of agreement hold 95 % of the differences where these are normal."""
CONFIDENCE = 0.95
"""Of the intervals of bias and limits, as Bland and Altman give them."""
BAND_EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
"""Bands of what was seen: over all of 0 to 100 % a concordance is high even where a scorer is poor within."""
MIDDLE = (0.1, 0.9)
"""Bare and white bags are easy; between these a scorer can go wrong."""
LEAST_OF_BAND = 3
"""Two pairs always lie on a line."""


class Kind(StrEnum):
    """What scores are held against; the first is the headline, for who knows a score tends to agree."""

    BLIND = "blind estimates"
    MASKS = "painted masks"
    OPEN = "other estimates"


@dataclass(frozen=True, slots=True, kw_only=True)
class Painted:
    """The coverage (fraction) that a person painted onto one bag in one photo."""

    photo_sha256: str
    bag: str
    coverage: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value and its 95 % interval, fractions."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One bag in one photo, seen by the scorer and by people.

    Parameters
    ----------
    photo_sha256, bag : str
        Which.
    score, low, high : float
        Coverage by the scorer, and its 90 % interval, fractions.
    seen : float
        The same by people; of several the mean.
    """

    photo_sha256: str
    bag: str
    score: float
    low: float
    high: float
    seen: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Concordance:
    """Lin's concordance and its parts: `value` is `correlation` (precision) times `accuracy`."""

    value: float
    correlation: float
    accuracy: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Pairs whose seen coverage lies from `low` up to under `high`; differences are score minus seen.

    `concordance` is None with fewer than three pairs, or where all scores or all values are alike.
    """

    low: float
    high: float
    pairs: int
    bias: float
    mean_abs: float
    concordance: Concordance | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Mean difference of some pairs and the limits of agreement, each with its 95 % interval."""

    pairs: int
    bias: Estimate
    lower: Estimate
    upper: Estimate

    @property
    def farthest(self) -> float:
        """How far the farther limit is from no difference, a fraction."""
        return max(abs(self.lower.value), abs(self.upper.value))


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """How far scores and one kind of values agree; differences are score minus seen, fractions.

    Parameters
    ----------
    kind : Kind
        What the scores are held against.
    pairs : tuple of Pair
        All of them, by photo and bag.
    bags : int
        How many bags they are of.
    limits : Limits or None
        Bias and limits of agreement over all pairs; None for a single pair.
    middle : Limits or None
        The same of pairs between 10 and 90 % seen; None with fewer than three.
    mean_abs : float
        Mean absolute difference.
    held : float
        Share of pairs in which the score's own 90 % interval holds what was seen.
    whole : Band
        All pairs, from the least to the most that was seen.
    bands : tuple of Band
        Those that have a pair.
    """

    kind: Kind
    pairs: tuple[Pair, ...]
    bags: int
    limits: Limits | None
    middle: Limits | None
    mean_abs: float
    held: float
    whole: Band
    bands: tuple[Band, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """The trial's own check of the scorer.

    Parameters
    ----------
    agreements : tuple of Agreement
        Blind estimates first; kinds without a pair are left out.
    unmatched : int
        Estimates and masks of a bag that isn't the trial's, or has no score in that photo.
    unmeasured : int
        Those where the scorer could not measure the bag.
    """

    agreements: tuple[Agreement, ...]
    unmatched: int
    unmeasured: int


def agreement(trial: Trial, ledger: Ledger, painted: Sequence[Painted] = ()) -> Check:
    """Return how far the trial's scores agree with blind estimates, painted masks and other estimates.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        With its scores and estimates; an estimate may name its photo by the first letters of its SHA-256.
    painted : sequence of Painted
        What painted masks say.

    Raises
    ------
    AnalysisError
        When there is no pair at all.
    """
    seen: dict[Kind, list[Painted]] = defaultdict(list)
    for row in ledger.estimates:
        kind = Kind.BLIND if row.blind == "yes" else Kind.OPEN
        value = Painted(photo_sha256=row.photo_sha256, bag=row.bag, coverage=row.coverage_pct / 100.0)
        seen[kind].append(value)
    seen[Kind.MASKS].extend(painted)
    planned = {bag.bag for bag in trial.bags}
    scores = [row for row in ledger.scores if row.bag in planned]
    unmatched = unmeasured = 0
    agreements = []
    for kind in Kind:
        matched: dict[tuple[str, str], tuple[ScoreRow, list[float]]] = {}
        for one in seen[kind]:
            score = _score_of(one, scores)
            unmatched += score is None
            unmeasured += score is not None and score.coverage_pct is None
            if score is not None and score.coverage_pct is not None:
                key = (score.photo_sha256, score.bag)
                matched.setdefault(key, (score, []))[1].append(one.coverage)
        if matched:
            agreements.append(_agree(kind, [_pair(score, values) for score, values in matched.values()]))
    if not agreements:
        msg = f"The trial {trial.name} has no estimate or mask of a bag that was scored."
        hint = "Write what you see into estimates.csv, without looking at the scores: see docs/formats.md."
        raise AnalysisError(msg, hint)
    return Check(agreements=tuple(agreements), unmatched=unmatched, unmeasured=unmeasured)


def _score_of(one: Painted, scores: Sequence[ScoreRow]) -> ScoreRow | None:
    begin = one.photo_sha256.lower()
    found = [row for row in scores if row.bag == one.bag and row.photo_sha256.startswith(begin)]
    return found[0] if len(found) == 1 else None


def _pair(score: ScoreRow, values: Sequence[float]) -> Pair:
    pct = score.coverage_pct or 0.0
    low, high = (pct if end is None else end for end in (score.coverage_low_pct, score.coverage_high_pct))
    return Pair(
        photo_sha256=score.photo_sha256,
        bag=score.bag,
        score=pct / 100.0,
        low=low / 100.0,
        high=high / 100.0,
        seen=fmean(values),
    )


def _agree(kind: Kind, pairs: list[Pair]) -> Agreement:
    scores = np.array([pair.score for pair in pairs])
    seen = np.array([pair.seen for pair in pairs])
    middle = (seen > MIDDLE[0]) & (seen < MIDDLE[1])
    bands = []
    for low, high in pairwise(BAND_EDGES):
        chosen = (seen >= low) & ((seen < high) | (high == BAND_EDGES[-1]))
        if chosen.any():
            bands.append(_band(scores[chosen], seen[chosen], low=low, high=high))
    return Agreement(
        kind=kind,
        pairs=tuple(pairs),
        bags=len({pair.bag for pair in pairs}),
        limits=limits_of_agreement(scores, seen) if len(pairs) > 1 else None,
        middle=limits_of_agreement(scores[middle], seen[middle]) if middle.sum() >= LEAST_OF_BAND else None,
        mean_abs=float(np.abs(scores - seen).mean()),
        held=fmean(pair.low <= pair.seen <= pair.high for pair in pairs),
        whole=_band(scores, seen, low=float(seen.min()), high=float(seen.max())),
        bands=tuple(bands),
    )


def _band(scores: FloatSeries, seen: FloatSeries, *, low: float, high: float) -> Band:
    return Band(
        low=low,
        high=high,
        pairs=len(seen),
        bias=float((scores - seen).mean()),
        mean_abs=float(np.abs(scores - seen).mean()),
        concordance=concordance(scores, seen) if len(seen) >= LEAST_OF_BAND else None,
    )


def limits_of_agreement(first: FloatSeries, second: FloatSeries) -> Limits:
    """Return the mean difference (first minus second) and the limits of agreement, with 95 % intervals.

    Bland and Altman (1986), doi:10.1016/S0140-6736(86)90837-8: the limits are 1.96 standard deviations to
    either side, the standard error of a limit is sqrt(3 / n) of one. Pairs are taken as independent.

    Parameters
    ----------
    first, second : ndarray, shape (N,)
        N of 2 or more, in one unit.
    """
    from scipy.stats import t

    differences = np.asarray(first) - np.asarray(second)
    count = len(differences)
    mean, spread = float(differences.mean()), float(differences.std(ddof=1))
    quantile = float(t.ppf(0.5 + CONFIDENCE / 2, count - 1))
    ends = (
        (mean, spread * math.sqrt(1 / count)),
        (mean - LIMITS_SD * spread, spread * math.sqrt(3 / count)),
        (mean + LIMITS_SD * spread, spread * math.sqrt(3 / count)),
    )
    bias, lower, upper = (
        Estimate(value=value, low=value - quantile * error, high=value + quantile * error)
        for value, error in ends
    )
    return Limits(pairs=count, bias=bias, lower=lower, upper=upper)


def concordance(first: FloatSeries, second: FloatSeries) -> Concordance | None:
    """Return Lin's concordance of two sets of values; None where one of them doesn't vary.

    Lin (1989), doi:10.2307/2532051: moments are over n, not n - 1.

    >>> round(concordance(np.array([0.0, 10, 20]), np.array([10.0, 20, 30])).accuracy, 4)
    0.5714
    """
    first, second = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    varies = float(first.var()), float(second.var())
    if min(varies) <= np.finfo(np.float64).eps:
        return None
    shared = float(((first - first.mean()) * (second - second.mean())).mean())
    correlation = shared / math.sqrt(varies[0] * varies[1])
    apart = float(first.mean() - second.mean())
    accuracy = 2 * math.sqrt(varies[0] * varies[1]) / (varies[0] + varies[1] + apart**2)
    return Concordance(value=correlation * accuracy, correlation=correlation, accuracy=accuracy)
