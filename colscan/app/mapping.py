"""A shelf map: the bags without a card that a photo shows, proposed, named by the grower, and kept."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from colscan.app.batch.originals import find_by_hash, keep_original
from colscan.app.put import put_file
from colscan.errors import LedgerError, PhotoError, TrialError
from colscan.locate import Points, find_shown
from colscan.photo import PhotoRef, load_rgb
from colscan.photo.model import ImageRGB
from colscan.present.overlay import draw_outlines, encode_jpeg
from colscan.trial.model import Bag, Trial
from colscan.trial.shelfmap import Place, ShelfMap, write_shelfmap

# A box that somebody gives has at least this side.
_LEAST_BOX_PX = 20
# What a file's name had better not hold.
_ODD = re.compile(r"[^\w-]")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposed:
    """What a photo shows.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo.
    outlines_px : tuple of ndarray
        The bags without a card of this trial, top to bottom and left to right: number 1, 2, ...
    carded : tuple of (str, ndarray)
        Bags that their card names.
    """

    rgb: ImageRGB
    outlines_px: tuple[Points, ...]
    carded: tuple[tuple[str, Points], ...]


def propose_map(ref: PhotoRef, trial: Trial) -> Proposed:
    """The bags that a photo shows, those with a card by name.

    Raises
    ------
    PhotoError
        When the photo can't be read, or shows no bag without a card.
    """
    shown = look_at(ref, trial)
    if not shown.outlines_px:
        msg = f"{ref.name}: no bag without a card was found in it."
        raise PhotoError(msg, "Photograph the shelf from the front, every bag whole in view.")
    return shown


def look_at(ref: PhotoRef, trial: Trial) -> Proposed:
    """The bags that a photo shows, those with a card by name; it may show none without.

    Raises
    ------
    PhotoError
        When the photo can't be read.
    """
    rgb = load_rgb(ref.path, max_megapixels=trial.limits.max_photo_megapixels)
    shown = find_shown(rgb)
    codes = {bag.tag: bag.bag for bag in trial.bags if bag.tag is not None}
    carded = tuple((codes[tag], outline) for tag, outline in shown.carded if tag in codes)
    return Proposed(rgb=rgb, outlines_px=shown.uncarded, carded=carded)


def bags_to_place(trial: Trial, shelf: str | None, carded: Sequence[str]) -> tuple[Bag, ...]:
    """The trial's bags that stand on a shelf and that no card names, in the order of bags.csv."""
    return tuple(
        bag
        for bag in trial.bags
        if bag.tag is None and bag.bag not in carded and (shelf is None or bag.shelf in (None, shelf))
    )


def accept_all(proposed: Proposed, bags: Sequence[Bag]) -> dict[int, str]:
    """Number to bag, in order.

    Raises
    ------
    TrialError
        When there are not as many bags as numbers.
    """
    if len(bags) != len(proposed.outlines_px):
        msg = f"The photo shows {len(proposed.outlines_px)} bags without a card, bags.csv has {len(bags)}."
        hint = "Drop what is no bag with --drop, add a bag with --add, or name those you see with --set."
        raise TrialError(msg, hint)
    return {number: bag.bag for number, bag in enumerate(bags, start=1)}


def with_boxes(proposed: Proposed, boxes: Sequence[tuple[float, float, float, float]]) -> Proposed:
    """With boxes (left, top, right, bottom, px) as further outlines, numbered after the others.

    Raises
    ------
    TrialError
        When a box does not lie in the photo.
    """
    height, width = proposed.rgb.shape[:2]
    added = []
    for left, top, right, bottom in boxes:
        if not (0 <= left <= right - _LEAST_BOX_PX <= width and 0 <= top <= bottom - _LEAST_BOX_PX <= height):
            msg = (
                f"The box {left:g},{top:g},{right:g},{bottom:g} is no part of a photo of {width} x {height}."
            )
            raise TrialError(msg, "Give left,top,right,bottom in pixels of the photo.")
        added.append(np.array([(left, top), (right, top), (right, bottom), (left, bottom)]))
    outlines = (*proposed.outlines_px, *added)
    return Proposed(rgb=proposed.rgb, outlines_px=outlines, carded=proposed.carded)


def without_numbers(proposed: Proposed, dropped: Sequence[int]) -> Proposed:
    """Without what is no bag; the others keep their order and are numbered anew.

    Raises
    ------
    TrialError
        When there is no such number.
    """
    _check_numbers(proposed, dropped)
    kept = tuple(o for number, o in enumerate(proposed.outlines_px, start=1) if number not in dropped)
    return Proposed(rgb=proposed.rgb, outlines_px=kept, carded=proposed.carded)


def _check_numbers(proposed: Proposed, numbers: Sequence[int]) -> None:
    count = len(proposed.outlines_px)
    for number in numbers:
        if not 1 <= number <= count:
            msg = f"The photo shows no bag {number}."
            raise TrialError(msg, f"The numbers go from 1 to {count}, as drawn on the picture.")


def keep_map(
    folder: Path, ref: PhotoRef, proposed: Proposed, names: Mapping[int, str], shelf: str
) -> ShelfMap:
    """Store a map, and its photo among the trial's originals: later photos are laid onto it.

    Raises
    ------
    TrialError
        When there is no such number, or a bag is named twice.
    LedgerError
        When it can't be written.
    """
    _check_numbers(proposed, list(names))
    twice = sorted({bag for bag in names.values() if list(names.values()).count(bag) > 1})
    if twice:
        msg = f"{', '.join(twice)}: named for two places."
        raise TrialError(msg, "Give each bag one number.")
    made = ShelfMap(
        shelf=shelf,
        photo=ref.name,
        photo_sha256=ref.sha256,
        width_px=proposed.rgb.shape[1],
        height_px=proposed.rgb.shape[0],
        places=tuple(
            Place(
                bag=bag, outline_px=tuple((float(x), float(y)) for x, y in proposed.outlines_px[number - 1])
            )
            for number, bag in sorted(names.items())
        ),
    )
    if find_by_hash(folder, ref.sha256) is None:
        keep_original(folder, ref)
    write_shelfmap(folder, made)
    return made


def draw_map(folder: Path, proposed: Proposed, names: Mapping[int, str], shelf: str) -> Path:
    """Draw the proposal, numbered and named, and return where the picture is: in the trial's ``overlays/``.

    Raises
    ------
    LedgerError
        When the picture can't be written.
    """
    numbered = [
        (f"{number}  {names[number]}" if number in names else f"{number}", outline)
        for number, outline in enumerate(proposed.outlines_px, start=1)
    ]
    target = folder / "overlays" / f"map-{_ODD.sub('-', shelf)}.jpg"
    picture = draw_outlines(proposed.rgb, [*numbered, *proposed.carded])
    try:
        put_file(target, encode_jpeg(picture))
    except OSError as error:
        msg = f"{target}: can't be written ({error.strerror})."
        raise LedgerError(msg, "Make room on the disk, or make the trial's folder writable.") from error
    return target
