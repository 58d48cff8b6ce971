"""A trial that starts late: growth is taken off the first photo, and counts from then on."""

from __future__ import annotations

import numpy as np
import pytest
from score.compose import SUBSTRATE, Shot, compose, grow, truth

from colscan.flags import Flag
from colscan.score import make_late_baselines, measure_views, share_reference
from colscan.score.model import Baseline

BAGS = (1, 2, 3)


def made(coverages: tuple[float, float, float], days: float) -> dict[int, Baseline]:
    """Late baselines of three bags of one photo."""
    views = share_reference([compose(grow(c, seed=b), bag=b) for b, c in zip(BAGS, coverages, strict=True)])
    return make_late_baselines(views, dict.fromkeys(BAGS, days), photo="aa", baselines={})


def test_what_grew_before_counts():
    """The late photo itself and a later one are measured from bare, not from that day on."""
    baselines = made((0.4, 0.3, 0.5), 7.0)
    assert all(b.late and b.photos == ("aa",) for b in baselines.values())
    for coverages in ((0.4, 0.3, 0.5), (0.75, 0.6, 0.8)):
        maps = [grow(c, seed=b) for b, c in zip(BAGS, coverages, strict=True)]
        views = [compose(m, Shot(exposure=1.2), bag=b) for b, m in zip(BAGS, maps, strict=True)]
        for got, view, opacity in zip(measure_views(views, baselines), views, maps, strict=True):
            covered, _ = truth(view, opacity)
            assert Flag.LATE_BASELINE in got.flags
            assert got.coverage == pytest.approx(covered, abs=0.12)
            assert got.low <= covered <= got.high


def test_the_interval_holds_what_is_not_known_of_then():
    """It is wider than against the same bag's bare face."""
    late = made((0.4, 0.3, 0.5), 7.0)
    bare = made((0.0, 0.0, 0.0), 0.5)
    views = [compose(grow(0.5, seed=b), bag=b) for b in BAGS]
    for unsure, sure in zip(measure_views(views, late), measure_views(views, bare), strict=True):
        assert unsure.high - unsure.low > sure.high - sure.low


def test_bare_bags_stay_bare():
    """Half a day after spawning nothing is taken off."""
    for baseline in made((0.0, 0.0, 0.0), 0.5).values():
        assert baseline.taken_off is not None
        assert baseline.taken_off.coverage < 0.02
        np.testing.assert_allclose(baseline.colour, SUBSTRATE, rtol=0.15)


def test_a_white_bag_borrows_its_substrate():
    """What a bag that is grown over shows no more, the photo's other bags tell."""
    views = [compose(grow(c, seed=b), bag=b) for b, c in zip(BAGS, (1.0, 0.2, 0.3), strict=True)]
    got = measure_views(views, {})[0]
    assert Flag.NO_BASELINE in got.flags
    assert got.coverage > 0.9


def test_only_the_bags_asked_for():
    """Bags with a baseline guide the others and get no new one."""
    views = share_reference([compose(grow(0.3, seed=b), bag=b) for b in BAGS])
    known = made((0.0, 0.0, 0.0), 0.5)
    got = make_late_baselines(views, {2: 6.0}, photo="bb", baselines=known)
    assert set(got) == {2}
