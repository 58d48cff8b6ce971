"""First photos judged: what is wrong with one is said, good ones pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from score.compose import SIDE_MM, Shot, compose

from colscan.flags import Flag
from colscan.score import judge_first
from colscan.score.model import Fault


def faults(shot: Shot, *, bag: int = 1, lit: np.ndarray | None = None) -> tuple[Fault, ...]:
    """What is wrong with a bag beside two good ones."""
    return judge_first([compose(shot=shot, bag=bag, lit=lit), compose(bag=2), compose(bag=3)])[bag]


@pytest.mark.parametrize("shot", [Shot(), Shot(exposure=0.5), Shot(cast=(1.0, 0.8, 0.55)), Shot(veil=0.01)])
def test_good_photos_pass(shot: Shot):
    """Also under a warm lamp, a stop darker, and behind a little haze."""
    assert faults(shot) == ()


@pytest.mark.parametrize(
    ("shot", "fault"),
    [
        (Shot(blur_px=2.0), Fault.BLURRED),
        (Shot(mm_per_px=1.8), Fault.TOO_SMALL),
        (Shot(hidden_mm=(10, 10, 210, 100)), Fault.HIDDEN),
        (Shot(exposure=0.06, noise=0.2), Fault.DARK),
        (Shot(glare_mm=(60, 100, 160, 180)), Fault.GLARE),
        (Shot(veil=0.09), Fault.FOG),
    ],
)
def test_each_fault_is_said(shot: Shot, fault: Fault):
    """Each alone, where the other bags are well."""
    assert fault in faults(shot)


def test_fog_on_part_of_a_face():
    """A third of the film fogged: told by the rest of the same face, with no other bag in view."""
    fogged = compose()
    rgb = fogged.rgb.astype(float)
    rgb[: SIDE_MM // 2] = 0.45 * rgb[: SIDE_MM // 2] + 0.55 * 90
    (found,) = judge_first([replace(fogged, rgb=rgb.astype(np.uint8))]).values()
    assert found == (Fault.FOG,)


def test_a_bag_cut_by_the_edge():
    """As found when locating."""
    found = judge_first([replace(compose(), flags=(Flag.CUT_OFF,))])
    assert found == {1: (Fault.CUT_OFF,)}


def test_another_bags_card_serves():
    """Paper burnt out or unread on one card is mended by the others', on all cards it isn't."""
    for unread in (replace(compose(), paper=np.full(3, 0.99)), compose(shot=Shot(readable=False))):
        assert Fault.NO_LIGHT not in judge_first([unread, compose(bag=2)])[1]
        assert judge_first([unread])[1] == (Fault.NO_LIGHT,)
