"""A suspect patch in the kept photos → crops of it, and of the same place where it wasn't found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from colscan.app.kept_pictures import keep_picture, original_of
from colscan.errors import PhotoError, TrialError
from colscan.ledger import Ledger
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.locate.cards import CARD_MM, cover_cards
from colscan.locate.model import Points
from colscan.photo.load import load_rgb
from colscan.photo.model import ImageRGB
from colscan.present.crop import cut_out
from colscan.present.overlay import encode_jpeg
from colscan.trial.model import Trial
from colscan.units import days_between

FOLDER = Path("cache") / "patches"
MOST_VIEWS = 8
"""Photos of one patch: a daily scan has dozens, each takes a fifth of a second to decode."""
MOST_PX = 600
"""Width and height of a crop at most: as wide as a page shows it."""
LEAST_MM = 40.0
"""Width of the crop at least: a small spot is told by what it grows in."""
MARGIN_MM = 12.0
"""Around the largest outline of the patch."""
# Part of each crop's name in the cache: another one when crops are cut or encoded in another way.
_VERSION = 1
# For a ledger without any scale.
_USUAL_MM_PER_PX = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchView:
    """The place of a patch in one photo.

    Parameters
    ----------
    photo_sha256, photo : str
        Which photo, and its name as given.
    taken_at : datetime
        When it was taken.
    day : float
        The bag's age then, days since inoculation.
    jpeg : bytes
        The crop, upright as the photo is; at the photo's resolution unless that is wider than `MOST_PX`.
    width_px, height_px : int
        Its size.
    outline : tuple of (float, float)
        The patch's polygon in px of the crop; empty where it wasn't found.
    area_mm2 : float or None
        Its area; None where it wasn't found.
    mm_per_px : float or None
        Scale of the crop; None where the photo's isn't known.
    """

    photo_sha256: str
    photo: str
    taken_at: datetime
    day: float
    jpeg: bytes
    width_px: int
    height_px: int
    outline: tuple[tuple[float, float], ...]
    area_mm2: float | None
    mm_per_px: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Place:
    """Where in a photo the patch is, or would be: its middle and the crop's side, px."""

    photo: PhotoRow
    score: ScoreRow
    found: SuspectRow | None
    centre_px: Points
    side_px: float


def patch_views(
    trial_dir: Path, trial: Trial, ledger: Ledger, bag: str, patch: str, *, covers_cards: bool = False
) -> tuple[PatchView, ...]:
    """Return crops of a suspect patch and of the same place on the face in other photos, newest first.

    All show about as many millimetres, at least `LEAST_MM`. Where the patch wasn't found its place is
    carried over from the nearest photo in which it was, by the box around the face's outline; never beyond
    a day on which the bag was shaken, turned or opened. Of many photos `MOST_VIEWS` are chosen: the newest,
    the first with the patch, the last before it, others evenly over time. Photos that are gone or damaged
    are left out; `left_out` names them.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder; crops are kept in its `cache/`.
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    bag, patch : str
        The bag's code, and the patch's name within it.
    covers_cards : bool
        Whether cards are painted over: they may say what a bag got.

    Raises
    ------
    TrialError
        When there is no such bag, or no such patch on it.
    """
    planned = trial.bag(bag)
    if planned is None:
        msg = f"There is no bag {bag!r} in the trial {trial.name}."
        raise TrialError(msg, "Its bags stand in bags.csv.")
    views = []
    for place in _choose(_find_places(ledger, bag, patch)):
        try:
            day = days_between(planned.inoculated_at, place.score.taken_at)
            view = _view(trial_dir, place, day=day, covers_cards=covers_cards)
        except PhotoError:
            continue
        views.append(view)
    return tuple(reversed(views))


def left_out(ledger: Ledger, bag: str, patch: str, *, views: Sequence[PatchView]) -> tuple[str, ...]:
    """Return the names of photos, newest first, that should be among the views but can't be read.

    Parameters
    ----------
    ledger : Ledger
        The rows that count.
    bag, patch : str
        The bag's code, and the patch's name within it.
    views : sequence of PatchView
        What `patch_views` gave of the same ledger.
    """
    shown = {view.photo_sha256 for view in views}
    chosen = reversed(_choose(_find_places(ledger, bag, patch)))
    return tuple(place.photo.photo for place in chosen if place.photo.photo_sha256 not in shown)


def _find_places(ledger: Ledger, bag: str, patch: str) -> list[_Place]:
    """Return the patch's place in each photo of the bag that can have it, in order of time."""
    found = {row.photo_sha256: row for row in ledger.suspects if (row.bag, row.patch) == (bag, patch)}
    if not found:
        msg = f"Bag {bag} has no patch {patch!r}."
        raise TrialError(msg, "Its patches stand in suspects.csv.")
    photos = {row.photo_sha256: row for row in ledger.photos}
    scores = [row for row in ledger.scores if row.bag == bag and row.outline and row.photo_sha256 in photos]
    seen = [(row, found[row.photo_sha256]) for row in scores if row.photo_sha256 in found]
    side_mm = max([LEAST_MM, *(_span_px(own) * _scale(row) + 2 * MARGIN_MM for row, own in seen)])
    places = []
    for row in sorted(scores, key=lambda row: row.taken_at):
        centre = _centre(row, [pair for pair in seen if pair[0].segment == row.segment])
        if centre is None:
            continue
        places.append(
            _Place(
                photo=photos[row.photo_sha256],
                score=row,
                found=found.get(row.photo_sha256),
                centre_px=centre,
                side_px=side_mm / _scale(row),
            )
        )
    return places


def _scale(row: ScoreRow) -> float:
    return row.mm_per_px or _USUAL_MM_PER_PX


def _span_px(patch: SuspectRow) -> float:
    return float(np.ptp(np.array(patch.outline), axis=0).max()) if patch.outline else 0.0


def _centre(row: ScoreRow, seen: Sequence[tuple[ScoreRow, SuspectRow]]) -> Points | None:
    """Return the middle of the patch, carried over from the nearest of some sightings; None without one."""
    if not seen:
        return None
    there, patch = min(seen, key=lambda pair: abs(pair[0].taken_at - row.taken_at))
    middle = np.array((patch.x_px, patch.y_px))
    if patch.outline:
        corners = np.array(patch.outline)
        middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
    if there.photo_sha256 == row.photo_sha256:
        return middle
    before, now = np.array(there.outline), np.array(row.outline)
    share = (middle - before.min(axis=0)) / np.maximum(np.ptp(before, axis=0), 1.0)
    return np.asarray(now.min(axis=0) + share * np.ptp(now, axis=0))


def _choose(places: Sequence[_Place]) -> list[_Place]:
    if len(places) <= MOST_VIEWS:
        return list(places)
    last = len(places) - 1
    first = next(index for index, place in enumerate(places) if place.found)
    kept = dict.fromkeys((last, first, max(0, first - 1)))
    free = [index for index in range(last) if index not in kept]
    evenly = np.linspace(0, len(free) - 1, MOST_VIEWS - len(kept)).round().astype(int)
    return [places[index] for index in sorted({*kept, *(free[at] for at in evenly)})]


def _view(trial_dir: Path, place: _Place, *, day: float, covers_cards: bool) -> PatchView:
    x0, y0, x1, y1 = _box(place)
    shrunk = min(1.0, MOST_PX / max(x1 - x0, y1 - y0))
    width, height = max(1, round((x1 - x0) * shrunk)), max(1, round((y1 - y0) * shrunk))
    outline = place.found.outline if place.found else ()
    # From the middle of the photo's first pixel to the middle of the crop's.
    inside = [((x - x0 + 0.5) * shrunk - 0.5, (y - y0 + 0.5) * shrunk - 0.5) for x, y in outline]
    return PatchView(
        photo_sha256=place.photo.photo_sha256,
        photo=place.photo.photo,
        taken_at=place.score.taken_at,
        day=day,
        jpeg=crop_jpeg(
            trial_dir,
            place.photo,
            box=(x0, y0, x1, y1),
            size=(width, height),
            card_px=card_reach_px(place.score) if covers_cards else None,
        ),
        width_px=width,
        height_px=height,
        outline=tuple(inside),
        area_mm2=place.found.area_mm2 if place.found else None,
        mm_per_px=place.score.mm_per_px / shrunk if place.score.mm_per_px else None,
    )


def _box(place: _Place) -> tuple[int, int, int, int]:
    """Return x0, y0, x1, y1 of the crop, moved into the photo where it would reach beyond its edge."""
    whole = np.array((place.photo.width_px, place.photo.height_px))
    side = np.minimum(max(1, round(place.side_px)), whole)
    low = np.clip(np.round(place.centre_px - side / 2).astype(int), 0, whole - side)
    return int(low[0]), int(low[1]), int(low[0] + side[0]), int(low[1] + side[1])


def card_reach_px(score: ScoreRow) -> float:
    """Return how far a card at a bag reaches at most, px."""
    return float(np.hypot(*CARD_MM)) / _scale(score)


def crop_jpeg(
    trial_dir: Path,
    photo: PhotoRow,
    *,
    box: tuple[int, int, int, int],
    size: tuple[int, int],
    card_px: float | None = None,
) -> bytes:
    """Return a part of a kept photo as a JPEG file, from the cache when it is whole there.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    photo : PhotoRow
        Which photo.
    box : tuple of int
        x0, y0, x1, y1 of the part, px of the upright photo; the last ones lie outside it.
    size : tuple of int
        Width and height of the picture, px.
    card_px : float or None
        To paint over its cards, how far one reaches: those that the box cuts must be found as well. None to
        leave them.

    Raises
    ------
    PhotoError
        When the photo is gone, damaged, or another one than was scanned.
    """
    path = original_of(trial_dir, photo)
    made_of = f"{_VERSION} {photo.photo_sha256} {box} {size}{'' if card_px is None else f' {card_px:.0f}'}"
    return keep_picture(
        trial_dir / FOLDER, made_of, lambda: _cut(path, photo, box=box, size=size, card_px=card_px)
    )


def _cut(
    path: Path,
    photo: PhotoRow,
    *,
    box: tuple[int, int, int, int],
    size: tuple[int, int],
    card_px: float | None,
) -> bytes:
    # The size was checked when the photo was scanned.
    rgb = load_rgb(path, max_megapixels=np.inf)
    if rgb.shape[:2] != (photo.height_px, photo.width_px):
        msg = f"{photo.photo}: has other pixels than when it was scanned."
        raise PhotoError(msg, "Put the photo back as it was.")
    return encode_jpeg(cut_out(rgb if card_px is None else _without_cards(rgb, box, card_px), box, size=size))


def _without_cards(rgb: ImageRGB, box: tuple[int, int, int, int], card_px: float) -> ImageRGB:
    """The photo without the cards that lie in a box, whole or in part."""
    height, width = rgb.shape[:2]
    reach = int(np.ceil(card_px))
    x0, y0, x1, y1 = box
    rows = slice(max(0, y0 - reach), min(height, y1 + reach))
    columns = slice(max(0, x0 - reach), min(width, x1 + reach))
    covered = rgb.copy()
    covered[rows, columns] = cover_cards(rgb[rows, columns])
    return covered
