"""Photos of one bag within minutes are measured as one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from score.compose import Shot, compose, grow, truth

from colscan.flags import Flag
from colscan.locate.model import BagView
from colscan.score import make_baseline, measure_burst, measure_views, prepare_slim
from colscan.score.model import Baseline, Evidence

LEFT = Shot(glare_mm=(20, 80, 90, 190))
RIGHT = Shot(glare_mm=(120, 90, 200, 170), exposure=0.8, noise=0.6)
GROWN = grow(0.4)


@pytest.fixture(scope="module")
def baselines() -> dict[int, Baseline]:
    """Two bags' first looks."""
    made = {bag: make_baseline([compose(bag=bag)], photos=["00"], late=False) for bag in (1, 2)}
    return {bag: baseline for bag, baseline in made.items() if baseline is not None}


def burst(baselines: dict[int, Baseline], *photos: list[BagView]) -> tuple[tuple[Evidence, ...], ...]:
    """What photos say together."""
    return measure_burst([prepare_slim(views, baselines) for views in photos], baselines)


def test_reflections_fill_each_other_in(baselines: dict[int, Baseline]) -> None:
    """Less is unseen than in either, coverage is as near to the truth, and the bag stands once."""
    views = [compose(GROWN, shot) for shot in (LEFT, RIGHT)]
    alone = [measure_views([view], baselines)[0] for view in views]
    first, second = burst(baselines, [views[0]], [views[1]])
    assert [len(first), len(second)] == [1, 0]
    assert first[0].unseen < min(seen.unseen for seen in alone) - 0.05
    assert Flag.GLARE not in first[0].flags
    assert first[0].coverage == pytest.approx(truth(views[0], GROWN)[0], abs=0.06)
    assert np.isfinite(first[0].opacity).sum() > max(np.isfinite(seen.opacity).sum() for seen in alone)


def test_a_reflection_that_is_not_burnt_out_is_left_out(baselines: dict[int, Baseline]) -> None:
    """Twice the light on a third of the face in one photo changes nothing where another shows it plainly."""
    lit = np.ones((220, 220, 1))
    lit[60:160, 30:110] = 2.0
    plain, odd = compose(GROWN), compose(GROWN, lit=lit)
    (together,), _ = burst(baselines, [plain], [odd])
    alone = measure_views([plain], baselines)[0]
    assert together.coverage == pytest.approx(alone.coverage, abs=0.02)


def test_different_bags_score_each_their_own(baselines: dict[int, Baseline]) -> None:
    """Photos that share no bag say what each says alone."""
    views = [compose(GROWN, bag=1), compose(grow(0.7), bag=2)]
    together = burst(baselines, [views[0]], [views[1]])
    for (seen,), view in zip(together, views, strict=True):
        (alone,) = measure_views([view], baselines)
        assert (seen.key, seen.coverage, seen.unseen) == (alone.key, alone.coverage, alone.unseen)


def test_the_photo_that_shows_a_bag_best_leads(baselines: dict[int, Baseline]) -> None:
    """A blurred or cut first photo doesn't: the row is under the second, at its scale."""
    sharp = compose(GROWN)
    for flawed in (compose(GROWN, Shot(blur_px=6.0)), replace(sharp, flags=(Flag.CUT_OFF,))):
        first, second = burst(baselines, [flawed], [sharp])
        assert (len(first), len(second)) == (0, 1)
        assert Flag.CUT_OFF not in second[0].flags


def test_another_bag_under_the_same_card_is_not_mixed_in(baselines: dict[int, Baseline]) -> None:
    """Where the detail of two photos isn't one bag's, the leading photo speaks alone."""
    mine, other = compose(GROWN, LEFT), replace(compose(grow(0.7, seed=5), RIGHT, bag=2), key=1)
    (together,), _ = burst(baselines, [mine], [other])
    (alone,) = measure_views([mine], baselines)
    assert (together.coverage, together.unseen) == (alone.coverage, alone.unseen)


def test_without_a_baseline_one_photo_speaks() -> None:
    """No common grid: the first photo's answer, flagged as ever."""
    views = [compose(GROWN, shot) for shot in (LEFT, RIGHT)]
    (together,), rest = burst({}, [views[0]], [views[1]])
    (alone,) = measure_views([views[0]], {})
    assert rest == ()
    assert together.coverage == alone.coverage
    assert Flag.NO_BASELINE in together.flags
