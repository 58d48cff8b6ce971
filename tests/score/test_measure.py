"""Composed faces of known growth → coverage, density, unseen, flags."""

from __future__ import annotations

import io
import pickle
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from score.compose import Shot, compose, disc, grow, truth

from colscan.flags import Flag
from colscan.photo import colour_error
from colscan.score import make_baseline, measure_views
from colscan.score.model import Baseline, Evidence

TUNGSTEN = (1.25, 1.0, 0.7)


def baseline(bag: int = 1, *, late: bool = False) -> Baseline:
    """A baseline of the bag from a plain shot."""
    made = make_baseline([compose(bag=bag)], photos=["00" * 32], late=late)
    assert made is not None
    return made


def measure(opacity: np.ndarray | None = None, shot: Shot | None = None, **patches: np.ndarray) -> Evidence:
    """One bag's evidence against its plain baseline."""
    return measure_views([compose(opacity, shot, patches=patches)], {1: baseline()})[0]


@pytest.mark.parametrize("shot", [Shot(), Shot(veil=0.012), Shot(cast=TUNGSTEN), Shot(exposure=0.6)])
@pytest.mark.parametrize("coverage", [0.15, 0.5, 0.85, 1.0])
def test_coverage_is_near_the_truth(coverage, shot):
    """Within 6 points, whatever the cast, the exposure and a veil of a tenth of the substrate's light."""
    opacity = grow(coverage)
    got = measure(opacity, shot)
    true, _ = truth(compose(), opacity)
    assert got.coverage == pytest.approx(true, abs=0.06)
    assert got.low - 0.005 <= true <= got.high + 0.005


@pytest.mark.parametrize("coverage", [0.3, 0.7])
def test_wispy_mycelium_counts(coverage):
    """A quarter opaque is covered, within 12 points: it differs little from a veil."""
    opacity = grow(coverage, opacity=0.25)
    true, _ = truth(compose(), opacity)
    assert measure(opacity).coverage == pytest.approx(true, abs=0.12)


def test_density_is_near_the_truth():
    """Mean opacity within 10 points of the composed one; as nothing exceeds 0.7, white is a guess."""
    opacity = grow(0.6, opacity=0.7)
    _, true = truth(compose(), opacity)
    assert measure(opacity).density == pytest.approx(true, abs=0.10)


@pytest.mark.parametrize("shot", [Shot(), Shot(exposure=1.5), Shot(cast=TUNGSTEN), Shot(exposure=0.6)])
def test_day_0_scores_nothing(shot):
    """Pale shavings and grain that stood in the baseline are no growth."""
    assert measure(None, shot).coverage < 0.015


def test_adding_mycelium_never_lowers_coverage():
    """Growing colonies give growing coverage, up to 1 point."""
    got = [measure(grow(c)).coverage for c in (0.0, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0)]
    assert min(np.diff(got)) > -0.01


@pytest.mark.parametrize("exposure", [0.5, 2.0])
def test_exposure_moves_coverage_by_at_most_2_points(exposure):
    """One stop up or down, nothing clipped: paper and face change together."""
    opacity = grow(0.5)
    plain, changed = measure(opacity), measure(opacity, Shot(exposure=exposure))
    if exposure > 1:
        plain = measure(opacity, Shot(exposure=0.9))
        changed = measure(opacity, Shot(exposure=1.8))
    assert changed.coverage == pytest.approx(plain.coverage, abs=0.02)


def test_hiding_part_of_the_face_widens_the_interval():
    """A face hidden by half is less sure, and the estimate stays in what was possible before."""
    opacity = grow(0.5)
    open_view, half = measure(opacity), measure(opacity, Shot(hidden_mm=(10, 10, 210, 100)))
    assert half.high - half.low > open_view.high - open_view.low
    assert half.unseen > open_view.unseen + 0.2
    assert Flag.PART_HIDDEN in half.flags
    assert open_view.low - 0.05 < half.coverage < open_view.high + 0.05


def test_order_of_views_changes_nothing():
    """Permuted views give the same evidence, permuted."""
    views = [compose(grow(c, seed=i), bag=i) for i, c in enumerate((0.1, 0.4, 0.8), start=1)]
    baselines = {i: baseline(i) for i in (1, 2, 3)}
    forward = measure_views(views, baselines)
    backward = measure_views(views[::-1], baselines)[::-1]
    for a, b in zip(forward, backward, strict=True):
        assert (a.key, a.coverage, a.low, a.high, a.density) == (b.key, b.coverage, b.low, b.high, b.density)
        np.testing.assert_array_equal(a.opacity, b.opacity)


def test_patch_is_face_but_not_mycelium():
    """A green patch on a white face lowers coverage by its area."""
    green = disc(110, 140, 3000)
    got = measure(grow(1.0), green=green)
    assert got.coverage == pytest.approx(1 - got.patches[0].area, abs=0.03)


def test_reflection_is_unseen_and_not_white():
    """A burnt-out stripe counts as unseen, in the interval too, and is flagged when it is large."""
    plain, glaring = measure(grow(0.2)), measure(grow(0.2), Shot(glare_mm=(20, 100, 200, 150)))
    assert glaring.unseen > plain.unseen + 0.15
    assert glaring.low <= plain.coverage <= glaring.high
    assert glaring.high - glaring.low > plain.high - plain.low
    assert Flag.GLARE in glaring.flags
    assert Flag.GLARE not in plain.flags


def test_hardly_seen_face_is_not_measured():
    """Under a fifth in view: empty, never 0."""
    got = measure(grow(0.5), Shot(hidden_mm=(5, 5, 215, 195)))
    assert (got.coverage, got.low, got.high, got.density) == (None, None, None, None)
    assert Flag.UNMEASURED in got.flags


@pytest.mark.parametrize("known", [True, False])
def test_a_sliver_of_a_face_is_not_measured(known):
    """What is left of a bag at a photo's border may be thinner than the grid; its neighbour is measured."""
    whole, cut = (compose(grow(0.5), Shot(mm_per_px=0.5), bag=bag) for bag in (1, 2))
    sliver = np.zeros_like(cut.face)
    sliver[100, 40:300] = True
    views = [whole, replace(cut, face=sliver, hidden=cut.hidden & sliver)]
    got = measure_views(views, {1: baseline(1), 2: baseline(2)} if known else {})
    assert got[1].coverage is None
    assert Flag.UNMEASURED in got[1].flags
    assert got[0].coverage == measure_views([whole], {1: baseline(1)} if known else {})[0].coverage


def test_without_baseline_is_flagged_and_less_sure():
    """A late start is measured by the photo's looks alone, with a wider interval."""
    opacity = grow(0.5)
    (alone,) = measure_views([compose(opacity)], {})
    known = measure(opacity)
    assert Flag.NO_BASELINE in alone.flags
    assert Flag.NO_BASELINE not in known.flags
    assert alone.coverage == pytest.approx(0.5, abs=0.25)
    assert alone.high - alone.low > known.high - known.low


def test_late_baseline_is_flagged():
    """The flag comes with the baseline."""
    (got,) = measure_views([compose(grow(0.5))], {1: baseline(late=True)})
    assert Flag.LATE_BASELINE in got.flags


@pytest.mark.parametrize(
    ("shot", "flag"),
    [
        (Shot(blur_px=3.5), Flag.BLURRED),
        (Shot(mm_per_px=5.0), Flag.TOO_SMALL),
    ],
)
def test_poor_views_are_flagged(shot, flag):
    """Blur over 3 mm; a smallest spot over 14 mm."""
    assert flag in measure(grow(0.5), shot).flags
    assert flag not in measure(grow(0.5)).flags


@pytest.mark.parametrize(("quality", "error", "is_coarse"), [(75, 0.56, True), (77, 0.5, False)])
def test_coarse_colours_are_flagged(quality: int, error: float, is_coarse: bool) -> None:
    """Where a JPEG's quality is under 77."""
    sheet = io.BytesIO()
    Image.new("RGB", (256, 256)).save(sheet, "JPEG", quality=quality)
    told = colour_error(Path("sheet.jpg"), max_megapixels=1, raw=sheet.getvalue())
    assert told == pytest.approx(error, abs=0.005)
    (seen,) = measure_views([replace(compose(), colour_error=told)], {1: baseline()})
    assert (Flag.COARSE_COLOUR in seen.flags) == is_coarse


def test_unreadable_card_is_still_measured():
    """Without paper the other card's is taken."""
    views = [compose(grow(0.5), bag=1), compose(grow(0.5, seed=3), Shot(readable=False), bag=2)]
    got = measure_views(views, {1: baseline(1), 2: baseline(2)})
    assert got[1].coverage == pytest.approx(0.5, abs=0.06)


def test_evidence_is_small_and_crosses_processes():
    """Under 200 kB pickled, with a map on the face's own grid."""
    got = measure(grow(0.5))
    packed = pickle.dumps(got)
    assert len(packed) < 200_000
    np.testing.assert_array_equal(pickle.loads(packed).opacity, got.opacity)


def test_no_views_no_evidence():
    """A photo without bags says nothing."""
    assert measure_views([], {}) == ()
