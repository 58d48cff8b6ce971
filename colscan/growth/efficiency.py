"""Biological efficiency: what a bag gave, against the dry substrate it gave it from."""

from __future__ import annotations

from colscan.errors import AnalysisError


def biological_efficiency_pct(fresh_g: float, dry_g: float) -> float:
    """Return the fresh weight of all flushes in percent of the dry substrate; it may be over 100.

    The spawn's own dry matter is left out of the substrate, as the trade and most papers count it: 75 g
    of spawn at 45 % moisture to 1000 g dry would turn 45.0 % into 43.2 %.

    Parameters
    ----------
    fresh_g : float
        Fresh mushrooms of all flushes so far, g, 0 or more.
    dry_g : float
        Dry matter of the bag's substrate, g, over 0.

    Raises
    ------
    AnalysisError
        When a weight can't be.
    """
    if not (fresh_g >= 0 and dry_g > 0):  # also refuses nan
        msg = f"no efficiency of {fresh_g:g} g fresh from {dry_g:g} g dry"
        raise AnalysisError(msg, "Correct dry_g in bags.csv, or the harvest's weight.")
    return 100 * fresh_g / dry_g
