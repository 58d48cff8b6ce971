"""A patch seen again: how sure it is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from colscan.score.follow import follow_patches
from colscan.score.model import KnownPatch, Memory, PatchSeen

DAY_3 = datetime(2026, 3, 5, 12, tzinfo=UTC)


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
