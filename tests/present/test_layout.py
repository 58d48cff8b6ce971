"""Labels that don't cover each other."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from colscan.present.layout import fill_lanes, spread_labels

PLACES = st.lists(st.floats(0, 100), min_size=1, max_size=20)


@given(PLACES)
def test_labels_keep_their_distance_and_order(wanted: list[float]) -> None:
    """At least the gap apart, within the range, none overtaking another."""
    places = spread_labels(wanted, 5.0, low=0.0, high=100.0)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    sorted_places = [places[i] for i in order]
    assert all(b - a >= 5.0 - 1e-6 for a, b in itertools.pairwise(sorted_places))
    assert min(places) >= -1e-6
    assert max(places) <= 100 + 1e-6


def test_labels_apart_stay_where_they_belong() -> None:
    """Only those that would overlap move, to both sides of their middle."""
    assert spread_labels([10, 50, 52, 90], 6, low=0, high=100) == [10, 48, 54, 90]


def test_too_many_labels_are_spread_evenly() -> None:
    """When they don't fit, the gap shrinks for all."""
    assert spread_labels([99, 99.5, 100], 80, low=0, high=100) == pytest.approx([0, 50, 100])


@given(st.lists(st.tuples(st.floats(0, 50), st.floats(0.1, 20)), max_size=20))
def test_lanes_hold_spans_that_are_apart(spans: list[tuple[float, float]]) -> None:
    """No two spans of a lane overlap."""
    spans = sorted(spans)
    lanes = fill_lanes([start for start, _ in spans], [width for _, width in spans])
    for lane in set(lanes):
        own = [span for span, at in zip(spans, lanes, strict=True) if at == lane]
        assert all(a[0] + a[1] <= b[0] for a, b in itertools.pairwise(own))
