"""Suspect patches from photo to photo: names, growth, segments, healthy looks."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from colscan.flags import Flag
from colscan.score import remember
from colscan.score.follow import follow_patches
from colscan.score.model import Evidence, KnownPatch, Memory, PatchSeen

DAY_3 = datetime(2026, 3, 5, 12, tzinfo=UTC)


def patch(kind: str = "green", *, x_mm: float = 0.0, area_mm2: float = 300.0) -> PatchSeen:
    """A patch on the face's middle line."""
    return PatchSeen(
        kind=kind,
        area_mm2=area_mm2,
        area=0.01,
        centre_px=(500.0, 500.0),
        centre_mm=(x_mm, 0.0),
        outline_px=np.zeros((3, 2)),
        strength=0.8,
    )


def evidence(coverage: float | None = 0.5, *patches: PatchSeen) -> Evidence:
    """What a photo said."""
    return Evidence(
        key=1,
        coverage=coverage,
        low=None if coverage is None else coverage - 0.05,
        high=None if coverage is None else coverage + 0.05,
        density=coverage,
        unseen=0.1,
        opacity=np.zeros((2, 2), np.float32),
        face=np.ones((2, 2), bool),
        patches=patches,
        mm_per_px=0.9,
        outline_px=np.zeros((4, 2)),
        to_px=np.eye(2, 3),
        smallest_spot_mm=3.0,
        flags=(Flag.GLARE,),
    )


def known(name: str = "p1", *, x_mm: float = 0.0, area_mm2: float = 100.0) -> KnownPatch:
    """A patch of two days before."""
    return KnownPatch(
        patch=name,
        kind="green",
        centre_mm=(x_mm, 0.0),
        area_mm2=area_mm2,
        first_area_mm2=area_mm2,
        first_seen_at=DAY_3 - timedelta(days=2),
    )


def test_new_patches_get_the_next_names():
    """Names go on where the bag's used ones end."""
    score = remember(evidence(0.5, patch(), patch(x_mm=80)), Memory(patches_named=3), taken_at=DAY_3)
    assert [p.patch for p in score.patches] == ["p4", "p5"]
    assert all(p.first_seen_at == DAY_3 and p.growth_mm2_per_day is None for p in score.patches)


def test_known_patch_keeps_its_name_and_shows_its_growth():
    """200 mm2 in two days, by place, whatever its kind today."""
    memory = Memory(patches=(known("p1", x_mm=90), known("p2")), patches_named=2)
    score = remember(evidence(0.5, patch("dark", x_mm=6)), memory, taken_at=DAY_3)
    (only,) = score.patches
    assert only.patch == "p2"
    assert only.growth_mm2_per_day == pytest.approx(100.0)
    assert only.first_seen_at == DAY_3 - timedelta(days=2)


def test_one_known_patch_is_one_seen_patch():
    """Of two near it the nearer takes the name."""
    score = remember(
        evidence(0.5, patch(x_mm=14), patch(x_mm=3)),
        Memory(patches=(known(),), patches_named=1),
        taken_at=DAY_3,
    )
    assert [p.patch for p in score.patches] == ["p2", "p1"]


def test_new_segment_forgets():
    """After a shake the memory holds no patches, but the used names."""
    score = remember(evidence(0.1, patch()), Memory(segment=1, patches_named=1), taken_at=DAY_3)
    assert score.segment == 1
    assert [p.patch for p in score.patches] == ["p2"]
    assert Flag.FELL not in score.flags


def test_healthy_look_is_expected():
    """Noted, no alarm; another kind alarms."""
    memory = Memory(healthy_looks=("orange",))
    score = remember(evidence(0.5, patch("orange"), patch("green", x_mm=80)), memory, taken_at=DAY_3)
    assert [p.flags for p in score.patches] == [(Flag.EXPECTED,), ()]


def test_nothing_given_is_changed():
    """The pass is a pure function: twice the same."""
    memory = Memory(patches=(known(),), patches_named=1)
    seen = evidence(0.5, patch())
    first, second = (remember(seen, memory, taken_at=DAY_3) for _ in range(2))
    assert first.patches[0].patch == second.patches[0].patch
    assert memory.patches_named == 1


@pytest.mark.parametrize(
    ("area_mm2", "x_mm", "strength"), [(400.0, 3.0, 0.8), (150.0, 3.0, 0.6), (400.0, 80.0, 0.6)]
)
def test_patch_seen_again_and_larger_is_surer(area_mm2, x_mm, strength):
    """Half of the doubt is left; a smaller one, or one elsewhere, is as sure as by itself."""
    seen = PatchSeen(
        kind="dark",
        area_mm2=area_mm2,
        area=0.01,
        centre_px=(500.0, 500.0),
        centre_mm=(x_mm, 0.0),
        outline_px=np.zeros((3, 2)),
        strength=0.6,
    )
    before = KnownPatch(
        patch="p1",
        kind="dark",
        centre_mm=(0.0, 0.0),
        area_mm2=200.0,
        first_area_mm2=200.0,
        first_seen_at=DAY_3 - timedelta(days=2),
    )
    (score,) = follow_patches([seen], Memory(patches=(before,), patches_named=1), taken_at=DAY_3)
    assert score.seen.strength == pytest.approx(strength)
    assert seen.strength == 0.6


def test_hidden_patch_makes_no_row():
    """What is not seen today is not claimed; its earlier rows keep it known."""
    before = KnownPatch(
        patch="p1",
        kind="green",
        centre_mm=(0.0, 0.0),
        area_mm2=200.0,
        first_area_mm2=200.0,
        first_seen_at=DAY_3,
    )
    assert follow_patches([], Memory(patches=(before,), patches_named=1), taken_at=DAY_3) == ()
