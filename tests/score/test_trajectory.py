"""Chances of how far a bag is and how quickly it grows."""

from __future__ import annotations

import numpy as np
import pytest

from colscan.score.trajectory import COVERAGE, grow, just_spawned, look, unknown


@pytest.mark.parametrize("known", [just_spawned(0.1), just_spawned(8), unknown()])
def test_chances_sum_to_one(known):
    """Also after days and a photo."""
    for later in (known, grow(known, 3, otherwise=unknown()), look(known, 0.4, low=0.3, high=0.5)):
        assert later.chance.sum() == pytest.approx(1)
        assert later.chance.min() >= 0


def test_spawned_bags_by_their_age():
    """Bare on the first day; by day 3 hardly ever over 40 %; by day 8 nearly anything; by day 26 full.

    Spawn runs of Pleurotus take 8 to 26 days.
    """
    assert just_spawned(0.2).interval()[1] < 0.01
    assert just_spawned(3).interval()[1] < 0.40
    low, high = just_spawned(8).interval()
    assert low < 0.1
    assert high > 0.8
    assert just_spawned(30).coverage > 0.9


def test_growth_never_falls():
    """The chance to be under any coverage only shrinks, but for what may be mistaken."""
    now = look(unknown(), 0.5, low=0.45, high=0.55)
    later = grow(now, 4, otherwise=now)
    under_now, under_later = (np.cumsum(k.chance.sum(1)) for k in (now, later))
    assert (under_later <= under_now + 1e-9).all()


def test_days_may_be_taken_in_steps():
    """Four days at once or one by one: the same growth within three points."""
    start = look(just_spawned(5), 0.2, low=0.17, high=0.23)
    once = grow(start, 4, otherwise=unknown())
    steps = start
    for _ in range(4):
        steps = grow(steps, 1, otherwise=unknown())
    assert steps.coverage == pytest.approx(once.coverage, abs=0.03)


def test_a_burst_adds_nothing():
    """Twenty photos within a minute are no growth of their own."""
    known = look(just_spawned(6), 0.3, low=0.27, high=0.33)
    later = known
    for _ in range(20):
        later = grow(later, 3 / 86400, otherwise=unknown())
    assert later.coverage == pytest.approx(known.coverage, abs=0.003)


def test_steady_spheres_are_recognized():
    """From four days of growth at constant velocity the next two are foretold within 6 points."""
    covered = [1 - np.exp(-((0.15 * day) ** 3)) for day in range(1, 9)]
    known = unknown()
    for coverage in covered[:6]:
        known = look(grow(known, 1, otherwise=unknown()), coverage, low=coverage - 0.03, high=coverage + 0.03)
    assert grow(known, 2, otherwise=unknown()).coverage == pytest.approx(covered[7], abs=0.06)


def test_a_photo_of_any_coverage_is_believed_without_memory():
    """With nothing else known the answer is the photo's."""
    for coverage in COVERAGE[::9]:
        seen = look(unknown(), coverage, low=coverage - 0.03, high=coverage + 0.03)
        assert seen.coverage == pytest.approx(coverage, abs=0.03)
