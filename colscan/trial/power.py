"""What so many bags can show: a contamination limit, a difference in time, and the smallest p-value."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, product
from math import comb, sqrt

import numpy as np

CONFIDENCE = 0.95
ALPHA = 0.05
"""A p up to here is called more than chance, by every test."""
CORRELATION = 0.1
"""Between bags of a heat run, at the least: they share steam, water, air and hands.

No published figure is known. With it, or a trial's own estimate where that is larger, the rule of the highest
acceptable level names an unacceptable one in at most 5 % of simulated trials with 30 bags a level in 4 heat
runs against 20 %, up to a true correlation of 0.2 (tests/bench/simulate_risk.py).
"""
MOST_BAGS = 2000
"""More than that at one level nobody tries."""
# Up to here every exchange of labels is tried on simulated trials; beyond, p-values lie so close together
# that the t-test's power is within a point of the permutation test's.
_MOST_LABELLINGS = 1000
# Their chance is then known to half a point (standard error at 50 %).
_SIMULATED = 10_000
_CHUNK = 500
# From this noncentrality on a difference is found the other way less than once in a million trials, and scipy
# gives nan for the chance.
_NEVER_OTHER_WAY = 5.0


def effective_bags(runs: Sequence[int], correlation: float) -> float:
    """Return how many independent bags those of some heat runs are worth.

    Bags of a run share their luck, which multiplies a variance by 1 + (m - 1) r with m the size of the run
    of a bag, on average (Kish 1965, ISBN 978-0-471-10949-5, section 5.4).

    Parameters
    ----------
    runs : sequence of int
        Bags in each heat run.
    correlation : float
        Between two bags of a run, in [0, 1].

    >>> round(effective_bags([8, 7, 7, 7], 0.1), 1)
    17.8
    """
    bags = sum(runs)
    if not bags:
        return 0.0
    own = sum(size * size for size in runs) / bags
    return bags / (1 + (own - 1) * correlation)


def upper_limit(lost: int, bags: int, effective: float | None = None) -> float:
    """Return the upper one-sided 95 % limit of the share lost.

    That of Clopper and Pearson (1934, doi:10.1093/biomet/26.4.404), as a quantile of the beta distribution,
    at the number of independent bags that the bags are worth and the losses in proportion (Korn and Graubard
    1998, Survey Methodology 24:193-201).

    Parameters
    ----------
    lost, bags : int
        Of the bags followed to the end.
    effective : float or None
        Independent bags that they are worth; all of them when it isn't given.
    """
    from scipy.stats import beta

    worth = bags if effective is None else effective
    if lost >= bags:
        return 1.0
    counted = lost * worth / bags
    return float(beta.ppf(CONFIDENCE, counted + 1, worth - counted))


def lower_limit(lost: int, bags: int, effective: float | None = None) -> float:
    """Return the lower one-sided 95 % limit of the share lost, the counterpart of `upper_limit`."""
    return 1.0 - upper_limit(bags - lost, bags, effective) if bags else 0.0


def spread_evenly(bags: int, runs: int) -> list[int]:
    """Return the bags of each heat run when they are spread over so many as evenly as can be."""
    used = min(runs, bags)
    return [bags // used + (run < bags % used) for run in range(used)]


def losses_allowed(runs: Sequence[int], limit: float) -> int | None:
    """Return how many of the bags may be lost while the upper limit stays within the accepted risk.

    Parameters
    ----------
    runs : sequence of int
        Bags followed to the end in each heat run.
    limit : float
        Accepted risk, fraction in (0, 1).

    Returns
    -------
    int or None
        None when not even a trial without a loss shows it.
    """
    bags, worth = sum(runs), effective_bags(runs, CORRELATION)
    allowed = None
    for lost in range(bags):
        if upper_limit(lost, bags, worth) > limit:
            break
        allowed = lost
    return allowed


def bags_needed(losses: int, limit: float, *, runs: int) -> int | None:
    """Return the fewest bags that show a risk within the limit when so many of them are lost.

    Parameters
    ----------
    losses : int
        Bags lost.
    limit : float
        Accepted risk, fraction in (0, 1).
    runs : int
        Heat runs that they are spread over.

    Returns
    -------
    int or None
        None when no number of bags shows it: what bags of a run share needs more runs.
    """
    for bags in range(losses + 1, MOST_BAGS + 1):
        worth = effective_bags(spread_evenly(bags, runs), CORRELATION)
        # Without a loss the limit is lowest: this is quick and passes over most of them.
        if (1 - limit) ** worth <= 1 - CONFIDENCE and upper_limit(losses, bags, worth) <= limit:
            return bags
    return None


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
