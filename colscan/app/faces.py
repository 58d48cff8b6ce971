"""The kept photos of a trial → pictures of its faces, all in one light and to one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from colscan.app.kept_pictures import original_of
from colscan.errors import PhotoError
from colscan.ledger import Ledger
from colscan.ledger.columns import PhotoRow, ScoreRow
from colscan.locate.cards import cover_cards
from colscan.locate.lights import HeldAgainst, read_lights
from colscan.photo.load import load_small
from colscan.photo.model import ImageRGB
from colscan.present.faces import MARGIN_MM, FacePlace, draw_face
from colscan.trial.model import Bag, Trial
from colscan.units import days_between

WIDTH_PX = 240
"""Of the widest face: what a table of bags and days can show, and what is quick to read."""
_USUAL_MM_PER_PX = 1.0
"""For a ledger without any scale: then pictures are to no scale, and only their shapes matter."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FacePicture:
    """One bag's face in one photo.

    Parameters
    ----------
    bag : Bag
        The bag.
    score : ScoreRow
        What was measured there.
    taken_at : datetime
        When the photo was taken.
    day : float
        The bag's age then, days since inoculation.
    rgb : ndarray, shape (h, w, 3), uint8
        The picture, upright; `present.encode_jpeg` makes a file of it.
    held_against : HeldAgainst
        What told the light that was taken out.
    alt : str
        What it shows, in words.
    """

    bag: Bag
    score: ScoreRow
    taken_at: datetime
    day: float
    rgb: ImageRGB
    held_against: HeldAgainst
    alt: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Faces:
    """Pictures by bag in the plan's order and by time; and the photos that could not be read."""

    pictures: tuple[FacePicture, ...]
    gone: tuple[str, ...]


def face_pictures(
    trial_dir: Path,
    trial: Trial,
    ledger: Ledger,
    *,
    scores: Sequence[ScoreRow] | None = None,
    width_px: int = WIDTH_PX,
    mm_per_px: float | None = None,
    covers_cards: bool = False,
) -> Faces:
    """Return pictures of faces, cut from the kept photos; each photo is decoded once.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    scores : sequence of ScoreRow, optional
        Which faces; all that were found when left out.
    width_px : int
        Width of the widest face, px.
    mm_per_px : float, optional
        Scale of the pictures instead.
    covers_cards : bool
        Whether cards are painted over: they may say what a bag got.
    """
    bags = {bag.bag: bag for bag in trial.bags}
    rows = [row for row in (ledger.scores if scores is None else scores) if row.bag in bags and row.outline]
    shown_mm_per_px = mm_per_px or max((picture_size_mm(row)[0] for row in rows), default=1.0) / width_px
    pictures: list[FacePicture] = []
    gone: list[str] = []
    for photo in ledger.photos:
        there = [row for row in rows if row.photo_sha256 == photo.photo_sha256]
        if not there:
            continue
        try:
            pictures += _pictures_of(
                trial_dir,
                photo,
                there,
                bags=bags,
                shown_mm_per_px=shown_mm_per_px,
                covers_cards=covers_cards,
            )
        except PhotoError:
            gone.append(photo.photo)
    order = {code: index for index, code in enumerate(bags)}
    pictures.sort(key=lambda picture: (order[picture.bag.bag], picture.taken_at))
    return Faces(pictures=tuple(pictures), gone=tuple(gone))


def picture_size_mm(row: ScoreRow) -> tuple[float, float]:
    """Return width and height of a face's picture, mm, as long as its photo needs no turning.

    Parameters
    ----------
    row : ScoreRow
        The face; it has an outline.
    """
    spans = np.ptp(np.array(row.outline), axis=0) * (row.mm_per_px or _USUAL_MM_PER_PX) + 2 * MARGIN_MM
    return float(spans[0]), float(spans[1])


def _pictures_of(
    trial_dir: Path,
    photo: PhotoRow,
    rows: Sequence[ScoreRow],
    *,
    bags: dict[str, Bag],
    shown_mm_per_px: float,
    covers_cards: bool,
) -> list[FacePicture]:
    path = original_of(trial_dir, photo)
    finest = min(row.mm_per_px or _USUAL_MM_PER_PX for row in rows)
    side_px = min(photo.width_px, photo.height_px)
    least_px = max(1, round(side_px * min(1.0, finest / shown_mm_per_px)))
    # The size was checked when the photo was scanned.
    rgb = load_small(path, least_px=least_px, max_megapixels=np.inf)
    shrunk = rgb.shape[1] / photo.width_px
    scales = [(row.mm_per_px or _USUAL_MM_PER_PX) / shrunk for row in rows]
    lights = read_lights(
        rgb,
        [np.array(row.outline) * shrunk for row in rows],
        tags=[bags[row.bag].tag for row in rows],
        mm_per_px=float(np.median(scales)),
    )
    shown = cover_cards(lights.rgb) if covers_cards else lights.rgb
    pictures = []
    for row, outline, light, scale in zip(rows, lights.outlines_px, lights.faces, scales, strict=True):
        place = FacePlace(outline_px=outline, mm_per_px=scale, paper=light.paper)
        day = days_between(bags[row.bag].inoculated_at, row.taken_at)
        pictures.append(
            FacePicture(
                bag=bags[row.bag],
                score=row,
                taken_at=row.taken_at,
                day=day,
                rgb=draw_face(shown, place, shown_mm_per_px=shown_mm_per_px),
                held_against=light.by,
                alt=_describe(bags[row.bag], row, day),
            )
        )
    return pictures


def _describe(bag: Bag, row: ScoreRow, day: float) -> str:
    """What a picture shows, for who doesn't see it."""
    said = [f"Bag {bag.bag}, {bag.strain}, {bag.treatment}, day {day:.1f}"]
    if row.coverage_pct is None:
        said.append("not measured")
    else:
        said.append(f"{row.coverage_pct:.0f} % of the side in view colonized")
    if row.suspects:
        said.append(f"{row.suspects} suspect {'patch' if row.suspects == 1 else 'patches'}")
    return "; ".join(said)
