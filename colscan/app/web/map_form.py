"""The outlines and names that the form of a shelf's map says, each checked."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from colscan.app.calls import known_bag
from colscan.errors import TrialError
from colscan.locate import Points
from colscan.trial.model import Trial
from colscan.trial.shelfmap import LEAST_CORNERS

MOST_CORNERS = 32
"""As many as a proposed outline may have."""
MOST_OUTLINES = 300
LEAST_AREA_PX2 = 400.0
"""A box of 20 px a side: less is no bag's face but a slip of the hand."""
DRAW_AGAIN = "Go back, reload the page and draw it again."


def parse_outlines(text: str, *, width_px: int, height_px: int) -> tuple[Points, ...]:
    """Return the outlines that a form's field holds, as a JSON list of lists of [x, y] in px of the photo.

    Parameters
    ----------
    text : str
        The field.
    width_px, height_px : int
        The photo's size.

    Raises
    ------
    TrialError
        When it is no such list, or a corner is no point of the photo.
    """
    try:
        said = json.loads(text)
    except (ValueError, RecursionError) as error:
        msg = "The outlines are no JSON."
        raise TrialError(msg, DRAW_AGAIN) from error
    if not isinstance(said, list) or len(said) > MOST_OUTLINES:
        msg = f"The outlines are no list of at most {MOST_OUTLINES}."
        raise TrialError(msg, DRAW_AGAIN)
    return tuple(_parse_outline(n, one, width_px, height_px) for n, one in enumerate(said, start=1))


def _parse_outline(number: int, corners: Any, width_px: int, height_px: int) -> Points:
    if not (isinstance(corners, list) and LEAST_CORNERS <= len(corners) <= MOST_CORNERS):
        msg = f"Number {number} has not {LEAST_CORNERS} to {MOST_CORNERS} corners."
        raise TrialError(msg, DRAW_AGAIN)
    for corner in corners:
        if not (
            isinstance(corner, list)
            and len(corner) == 2
            and all(type(value) in (int, float) for value in corner)
            # False for what is no number, and for what is too large for one.
            and 0 <= corner[0] <= width_px
            and 0 <= corner[1] <= height_px
        ):
            msg = f"Number {number} has a corner that is no point of a photo of {width_px} x {height_px}."
            raise TrialError(msg, DRAW_AGAIN)
    return np.array(corners, np.float64)


def check_outlines(outlines_px: Sequence[Points]) -> None:
    """Refuse (`TrialError`) an outline that is too small, or whose sides cross."""
    for number, corners in enumerate(outlines_px, start=1):
        if _crosses_itself(corners):
            msg = f"The sides of number {number} cross."
            raise TrialError(msg, "Drag its corners apart, or remove it and add it anew.")
        if _area_px2(corners) < LEAST_AREA_PX2:
            msg = f"Number {number} is smaller than {LEAST_AREA_PX2:.0f} px²."
            raise TrialError(msg, "Drag its corners apart, or remove it.")


def read_names(trial: Trial, codes: Sequence[str], count: int) -> dict[int, str]:
    """Return which bag each number is, from the form's fields in the order of the numbers; empty is no bag.

    Parameters
    ----------
    trial : Trial
        The plan.
    codes : sequence of str
        A bag's code or nothing, a number each.
    count : int
        How many outlines there are.

    Raises
    ------
    TrialError
        When there are not as many, a bag is unknown, has a card or comes twice, or none is named.
    """
    if len(codes) != count:
        msg = f"The form names {len(codes)} places and has {count} outlines."
        raise TrialError(msg, DRAW_AGAIN)
    names: dict[int, str] = {}
    for number, code in enumerate(codes, start=1):
        if not code:
            continue
        bag = known_bag(trial, code)
        if bag.tag is not None:
            msg = f"{bag.bag} has a card (tag {bag.tag})."
            raise TrialError(msg, "A card tells where it stands; the map is for bags without one.")
        if bag.bag in names.values():
            msg = f"{bag.bag} is named for two places."
            raise TrialError(msg, "Give each bag one number.")
        names[number] = bag.bag
    if not names:
        msg = "No number has a bag."
        raise TrialError(msg, "Choose a bag for each number that is one.")
    return names


def _area_px2(corners: Points) -> float:
    x, y = corners.T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def _crosses_itself(corners: Points) -> bool:
    """Whether two sides that aren't neighbours touch, or a corner stands where another does."""
    count = len(corners)
    ends = [(tuple(corners[i]), tuple(corners[(i + 1) % count])) for i in range(count)]
    if len({start for start, _ in ends}) < count:
        return True
    return any(
        _touch(*ends[i], *ends[k]) for i in range(count) for k in range(i + 2, count) if (k + 1) % count != i
    )


def _touch(a: tuple[float, ...], b: tuple[float, ...], c: tuple[float, ...], d: tuple[float, ...]) -> bool:
    sides = _side(a, b, c) * _side(a, b, d), _side(c, d, a) * _side(c, d, b)
    if max(sides) > 0:
        return False
    # In line with each other they touch where their boxes do.
    return all(min(a[i], b[i]) <= max(c[i], d[i]) and min(c[i], d[i]) <= max(a[i], b[i]) for i in range(2))


def _side(a: tuple[float, ...], b: tuple[float, ...], c: tuple[float, ...]) -> float:
    """The sign of the side of a line on which a point lies."""
    return float(np.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])))
