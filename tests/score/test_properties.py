"""Properties of a bag's score that hold whatever grows on it and however it is photographed."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from score.compose import Shot, compose, grow

from colscan.locate.model import BagView
from colscan.score import make_baseline, measure_views
from colscan.score.model import Baseline, Evidence

coverages = st.floats(0.0, 1.0)
opacities = st.floats(0.3, 0.95)
seeds = st.integers(0, 30)
some = settings(
    max_examples=12, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)


@cache
def plain_baseline() -> Baseline:
    """The baseline of the bag, from a plain shot of its first day."""
    made = make_baseline([compose()], photos=["00" * 32], late=False)
    assert made is not None
    return made


def measured(view: BagView, baseline: Baseline | None = None) -> Evidence:
    """One view's evidence."""
    return measure_views([view], {1: baseline or plain_baseline()})[0]


def coverage(view: BagView, baseline: Baseline | None = None) -> float:
    """One view's coverage, 0-1."""
    got = measured(view, baseline).coverage
    assert got is not None
    return got


@some
@given(coverages, opacities, seeds, st.floats(-1.0, 1.0))
def test_exposure_moves_coverage_by_at_most_a_point(
    share: float, opacity: float, seed: int, stops: float
) -> None:
    """Up to a stop over or under, nothing clipped."""
    grown = grow(share, opacity=opacity, seed=seed)
    plain = coverage(compose(grown, Shot(exposure=0.9, noise=0.0)))
    assert abs(coverage(compose(grown, Shot(exposure=0.9 * 2**stops, noise=0.0))) - plain) <= 0.01


@some
@given(coverages, opacities, seeds, st.floats(0.0, 1.0))
def test_cast_moves_coverage_by_at_most_a_point(
    share: float, opacity: float, seed: int, warmth: float
) -> None:
    """From daylight to tungsten, as an imperfect white balance leaves it."""
    grown = grow(share, opacity=opacity, seed=seed)
    cast = (1 + 0.25 * warmth, 1.0, 1 - 0.3 * warmth)
    plain = coverage(compose(grown, Shot(exposure=0.8, noise=0.0)))
    assert abs(coverage(compose(grown, Shot(exposure=0.8, cast=cast, noise=0.0))) - plain) <= 0.01


@some
@given(coverages, opacities, seeds)
def test_mirroring_moves_coverage_by_at_most_a_point(share: float, opacity: float, seed: int) -> None:
    """A mirrored bag against its mirrored baseline."""
    grown = grow(share, opacity=opacity, seed=seed)
    view, first = compose(grown), compose()
    baseline = make_baseline([mirrored(first)], photos=["00" * 32], late=False)
    assert abs(coverage(mirrored(view), baseline) - coverage(view)) <= 0.01


def mirrored(view: BagView) -> BagView:
    """The view as a mirror shows it."""
    width = view.face.shape[1]
    x0 = view.origin_px[0]
    outline = view.outline_px * (-1, 1) + (2 * x0 + width - 1, 0)
    flipped = {name: np.ascontiguousarray(getattr(view, name)[:, ::-1]) for name in ("rgb", "face", "hidden")}
    return replace(view, outline_px=outline, **flipped)


@some
@given(st.floats(0.0, 0.9), st.floats(0.05, 0.5), opacities, seeds)
def test_adding_mycelium_never_lowers_coverage(share: float, more: float, opacity: float, seed: int) -> None:
    """The same colonies grown on: not lower, but for a point of noise."""
    before = coverage(compose(grow(share, opacity=opacity, seed=seed)))
    after = coverage(compose(grow(min(1.0, share + more), opacity=opacity, seed=seed)))
    assert after >= before - 0.01


@some
@given(coverages, opacities, seeds, st.floats(60, 130))
def test_hiding_widens_the_interval(share: float, opacity: float, seed: int, height_mm: float) -> None:
    """With the upper part hidden too the interval is wider and holds what the whole face said."""
    grown = grow(share, opacity=opacity, seed=seed)
    whole = measured(compose(grown))
    part = measured(compose(grown, Shot(hidden_mm=(10, 10, 210, height_mm))))
    assert None not in (whole.low, whole.high, part.low, part.high, part.coverage, whole.coverage)
    assert part.high - part.low >= whole.high - whole.low - 0.005  # type: ignore[operator]
    assert part.low - 0.005 <= whole.coverage <= part.high + 0.005  # type: ignore[operator]
    assert part.unseen > whole.unseen
