"""Whether each bag that is told by its place is the one that the map has there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from colscan.flags import Flag
from colscan.locate.model import BagView
from colscan.score import share_reference
from colscan.score.identity import Identity, Verdict, identify
from colscan.score.model import Baseline, Evidence
from colscan.trial.model import LAST_BAG_TAG


def identities(
    views: Sequence[BagView], baselines: Mapping[int, Baseline], *, coverage: Mapping[int, float]
) -> dict[int, Identity]:
    """By key, whose bag stands in the place of each bag without a card.

    By the bags' first photos alone, so that it doesn't depend on the order of scanning.

    Parameters
    ----------
    views : sequence of BagView
        One photo's.
    baselines : mapping of int to Baseline
        Of the trial's bags, by key.
    coverage : mapping of int to float
        By key, where it was measured (fraction).
    """
    placed = [view for view in share_reference(views) if view.key > LAST_BAG_TAG]
    known = {key: made for key, made in baselines.items() if key > LAST_BAG_TAG}
    told = identify(placed, known, coverage=coverage)
    return {one.key: one for one in told}


def doubted(evidence: Evidence, told: Identity | None) -> Evidence:
    """The evidence, or none of it (flagged `place-doubt`) where another bag stands in its bag's place."""
    if told is None or told.verdict not in (Verdict.OTHER, Verdict.STRANGE):
        return evidence
    return replace(
        evidence,
        coverage=None,
        low=None,
        high=None,
        density=None,
        opacity=np.full_like(evidence.opacity, np.nan),
        patches=(),
        flags=(*evidence.flags, Flag.PLACE_DOUBT),
    )
