"""Which of two bags is later, as far as intervals tell."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from colscan.growth.compare.npmle import npmle
from colscan.growth.compare.order import later_of_spans

INF = np.inf
spans = st.lists(st.tuples(st.integers(0, 9), st.integers(1, 5), st.booleans()), min_size=2, max_size=9)


def _ends(rows: list[tuple[int, int, bool]]) -> tuple[np.ndarray, np.ndarray]:
    after = np.array([float(start) for start, _, _ in rows])
    return after, np.array([INF if is_open else float(start + length) for start, length, is_open in rows])


@given(spans)
def test_a_bag_s_mean_is_fay_s_score(rows: list[tuple[int, int, bool]]) -> None:
    """The mean over all bags is S(after) + S(by) - 1, the score of Fay (1996)."""
    after, by = _ends(rows)
    later = later_of_spans(after, by, ["S"] * len(rows))
    estimate = npmle(after, by)
    start, end = (
        np.array([1.0 - estimate.mass[estimate.by <= edge].sum() for edge in edges]) for edges in (after, by)
    )
    end = np.where(np.isinf(by), 0.0, end)
    assert later.mean(axis=1) == pytest.approx(start + end - 1.0, abs=1e-4)
    assert later == pytest.approx(-later.T)


@given(st.lists(st.integers(0, 20), min_size=2, max_size=8))
def test_daily_photos_without_gaps_give_ranks(days: list[int]) -> None:
    """Intervals of one grid order bags as their days do, equal ones not at all."""
    after = np.array(days, dtype=np.float64)
    expected = np.sign(after[None, :] - after[:, None])
    assert later_of_spans(after, after + 1.0, ["S"] * len(days)) == pytest.approx(expected, abs=1e-4)


def test_strains_are_not_held_against_each_other() -> None:
    """Bags of two strains, however far apart."""
    later = later_of_spans(np.array([0.0, 1.0, 9.0]), np.array([1.0, 2.0, 10.0]), ["A", "A", "B"])
    assert later[0, 1] == pytest.approx(1.0)
    assert (later[2] == 0).all()
