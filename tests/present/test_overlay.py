"""The annotated photo: marks where the rows say, legible, nothing changed that was given."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hornbeam import score, suspect
from PIL import Image

from colscan.flags import Flag
from colscan.ledger.columns import ScoreRow, SuspectRow
from colscan.photo.model import ImageRGB
from colscan.present.face_marks import EDGE_COLOUR, FaceMarks
from colscan.present.overlay import ALARM_COLOUR, EXPECTED_COLOUR, FACE_COLOUR, draw_overlay, encode_jpeg

FACE = ((200.0, 150.0), (400.0, 150.0), (400.0, 400.0), (200.0, 400.0))
PATCH = ((300.0, 250.0), (330.0, 250.0), (330.0, 280.0), (300.0, 280.0))


def _photo(value: int) -> ImageRGB:
    return np.full((600, 800, 3), value, dtype=np.uint8)


def _face(**other: object) -> ScoreRow:
    return score("B1", 9, 62.4, outline=FACE, **other)


def _patch(**other: object) -> SuspectRow:
    return suspect("B1", 9, **{"x_px": 315.0, "y_px": 265.0, "outline": PATCH, **other})


def _near(image: ImageRGB, colour: tuple[int, int, int]) -> np.ndarray:
    return np.abs(image.astype(int) - colour).max(axis=2) < 12


def test_the_input_stays_as_it_is() -> None:
    """A new picture of the same size and type; without rows it is a plain copy."""
    photo = _photo(120)
    before = photo.copy()
    drawn = draw_overlay(photo, [_face()], [_patch()], {})
    np.testing.assert_array_equal(photo, before)
    assert (drawn.shape, drawn.dtype) == (photo.shape, photo.dtype)
    plain = draw_overlay(photo, [], [], {})
    np.testing.assert_array_equal(plain, photo)
    assert not np.shares_memory(plain, photo)


@pytest.mark.parametrize("value", [0, 255])
def test_lines_stand_out_on_dark_and_on_light_photos(value: int) -> None:
    """White on black casing along the face, yellow on black casing round the patch."""
    drawn = draw_overlay(_photo(value), [_face()], [_patch()], {})
    assert _near(drawn, FACE_COLOUR)[200:350, 198:203].any(axis=1).all()
    assert (drawn[200:350, 194:207].max(axis=2) < 64).any(axis=1).all()
    assert _near(drawn, ALARM_COLOUR)[230:300, 285:345].any()


def test_the_bag_stays_visible() -> None:
    """Face and patch themselves are not drawn over, but for thin lines and the patch's name."""
    photo = _photo(120)
    drawn = draw_overlay(photo, [_face()], [_patch()], {})
    changed = (drawn != photo).any(axis=2)
    assert not changed[252:278, 302:328].any(), "the patch is seen whole"
    assert changed[152:398, 202:398].mean() < 0.15


def test_names_stand_by_what_they_name() -> None:
    """Letters of the face's colour under the face, of the patch's colour beside its ring."""
    drawn = draw_overlay(_photo(120), [_face()], [_patch()], {})
    assert _near(drawn, FACE_COLOUR)[404:440, 220:380].sum() > 50
    alarm = np.argwhere(_near(drawn, ALARM_COLOUR))
    assert (np.abs(alarm - (265, 315)) < 150).all()


def test_expected_looks_are_drawn_in_grey() -> None:
    """What the strain shows when well is noted without an alarm."""
    drawn = draw_overlay(_photo(0), [_face()], [_patch(kind="amber", flags=(Flag.EXPECTED,))], {})
    assert _near(drawn, EXPECTED_COLOUR).sum() > 50
    assert not _near(drawn, ALARM_COLOUR).any()


def _count_letters(x: float, y: float) -> int:
    """Bright pixels of the name of a point-like patch, those of the ring round it left out."""
    bright = _near(draw_overlay(_photo(0), [], [_patch(x_px=x, y_px=y, outline=((x, y),))], {}), ALARM_COLOUR)
    rows, columns = np.nonzero(bright)
    return int((np.maximum(np.abs(rows - y), np.abs(columns - x)) > 17).sum())


@pytest.mark.parametrize(
    "corner", [(0.0, 0.0), (799.0, 0.0), (0.0, 599.0), (799.0, 599.0)], ids=lambda corner: f"{corner}"
)
def test_names_at_the_edge_are_moved_into_the_picture(corner: tuple[float, float]) -> None:
    """A patch in a corner still has its whole name: as many bright letters as in the middle."""
    in_corner, in_middle = _count_letters(*corner), _count_letters(400.0, 300.0)
    assert in_middle > 100
    assert in_corner == pytest.approx(in_middle, rel=0.03)


def test_names_of_neighbouring_patches_dont_cover_each_other() -> None:
    """Three patches close together keep three names."""
    boxes = [((x, 250.0), (x + 8, 250.0), (x + 8, 258.0)) for x in (300.0, 325.0, 350.0)]
    patches = [
        _patch(patch=f"p{i}", x_px=box[0][0], outline=box, kind="green") for i, box in enumerate(boxes, 1)
    ]
    alone = [_near(draw_overlay(_photo(0), [_face()], [one], {}), ALARM_COLOUR).sum() for one in patches]
    together = _near(draw_overlay(_photo(0), [_face()], patches, {}), ALARM_COLOUR).sum()
    assert together > 0.93 * sum(alone)


def test_unmeasured_faces_and_faces_without_outline() -> None:
    """A face that can't be measured is outlined and named; a row without outline is passed over."""
    drawn = draw_overlay(_photo(0), [score("B1", 9, None, outline=FACE)], [], {})
    assert _near(drawn, FACE_COLOUR).sum() > 500
    np.testing.assert_array_equal(draw_overlay(_photo(0), [score("B1", 9, 50)], [], {}), _photo(0))


def test_a_patch_without_outline_gets_a_ring() -> None:
    """Round its centre."""
    drawn = draw_overlay(_photo(0), [_face()], [_patch(outline=())], {})
    ys, xs = np.nonzero(_near(drawn, ALARM_COLOUR)[235:295, 285:345])
    assert ys.size > 20
    assert 270 < xs.min() + 285 < 315 < xs.max() + 285


def test_jpeg_keeps_the_marks_and_nothing_else() -> None:
    """The picture comes back within the losses of JPEG, thin coloured lines too, and without metadata."""
    drawn = draw_overlay(_photo(120), [_face()], [_patch()], {})
    data = encode_jpeg(drawn)
    picture = Image.open(io.BytesIO(data))
    assert not picture.getexif()
    back = np.asarray(picture)
    assert back.shape == drawn.shape
    on_ring = _near(drawn, ALARM_COLOUR)
    assert np.abs(back[on_ring].astype(int) - drawn[on_ring]).mean() < 12


def test_covered_edge_and_unseen_places_are_drawn() -> None:
    """The covered half's edge is sky blue where it lies, hatching fills the unseen third, the rest stays."""
    grid = np.zeros((20, 20), bool)
    covered, seen = grid.copy(), ~grid
    covered[:, :10] = True
    seen[14:, :] = False
    left, top = np.min(FACE, axis=0)
    right, bottom = np.max(FACE, axis=0)
    to_px = np.array([[(right - left) / 19, 0, left], [0, (bottom - top) / 19, top]])
    marks = FaceMarks(covered=covered, seen=seen, to_px=to_px)
    plain = draw_overlay(_photo(120), [_face()], [], {})
    drawn = draw_overlay(_photo(120), [_face()], [], {_face().bag: marks})
    changed = np.any(drawn != plain, axis=2)
    edge_x = left + 9 * (right - left) / 19
    blue = _near(drawn, EDGE_COLOUR)
    middle = int((top + bottom) / 2)
    columns = np.flatnonzero(blue[middle])
    assert abs(columns - edge_x).min() <= 3
    hatched_row = int(top + 17 * (bottom - top) / 19)
    inside = slice(int(left) + 5, int(right) - 5)
    assert 0.1 < changed[hatched_row, inside].mean() < 0.5
    assert changed[middle, int(edge_x) + 8 : int(right) - 5].sum() == 0
