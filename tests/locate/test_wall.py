"""The lamp's change told by what stays on the shelf."""

import cv2
import numpy as np

from colscan.locate.carry import Homography
from colscan.locate.wall import lamp_change, surroundings

SIZE = (600, 450)
FACE = np.array([(240.0, 200.0), (360, 200), (360, 330), (240, 330)])


def photo(lamp: tuple[float, float, float], *, face: tuple[float, float, float], matrix=None) -> np.ndarray:
    """A wall brighter on one side, a shelf's edge, and a bag, in linear light coded as sRGB."""
    x = np.linspace(0.15, 0.4, SIZE[0])[None, :, None]
    light = np.broadcast_to(x * np.array([0.9, 1.0, 0.8]), (SIZE[1], SIZE[0], 3)).copy()
    light[350:365] = 0.3
    light[200:330, 240:360] = face
    light = light * lamp
    coded = 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light.clip(0) ** (1 / 2.4) - 0.055)
    rgb = np.round(coded.clip(0, 255)).astype(np.uint8)
    return rgb if matrix is None else cv2.warpPerspective(rgb, matrix, SIZE, borderMode=cv2.BORDER_REPLICATE)


def change_of(matrix: np.ndarray) -> Homography:
    """As if registered."""
    return Homography(matrix=matrix, likeness=0.9, points=50)


def test_the_colour_of_the_lamp_is_told_whatever_grows_on_the_bag():
    """Twice as warm, a little moved, the bag white now: by the wall alone, to 3 %."""
    moved = np.array([[1.05, 0.01, 12.0], [0.0, 1.04, -8.0], [0.0, 0.0, 1.0]])
    before, lamp = photo((1.0, 1.0, 1.0), face=(0.08, 0.06, 0.05)), (1.3, 1.0, 0.65)
    today = photo(lamp, face=(0.5, 0.5, 0.45), matrix=moved)
    face = cv2.perspectiveTransform(FACE[None], moved)[0]
    told = lamp_change(surroundings(before, [FACE]), surroundings(today, [face]), change_of(moved))
    assert told is not None
    np.testing.assert_allclose(told, lamp, rtol=0.03)


def test_brightness_alone_is_no_colour():
    """Half the light: every channel the same."""
    before, today = (photo((k, k, k), face=(0.1, 0.1, 0.1)) for k in (1.0, 0.5))
    told = lamp_change(surroundings(before, [FACE]), surroundings(today, [FACE]), change_of(np.eye(3)))
    assert told is not None
    np.testing.assert_allclose(told, 1.0, rtol=0.03)


def test_nothing_in_common_tells_nothing():
    """The later photo shows another part of the room."""
    known, today = (surroundings(photo((1, 1, 1), face=(0.1, 0.1, 0.1)), [FACE]) for _ in range(2))
    away = np.array([[1.0, 0, 5000], [0, 1, 0], [0, 0, 1]])
    assert lamp_change(known, today, change_of(away)) is None
