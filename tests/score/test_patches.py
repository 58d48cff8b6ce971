"""Painted blotches → found, of the right kind, at the right place; none on a clean face."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache

import cv2
import numpy as np
import pytest
from score.compose import AMBER, BROWN_SKIN, PATCHES, SIDE_MM, Shot, compose, disc, grow

from colscan.flags import Flag
from colscan.locate.model import BagView
from colscan.score import make_baseline, measure_views, remember
from colscan.score.coverage import find_glare
from colscan.score.measure import fit_bags
from colscan.score.model import Baseline, Evidence, Memory, PatchSeen
from colscan.score.prepare import prepare

TUNGSTEN = (1.25, 1.0, 0.7)
GREEN_TUBE = (0.93, 1.08, 0.9)


@cache
def bare() -> Baseline:
    """The baseline of a bag whose first photo is the bare composed one."""
    made = make_baseline([compose()], photos=["00" * 32], late=False)
    assert made is not None
    return made


def measured(view: BagView) -> Evidence:
    """What a view says of that bag."""
    return measure_views([view], {1: bare()})[0]


def patches(coverage: float, shot: Shot | None = None, **painted: np.ndarray) -> tuple[PatchSeen, ...]:
    """Patches of one bag."""
    return measured(compose(grow(coverage), shot, patches=painted)).patches


def mesh() -> tuple[np.ndarray, np.ndarray]:
    """Where each place of the composed face lies, mm: x and y."""
    y, x = np.mgrid[:SIDE_MM, :SIDE_MM].astype(float)
    return x, y


@pytest.mark.parametrize("coverage", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("kind", sorted(PATCHES))
def test_blotch_is_found_with_its_kind(kind, coverage):
    """On a bare bag, at the border between white and bare, and on a white bag; area within a third."""
    (found,) = patches(coverage, **{kind: disc(130, 140, 900)})
    assert found.kind == kind
    assert found.area_mm2 == pytest.approx(900, rel=0.33)
    assert found.strength > 0.4


def test_place_is_given_in_the_photo_and_on_the_face():
    """The crop begins at (100, 50) with 6 px around a face whose middle is at 109.5 mm."""
    (found,) = patches(1.0, green=disc(130, 140, 900))
    assert found.centre_px == pytest.approx((236, 196), abs=2.5)
    assert found.centre_mm == pytest.approx((20.5, 30.5), abs=2.5)
    assert found.outline_px.mean(0) == pytest.approx((236, 196), abs=4)


@pytest.mark.parametrize("coverage", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("kind", sorted(PATCHES))
def test_smallest_promised_patch_is_found(kind, coverage):
    """150 mm2, from bare to white."""
    assert [p.kind for p in patches(coverage, **{kind: disc(90, 150, 150)})] == [kind]


@pytest.mark.parametrize("kind", sorted(PATCHES))
@pytest.mark.parametrize("veil", [0.02, 0.04])
def test_patch_is_found_in_a_veil(kind, veil):
    """Haze of half and of all the light that bare substrate sends."""
    assert [p.kind for p in patches(0.7, Shot(veil=veil), **{kind: disc(120, 150, 500)})] == [kind]


@pytest.mark.parametrize("kind", sorted(PATCHES))
@pytest.mark.parametrize("cast", [TUNGSTEN, GREEN_TUBE])
def test_patch_is_found_under_a_cast(kind, cast):
    """Its kind does not follow the lamp."""
    assert [p.kind for p in patches(0.7, Shot(cast=cast), **{kind: disc(120, 150, 500)})] == [kind]


@pytest.mark.parametrize("kind", sorted(PATCHES))
def test_patch_half_under_a_reflection_is_found(kind):
    """A burnt out bar over its upper half."""
    shot = Shot(glare_mm=(80, 130, 160, 150))
    assert [p.kind for p in patches(1.0, shot, **{kind: disc(120, 150, 900)})] == [kind]


@pytest.mark.parametrize("kind", sorted(PATCHES))
def test_patch_near_the_rim_is_found(kind):
    """Its middle 20 mm inside the outline, 7 mm of it in the rim's shade."""
    assert [p.kind for p in patches(1.0, **{kind: disc(20, 150, 500)})] == [kind]


def test_two_patches_on_one_bag():
    """Both are found, the larger first."""
    found = patches(1.0, green=disc(70, 150, 400), dark=disc(150, 120, 900))
    assert [p.kind for p in found] == ["dark", "green"]


@pytest.mark.parametrize("coverage", [0.0, 0.3, 0.7, 1.0])
@pytest.mark.parametrize("shot", [Shot(), Shot(cast=TUNGSTEN), Shot(cast=GREEN_TUBE), Shot(veil=0.015)])
def test_clean_face_raises_no_alarm(coverage, shot):
    """Nor under a cast or a veil."""
    assert patches(coverage, shot) == ()


@pytest.mark.parametrize("where", ["half", "strip", "soft"])
def test_shadow_is_no_patch(where):
    """Half of the light is gone from one side, from a strip across, or softly from the middle."""
    x, y = mesh()
    share = {
        "half": np.clip((x - 150) / 3, 0, 1),
        "strip": np.clip((12 - np.abs(x + y - 260)) / 3, 0, 1),
        "soft": np.exp(-((x - 110) ** 2 + (y - 150) ** 2) / 2 / 30**2),
    }[where]
    for coverage in (0.0, 0.5, 1.0):
        assert measured(compose(grow(coverage), lit=(1 - 0.5 * share)[..., None])).patches == ()


def test_tinted_lamp_from_one_side_is_no_patch():
    """A green tube lights one side of the face, the card the other."""
    x, _ = mesh()
    tint = 1 + (x / SIDE_MM)[..., None] * np.array([-0.06, 0.06, -0.08])
    for coverage in (0.0, 0.5, 1.0):
        assert measured(compose(grow(coverage), lit=tint)).patches == ()


def test_wet_bare_corner_of_a_white_bag_is_no_patch():
    """Water darkens substrate by 0.6 and makes it redder."""
    view = compose(
        np.where(disc(165, 165, 900), 0, grow(1.0)).astype(np.float32),
        lit=np.where(disc(165, 165, 900)[..., None], [0.62, 0.57, 0.52], 1.0),
    )
    assert measured(view).patches == ()


def written(height_mm: int) -> np.ndarray:
    """B08 8 in strokes of 4 mm, as a pen draws it: a library's letters change with its version."""
    ink, base, wide = np.zeros((SIDE_MM, SIDE_MM), np.uint8), 150, round(0.6 * height_mm)
    left, quarter = 25, height_mm // 4
    cv2.line(ink, (left, base), (left, base - height_mm), 255, 4)
    for y in (base - quarter, base - 3 * quarter):
        cv2.ellipse(ink, (left, y), (wide, quarter), 0, -90, 90, 255, 4)
    for letter, place in (("0", 1), ("8", 2), ("8", 4)):
        x = left + place * (wide + 8) + wide // 2
        if letter == "0":
            cv2.ellipse(ink, (x, base - 2 * quarter), (wide // 2, 2 * quarter), 0, 0, 360, 255, 4)
        else:
            for y in (base - quarter, base - 3 * quarter):
                cv2.ellipse(ink, (x, y), (wide // 2, quarter), 0, 0, 360, 255, 4)
    return ink


@pytest.mark.parametrize("height_mm", [35, 50])
def test_writing_is_no_patch(height_mm):
    """Felt pen on the film, which locating did not find."""
    lit = 1 - 0.85 * (written(height_mm)[..., None] / 255)
    for coverage in (0.0, 1.0):
        assert measured(compose(grow(coverage), lit=lit)).patches == ()


def test_fold_and_wire_are_no_patches():
    """A fold is a bright line beside a dark one, a wire a dark one 4 mm wide."""
    x, y = mesh()
    fold = 1 + 0.35 * np.exp(-(((x + y / 3 - 120) / 5) ** 2)) - 0.35 * np.exp(-(((x + y / 3 - 129) / 5) ** 2))
    wire = np.where(np.abs(y - 120) < 2, 0.2, 1.0)
    for coverage in (0.0, 0.5, 1.0):
        assert measured(compose(grow(coverage), lit=(fold * wire)[..., None])).patches == ()


def test_dense_island_in_thin_growth_is_grey():
    """One place over twice as dense as all else that grows; the same among its like is a colony."""
    thin = grow(0.7, opacity=0.25)
    island = np.where(disc(120, 150, 2000), 0.85, thin).astype(np.float32)
    assert [p.kind for p in measured(compose(island)).patches] == ["grey"]
    assert measured(compose(grow(0.4, opacity=0.85))).patches == ()


def drops(area_mm2: float) -> np.ndarray:
    """Six drops of this size."""
    return np.any([disc(x, y, area_mm2) for x in (50, 110, 170) for y in (120, 170)], axis=0)


@pytest.mark.parametrize(
    ("kind", "where", "light"),
    [("amber", drops(160), AMBER), ("brown", disc(110, 140, 3000), BROWN_SKIN)],
)
def test_healthy_look_alarms_unless_the_strain_says_so(kind, where, light):
    """Amber drops and brown skin on a white bag: noted either way, expected where they are healthy."""
    seen = measured(compose(grow(1.0), painted=(where, light)))
    assert {p.kind for p in seen.patches} == {kind}
    at = datetime(2026, 3, 20, 12, tzinfo=UTC)
    alarm = remember(seen, Memory(), taken_at=at)
    expected = remember(seen, Memory(healthy_looks=(kind,)), taken_at=at)
    assert all(p.flags == () for p in alarm.patches)
    assert all(p.flags == (Flag.EXPECTED,) for p in expected.patches)


def test_drops_under_the_promised_size_are_not_reported():
    """Drops of 10 mm2, 3.5 mm across."""
    assert measured(compose(grow(1.0), painted=(drops(10), AMBER))).patches == ()


def test_bright_amber_streak_is_no_reflection():
    """A streak of 5 mm that is brighter than its surround: a reflection when neutral, else a thing."""
    x, y = mesh()
    streak = (np.abs(y - 150) < 2.5) & (np.abs(x - 110) < 25)
    hidden = []
    for light in (np.full(3, 0.35), np.array([0.65, 0.33, 0.07])):
        bag = prepare(compose(grow(0.0), painted=(streak, light)), bare())
        (fit,) = fit_bags([bag])
        assert fit is not None
        hidden.append(int(find_glare(bag, fit.cells, fit.belief.best).sum()))
    # The streak has 111 cells; the rest is the card's bright edge, the same in both.
    assert hidden[0] - hidden[1] > 100


def test_black_patch_on_brown_substrate_is_not_green():
    """Under a lamp that makes all of it redder, neutral is greener than the face's median."""
    lamp = np.array([1.35, 1.0, 0.6])
    first = make_baseline([compose(lit=lamp)], photos=["00" * 32], late=False)
    assert first is not None
    view = compose(patches={"dark": disc(130, 140, 900)}, lit=lamp)
    assert [p.kind for p in measure_views([view], {1: first})[0].patches] == ["dark"]


def test_lamp_that_the_card_does_not_show_is_no_patch():
    """The face lies in warmer, then in bluer light than the card."""
    for tint in ((1.15, 1.0, 0.8), (0.88, 1.0, 1.12)):
        for coverage in (0.0, 0.5, 1.0):
            assert measured(compose(grow(coverage), lit=np.array(tint))).patches == ()


@pytest.mark.parametrize("coverage", [0.0, 1.0])
def test_side_in_the_light_of_a_warm_wall_is_no_patch(coverage):
    """One side of the block, 20 mm wide and 120 mm high, is redder."""
    x, y = mesh()
    share = np.clip((x - (SIDE_MM - 20)) / 10, 0, 1) * (np.abs(y - 110) < 60)
    lit = 1 + share[..., None] * (np.array([1.6, 1.15, 0.6]) - 1)
    assert measured(compose(grow(coverage), lit=lit)).patches == ()


def test_orange_patch_at_the_side_is_found():
    """1500 mm2 of it, 12 mm from the edge."""
    found = measured(compose(grow(1.0), patches={"orange": disc(SIDE_MM - 34, 120, 1500)}))
    assert [p.kind for p in found.patches] == ["orange"]
