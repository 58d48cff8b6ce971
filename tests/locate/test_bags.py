"""A drawn or rendered photo → views whose faces, masks and flags are right."""

from __future__ import annotations

import json
import time
from pathlib import Path

import cv2
import numpy as np
import pytest
from locate.scene import MM_PER_PX, Scene, draw_scene
from numpy.testing import assert_allclose, assert_array_equal

from colscan.flags import Flag
from colscan.locate import locate_bags
from colscan.locate.cards import filled
from colscan.locate.model import BagView


def overlap(view: BagView, block: np.ndarray) -> float:
    """Intersection over union of a view's outline and the true block."""
    got = filled(view.outline_px, block.shape)
    return float((got & block).sum() / (got | block).sum())


def on_photo(view: BagView, mask: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """A mask of a view's crop laid into a mask of its photo."""
    whole = np.zeros(shape, bool)
    x, y = view.origin_px
    whole[y : y + mask.shape[0], x : x + mask.shape[1]] = mask
    return whole


BROWN, WHITE = (0.08, 0.055, 0.04), (0.5, 0.49, 0.46)
SCENES = {
    "brown, grey wall": {"block": BROWN},
    "brown, white wall": {"block": BROWN, "wall": (0.7, 0.7, 0.68)},
    "brown, dark wall": {"block": (0.2, 0.14, 0.1), "wall": (0.04, 0.04, 0.045)},
    "white, grey wall": {"block": WHITE, "wall": (0.25, 0.26, 0.25)},
    "white, dark wall": {"block": WHITE, "wall": (0.04, 0.04, 0.045)},
    "narrow": {"block": BROWN, "box_mm": (-62, -50, 68, 150)},
    "card at the left, fill line": {"block": BROWN, "box_mm": (-52, -24, 138, 170)},
    "dim light": {"block": BROWN, "light": 0.25},
}


@pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES.keys())
def test_face_is_the_block(scene: dict) -> None:
    """The outline of a drawn block agrees with it, whatever its colour, the wall's, and its size."""
    drawn = draw_scene(**scene)
    (view,) = locate_bags(drawn.rgb).views
    assert overlap(view, drawn.block) > 0.93
    assert len(view.outline_px) <= 32
    assert view.flags == ()
    assert_allclose(view.mm_per_px, MM_PER_PX, rtol=0.02)


def test_view_is_a_crop_of_the_photo() -> None:
    """The view's pixels are the photo's, and its face is its outline."""
    drawn = draw_scene()
    (view,) = locate_bags(drawn.rgb).views
    x, y = view.origin_px
    height, width = view.face.shape
    assert_array_equal(view.rgb, drawn.rgb[y : y + height, x : x + width])
    whole = on_photo(view, view.face, drawn.block.shape)
    assert_array_equal(whole, filled(view.outline_px, drawn.block.shape))
    assert not (view.hidden & ~view.face).any()


def test_card_is_hidden_and_little_else() -> None:
    """All of the card on the face is hidden; of the rest of the face less than a fiftieth."""
    drawn = draw_scene()
    (view,) = locate_bags(drawn.rgb).views
    hidden = on_photo(view, view.hidden, drawn.block.shape)
    face = on_photo(view, view.face, drawn.block.shape)
    card = filled(drawn.card_px, drawn.block.shape)
    assert hidden[card & face].mean() > 0.99
    assert hidden[face & ~card].mean() < 0.02


def test_rod_before_the_bag_is_hidden() -> None:
    """A bright rod across the lower face and the wall beside it is taken out with what is below it."""
    drawn = draw_scene(rod_mm=132)
    (view,) = locate_bags(drawn.rgb).views
    hidden = on_photo(view, view.hidden, drawn.block.shape)
    face = on_photo(view, view.face, drawn.block.shape)
    top = int(132 / MM_PER_PX + 200)
    assert hidden[top + 2 : top + 10][face[top + 2 : top + 10]].mean() > 0.98
    assert hidden[top - 40 : top - 5][face[top - 40 : top - 5]].mean() < 0.01


def test_filter_patch_is_never_seen_as_face() -> None:
    """A white square on the empty bag whose lower edge lies over the block is left out or hidden."""
    drawn = draw_scene(box_mm=(-85, -24, 95, 160))
    rgb = drawn.rgb.copy()
    square = np.zeros(drawn.block.shape, bool)
    square[112:182, 350:415] = True  # 56 x 52 mm, its lower 10 mm before the block
    rgb[square] = (225, 226, 222)
    (view,) = locate_bags(rgb).views
    face = on_photo(view, view.face, drawn.block.shape)
    hidden = on_photo(view, view.hidden, drawn.block.shape)
    assert (face & ~hidden)[square].mean() < 0.02


def test_overlapping_bags_hide_one_another() -> None:
    """Where the faces of two bags overlap the place is hidden in both."""
    left, right = draw_scene(tag=3), draw_scene(tag=4, block=(0.3, 0.28, 0.25))
    rgb = np.hstack([left.rgb[:, :395], right.rgb[:, 205:]])
    first, second = locate_bags(rgb).views
    both = on_photo(first, first.face, rgb.shape[:2]) & on_photo(second, second.face, rgb.shape[:2])
    for view in (first, second):
        assert on_photo(view, view.hidden, rgb.shape[:2])[both].all()


def test_neighbours_do_not_mix() -> None:
    """Two bags side by side keep their own faces; no place is seen in both."""
    left, right = draw_scene(tag=3), draw_scene(tag=4, block=(0.3, 0.28, 0.25))
    first, second = locate_bags(np.hstack([left.rgb[:, :430], right.rgb[:, 180:]])).views
    assert (first.key, second.key) == (3, 4)
    empty = np.zeros_like(left.block)
    assert overlap(first, np.hstack([left.block[:, :430], empty[:, 180:]])) > 0.9
    assert overlap(second, np.hstack([empty[:, :430], right.block[:, 180:]])) > 0.9


def test_repeated_tag_has_no_view() -> None:
    """A tag that stands twice is named and has no view; the other bags have theirs."""
    twice, other = draw_scene(tag=5).rgb, draw_scene(tag=6).rgb
    sighting = locate_bags(np.hstack([twice, other, twice]))
    assert sighting.repeated_tags == (5,)
    assert [view.key for view in sighting.views] == [6]


def test_shelf_card_has_no_view() -> None:
    """Tags 580 to 586 are shelf cards, not bags."""
    sighting = locate_bags(draw_scene(tag=581).rgb)
    assert sighting.views == ()
    assert sighting.repeated_tags == ()


def test_bag_cut_by_the_photo_is_flagged() -> None:
    """A bag that runs out of the photo at its right gets `cut-off`, and its outline stays within."""
    drawn = draw_scene()
    rgb = drawn.rgb[:, :380]
    (view,) = locate_bags(rgb).views
    assert Flag.CUT_OFF in view.flags
    assert view.outline_px[:, 0].max() <= rgb.shape[1] - 1
    assert overlap(view, drawn.block[:, :380]) > 0.85


def test_card_without_a_block_is_unsure() -> None:
    """A card on a bare wall has no outline to find: the usual rectangle and `face-unsure`."""
    drawn = draw_scene(box_mm=(-1, -1, 1, 1))
    (view,) = locate_bags(drawn.rgb).views
    assert Flag.FACE_UNSURE in view.flags


def test_no_cards_no_views() -> None:
    """A photo of nothing has no views."""
    assert locate_bags(np.full((100, 120, 3), 90, np.uint8)).views == ()


def rendered(bench: Path, name: str) -> tuple[np.ndarray, dict, np.ndarray]:
    """A rendered photo with its truth."""
    folder = bench / "dev" / name
    truth = json.loads((folder / "truth.json").read_text())
    rgb = cv2.cvtColor(cv2.imread(str(folder / truth["photo"])), cv2.COLOR_BGR2RGB)
    return rgb, truth, cv2.imread(str(folder / "truth.png"), cv2.IMREAD_UNCHANGED)


@pytest.mark.parametrize("name", ["oakrack-d12", "mixed-d10", "outbreak-d14", "bigrack-d08"])
def test_rendered_shelves(bench: Path, name: str) -> None:
    """Every bag of a rendered shelf is found, its face within .90 of the truth, its scale within 6 %."""
    rgb, truth, labels = rendered(bench, name)
    begin = time.process_time()
    views = {view.key: view for view in locate_bags(rgb).views}
    assert time.process_time() - begin < 10
    assert sorted(views) == [bag["tag"] for bag in truth["bags"]]
    for bag in truth["bags"]:
        view = views[bag["tag"]]
        assert overlap(view, labels[..., 2] == bag["tag"]) > 0.90
        assert_allclose(view.mm_per_px, bag["mm_per_px"], rtol=0.06)


def test_rendered_hidden_places(bench: Path) -> None:
    """On the upper tiers the rods are found: nine tenths of what is hidden, and little that isn't."""
    rgb, truth, labels = rendered(bench, "bigrack-d08")
    views = {view.key: view for view in locate_bags(rgb).views}
    shares = []
    for tag in (bag["tag"] for bag in truth["bags"]):
        hidden = on_photo(views[tag], views[tag].hidden, labels.shape[:2])
        block = labels[..., 2] == tag
        covered = block & (labels[..., 1] == 0)
        shares.append(
            ((hidden & covered).sum() / covered.sum(), (hidden & block & ~covered).sum() / block.sum())
        )
    found, wrong = np.array(shares).T
    assert np.median(found) > 0.9
    assert np.median(wrong) < 0.05


def test_scene_is_drawn_as_said() -> None:
    """The drawn block has the size it was asked for: the tests above hold against a true measure."""
    drawn: Scene = draw_scene(box_mm=(-80, -40, 80, 120))
    rows, columns = np.flatnonzero(drawn.block.any(1)), np.flatnonzero(drawn.block.any(0))
    assert_allclose([np.ptp(columns) * MM_PER_PX, np.ptp(rows) * MM_PER_PX], [160, 160], atol=2)
