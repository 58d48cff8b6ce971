"""Whatever the ledger holds, curves are told or refused in words, never with nonsense."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hornbeam import event, make_bag, make_trial, score
from hypothesis import given, settings
from hypothesis import strategies as st

from colscan.growth.curve import BagFit, Measure, describe_fit, fit_bags
from colscan.ledger import Ledger

SCORES = st.lists(
    st.tuples(
        st.floats(min_value=0, max_value=40).map(lambda day: round(day, 2)),
        st.none() | st.floats(min_value=0, max_value=100).map(lambda pct: round(pct, 2)),
        st.sampled_from([0.0, 0.5, 8.0, 60.0]),
    ),
    max_size=14,
    unique_by=lambda row: row[0],
).map(sorted)


@settings(max_examples=60)
@given(bags=st.lists(SCORES, min_size=1, max_size=3), shaken=st.none() | st.floats(min_value=1, max_value=30))
def test_any_scores(bags: list[list[tuple[float, float | None, float]]], shaken: float | None) -> None:
    """Shares stay within 0 to 1, values within their intervals, and what is missing has its reason."""
    codes = [f"B{i}" for i in range(len(bags))]
    rows = [
        score(code, day, pct, spread=spread)
        for code, bag in zip(codes, bags, strict=True)
        for day, pct, spread in bag
    ]
    rows.sort(key=lambda row: row.taken_at)
    events = () if shaken is None else (event("shaken", shaken, "B0"),)
    ledger = Ledger(scores=tuple(rows), events=events)
    for measure in Measure:
        for fit in fit_bags(make_trial(*map(make_bag, codes)), ledger, measure=measure):
            _check(fit)


def _check(fit: BagFit) -> None:
    days = (fit.half_days, fit.ninety_days, fit.lag_days)
    for got in (*days, fit.rate_per_day, fit.asymptote):
        if got is not None:
            assert all(math.isfinite(end) for end in (got.low, got.value, got.high))
            assert got.low <= got.value <= got.high
    assert bool(fit.why_not) == any(got is None for got in (*days, fit.rate_per_day))
    assert describe_fit(fit)
    if fit.model is not None:
        shares = fit.model.at(np.linspace(-5, 60, 66))
        assert ((shares >= 0) & (shares <= 1)).all()


@pytest.mark.parametrize("pct", [0.0, 100.0, 50.0])
def test_scores_that_are_all_alike(pct: float) -> None:
    """Bare, white or stuck at half for ten days: no rate, and no crash."""
    (fit,) = fit_bags(
        make_trial(make_bag("B1")), Ledger(scores=tuple(score("B1", day, pct) for day in range(10)))
    )
    assert (fit.half_days, fit.rate_per_day) == (None, None)
    assert fit.why_not
