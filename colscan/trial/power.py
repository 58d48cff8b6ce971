"""What so many bags can show: a contamination limit, a difference in time, and the smallest p-value."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, product
from math import comb, sqrt

import numpy as np

CONFIDENCE = 0.95
ALPHA = 0.05
# Up to here every exchange of labels is tried on simulated trials; beyond, p-values lie so close together
# that the t-test's power is within a point of the permutation test's.
_MOST_LABELLINGS = 1000
# Their chance is then known to half a point (standard error at 50 %).
_SIMULATED = 10_000
_CHUNK = 500
# From this noncentrality on a difference is found the other way less than once in a million trials, and scipy
# gives nan for the chance.
_NEVER_OTHER_WAY = 5.0


def losses_allowed(bags: int, limit: float) -> int | None:
    """Return how many of the bags may be lost while the upper limit stays within the accepted risk.

    The limit is the one-sided 95 % limit of Clopper and Pearson (1934, doi:10.1093/biomet/26.4.404).

    Parameters
    ----------
    bags : int
        Bags followed to the end.
    limit : float
        Accepted risk, fraction in (0, 1).

    Returns
    -------
    int or None
        None when not even a trial without a loss shows it.
    """
    from scipy.stats import binom

    # The limit is at most `limit` exactly when so few losses have at most 5 % chance under that risk.
    passing = binom.cdf(np.arange(bags + 1), bags, limit) <= 1 - CONFIDENCE
    return int(passing.sum()) - 1 if passing[0] else None


def bags_needed(losses: int, limit: float) -> int:
    """Return the fewest bags that show a risk within the limit when so many of them are lost.

    Parameters
    ----------
    losses : int
        Bags lost.
    limit : float
        Accepted risk, fraction in (0, 1).
    """
    from scipy.stats import binom

    most = 64
    while binom.cdf(losses, most, limit) > 1 - CONFIDENCE:
        most *= 2
    bags = np.arange(losses + 1, most + 1)
    return int(bags[np.argmax(binom.cdf(losses, bags, limit) <= 1 - CONFIDENCE)])


def chance_of_few_losses(runs: Sequence[int], losses: int, *, risk: float, correlation: float) -> float:
    """Return the chance that at most so many bags are lost, when bags of a heat run share their luck.

    Losses of a run are beta-binomial (Williams 1975, doi:10.2307/2529820), those of different runs
    independent.

    Parameters
    ----------
    runs : sequence of int
        Bags in each heat run.
    losses : int
        Most bags that may be lost.
    risk : float
        True risk of a bag, fraction in (0, 1).
    correlation : float
        Between two bags of a run, in [0, 1); 0 for none.
    """
    from scipy.stats import betabinom, binom

    total = np.ones(1)
    for bags in runs:
        counts = np.arange(bags + 1)
        if correlation:
            spread = 1 / correlation - 1
            own = betabinom.pmf(counts, bags, risk * spread, (1 - risk) * spread)
        else:
            own = binom.pmf(counts, bags, risk)
        total = np.convolve(total, own)
    return float(total[: losses + 1].sum())


def smallest_p(bags: int, strains: int = 1) -> float:
    """Return the smallest two-sided p-value that exchanging labels between two levels can give.

    Parameters
    ----------
    bags : int
        Bags of each strain at each of the two levels.
    strains : int
        Strains looked at together; labels are exchanged within a strain.
    """
    return float(2 / comb(2 * bags, bags) ** strains)


def chance_of_difference(bags: int, difference_sd: float, *, strains: int = 1) -> float:
    """Return the chance that a permutation test finds a difference in time between two levels (p <= 0.05).

    Times are taken as normal about their strain's and level's mean with one spread. With few ways to
    exchange the labels each is tried, on simulated trials; with many the two-sided t-test's power stands
    for the permutation test's (noncentral t; Cohen 1988, ISBN 978-0-8058-0283-2, chapter 2).

    Parameters
    ----------
    bags : int
        Bags of each strain at each level.
    difference_sd : float
        True difference, in standard deviations between bags of one strain and level.
    strains : int
        Strains looked at together, each against itself.
    """
    if smallest_p(bags, strains) > ALPHA:
        return 0.0
    if comb(2 * bags, bags) ** strains <= _MOST_LABELLINGS:
        return _simulate(bags, difference_sd, strains)
    from scipy.stats import nct, t

    pairs = bags * strains
    freedom = 2 * pairs - strains - 1
    shift, edge = difference_sd * sqrt(pairs / 2), t.isf(ALPHA / 2, freedom)
    other_way = nct.cdf(-edge, freedom, shift) if shift < _NEVER_OTHER_WAY else 0.0
    return float(nct.sf(edge, freedom, shift) + other_way)


def _simulate(bags: int, difference_sd: float, strains: int) -> float:
    labels = _labellings(bags, strains)
    # The first labelling is the true one.
    shift = difference_sd * (labels[0] > 0)
    rng = np.random.default_rng(1)
    found = 0
    for _ in range(_SIMULATED // _CHUNK):
        times = rng.standard_normal((_CHUNK, len(shift))) + shift
        differences = np.abs(times @ labels.T)
        # Equal ones (the same split, named the other way) differ by rounding.
        p = (differences >= differences[:, :1] * (1 - 1e-9)).mean(axis=1)
        found += int((p <= ALPHA).sum())
    return found / _SIMULATED


def _labellings(bags: int, strains: int) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Return every way to give half of each strain's bags the other label: +1 and -1, a row each."""
    one = -np.ones((comb(2 * bags, bags), 2 * bags))
    for row, chosen in enumerate(combinations(range(2 * bags), bags)):
        one[row, list(chosen)] = 1
    return np.array([np.concatenate(rows) for rows in product(one, repeat=strains)])
