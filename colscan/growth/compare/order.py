"""Which of two bags is later, as far as the data tell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from colscan.growth.compare.npmle import npmle
from colscan.growth.model import FloatSeries


def later_of_spans(after: FloatSeries, by: FloatSeries, strains: Sequence[str]) -> FloatSeries:
    """Return how surely each bag is later than each other of its strain: chance of later less of sooner.

    Within its interval a bag's time is distributed as the estimate of all bags of the strain says, bags
    that never came included. A bag's mean over all others then is S(after) + S(by) - 1: the score of Fay
    (1996, Biometrics 52:811-822) for interval-censored times, of Peto and Peto (1972, doi:10.2307/2344317)
    for right-censored ones, of Wilcoxon for complete ones.

    Parameters
    ----------
    after, by : ndarray, shape (N,)
        Each time lies in (after, by], days; `by` infinite for what had not come.
    strains : sequence of str, length N
        Bags of different strains aren't held against each other.

    Returns
    -------
    ndarray, shape (N, N)
        Entry (i, j): bag j against bag i, in [-1, 1].
    """
    later = np.zeros((len(after), len(after)))
    for strain in dict.fromkeys(strains):
        own = np.flatnonzero([of == strain for of in strains])
        held = npmle(after[own], by[own]).held
        beyond = held[:, ::-1].cumsum(axis=1)[:, ::-1]
        # Of bag i: the share beyond each span less the share before it.
        sign = beyond[:, 1:] @ held[:, :-1].T
        later[np.ix_(own, own)] = sign.T - sign
    return later
