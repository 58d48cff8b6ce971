"""A later photo of a mapped shelf: laid onto it by the shelf itself, and each place's bag found again."""

from __future__ import annotations

import pickle
from pathlib import Path

import cv2
import numpy as np
import pytest
from rendered import rendered

from colscan.locate.cards import find_cards
from colscan.locate.carry import Homography, _by_bags, carry_places, describe_scene, register
from colscan.photo.load import load_rgb

SAME_VIEW = Homography(matrix=np.eye(3), likeness=1.0, points=0)


def square(x: float, y: float, side: float = 100.0) -> np.ndarray:
    """A face as a square, by its top left corner."""
    return np.array([(x, y), (x + side, y), (x + side, y + side), (x, y + side)])


def middle(outline: np.ndarray) -> np.ndarray:
    """The middle of an outline's extent."""
    return (outline.min(0) + outline.max(0)) / 2


def test_a_known_change_of_view_is_found(real_photos: Path):
    """Within 3 px, as a mean over what both photos show and over the first one's corners.

    The pair and its homography: Mikolajczyk and others 2005, doi:10.1007/s11263-005-3848-x (graf 1 and 3).
    """
    folder = real_photos / "registration"
    first, third = (load_rgb(folder / f"graf{i}.png", max_megapixels=100) for i in (1, 3))
    stored = cv2.FileStorage(str(folder / "H1to3p.xml"), cv2.FILE_STORAGE_READ)
    truth = stored.getNode("H13").mat()
    found = register(describe_scene(first, []), third, [])
    assert found is not None
    height, width = first.shape[:2]
    grid = np.stack(np.meshgrid(np.linspace(0, width - 1, 20), np.linspace(0, height - 1, 20)), -1).reshape(
        -1, 2
    )
    corners = np.array([(0, 0), (width - 1, 0), (width - 1, height - 1), (0, height - 1)], float)
    expected = cv2.perspectiveTransform(grid[None], truth)[0]
    common = ((expected >= 0) & (expected < (width, height))).all(1)
    assert np.hypot(*(found.moved(grid) - expected)[common].T).mean() < 3
    assert (
        np.hypot(*(found.moved(corners) - cv2.perspectiveTransform(corners[None], truth)[0]).T).mean() < 3.5
    )


@pytest.mark.parametrize(
    ("first", "later"), [("nocard-d00", "nocard-d08"), ("nocard-d00", "nocard-d12"), ("pen-d00", "pen-d13")]
)
def test_places_are_carried_over_days_and_lights(bench: Path, first: str, later: str):
    """Within 40 mm of the bag, which is pushed about itself, and each place gets its own bag."""
    known, today = rendered(bench, first), rendered(bench, later)
    scene = describe_scene(known.rgb, list(known.outlines_px.values()), cards=find_cards(known.rgb))
    scene = pickle.loads(pickle.dumps(scene))
    faces = list(reversed(today.outlines_px.values()))
    change = register(scene, today.rgb, faces, cards=find_cards(today.rgb))
    assert change is not None
    carried = carry_places(change, list(known.outlines_px.values()), faces, size_px=today.size_px)
    assert [place.proposal for place in carried.places] == list(reversed(range(len(faces))))
    assert not any(place.doubtful for place in carried.places)
    assert carried.extra == ()
    for bag, place in zip(known.outlines_px, carried.places, strict=True):
        off_px = np.hypot(*(middle(place.outline_px) - middle(today.outlines_px[bag])))
        assert off_px * today.mm_per_px[bag] < 40


def test_another_view_crop_and_light(bench: Path):
    """Nearer, turned by 3 degrees, cropped, tilted, darker and bluer."""
    known, today = rendered(bench, "nocard-d00"), rendered(bench, "nocard-d08")
    change = np.array([[1.12, 0.06, -140], [-0.06, 1.12, 10], [3e-5, -3e-5, 1]])
    rgb = cv2.warpPerspective(today.rgb, change, (1560, 1200), borderMode=cv2.BORDER_REPLICATE)
    rgb = np.clip(rgb * np.array([0.6, 0.65, 0.8]), 0, 255).astype(np.uint8)
    faces = [cv2.perspectiveTransform(o[None], change)[0] for o in today.outlines_px.values()]
    found = register(describe_scene(known.rgb, list(known.outlines_px.values())), rgb, faces)
    assert found is not None
    carried = carry_places(found, list(known.outlines_px.values()), faces, size_px=(1560, 1200))
    assert [place.proposal for place in carried.places] == [0, 1, 2, 3]


def test_a_picture_of_something_else_is_not_believed(bench: Path, real_photos: Path):
    """Fruit are no shelf."""
    known = rendered(bench, "nocard-d00")
    fruit = load_rgb(real_photos / "registration" / "fruits.jpg", max_megapixels=100)
    assert register(describe_scene(known.rgb, list(known.outlines_px.values())), fruit, []) is None


def test_a_picture_of_nothing_is_not_believed(bench: Path):
    """A wall alone has no edge to go by."""
    known = rendered(bench, "nocard-d00")
    wall = np.full((600, 800, 3), 120, np.uint8)
    assert register(describe_scene(known.rgb, list(known.outlines_px.values())), wall, []) is None


def test_two_places_in_one_spot_are_no_pair_to_begin_from():
    """A map may have them; the other bags tell the change of view."""
    known = np.array([(100, 100, 80), (300, 100, 80), (300, 100, 80), (500, 100, 80)], float)
    start = _by_bags(known, known + np.array([40, 10, 0]))[0]
    assert start == pytest.approx(np.array([[1, 0, 40], [0, 1, 10], [0, 0, 1]]), abs=1e-9)


def test_a_bag_taken_away_and_one_put_beside():
    """The place is in view and empty; the newcomer stands in none."""
    places = [square(0, 100), square(150, 100), square(300, 100)]
    faces = [square(305, 95), square(8, 103), square(450, 100)]
    carried = carry_places(SAME_VIEW, places, faces, size_px=(600, 300))
    assert [place.proposal for place in carried.places] == [1, None, 0]
    assert [place.in_view for place in carried.places] == [True, True, True]
    assert carried.extra == (2,)


def test_a_bag_between_two_places_is_doubtful():
    """Nearer to one than to the other is not enough."""
    carried = carry_places(
        SAME_VIEW, [square(0, 100), square(110, 100)], [square(50, 100)], size_px=(600, 300)
    )
    assert [(p.proposal, p.doubtful) for p in carried.places] == [(0, True), (None, False)]


def test_a_map_that_fits_hardly_a_bag_makes_all_doubtful():
    """One bag of four in its place by chance."""
    places = [square(x, 100) for x in (0, 150, 300, 450)]
    carried = carry_places(SAME_VIEW, places, [square(0, 100), square(0, 400)], size_px=(600, 600))
    assert [(p.proposal, p.doubtful) for p in carried.places] == [(0, True), *[(None, False)] * 3]


def test_a_place_outside_the_photo_is_not_in_view():
    """Cropped away: no bag is missed there."""
    carried = carry_places(SAME_VIEW, [square(0, 0), square(550, 0)], [square(2, 0)], size_px=(600, 300))
    assert [(p.proposal, p.in_view) for p in carried.places] == [(0, True), (None, False)]


def test_without_a_face_all_places_are_empty():
    """Nothing found, nothing assigned."""
    carried = carry_places(SAME_VIEW, [square(0, 0)], [], size_px=(600, 300))
    assert [place.proposal for place in carried.places] == [None]
