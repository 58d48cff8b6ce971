"""One bag's face over time: a picture a photo, to one scale and in one light, each made when asked for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from colscan.app.batch.originals import PART
from colscan.app.faces import face_pictures, picture_size_mm
from colscan.app.kept_pictures import keep_picture, original_of
from colscan.errors import PhotoError
from colscan.growth.model import BagRecord
from colscan.ledger import Ledger
from colscan.ledger.columns import PhotoRow, ScoreRow, original_stem
from colscan.present.report.small import encode_small
from colscan.trial.model import Trial
from colscan.units import days_between

FOLDER = Path("cache") / "faces"
WIDTH_PX = 220
"""Of the bag's widest face, at most."""
# Scales go in steps, so that the next photo seldom makes all pictures of the cache useless.
_STEP = 1.15
# Part of each picture's name in the cache: another one when faces are drawn in another way.
_VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One bag's face in one photo, not drawn yet.

    Parameters
    ----------
    photo : PhotoRow
        The photo.
    score : ScoreRow
        What was measured there.
    day : float
        The bag's age then, days since inoculation.
    mm_per_px : float
        Scale of the picture, that of all frames of the bag.
    width_px, height_px : int
        Its size, but for rounding, and for the side that is up in a photo that was taken sideways.
    is_there : bool
        Whether the photo is still kept.
    """

    photo: PhotoRow
    score: ScoreRow
    day: float
    mm_per_px: float
    width_px: int
    height_px: int
    is_there: bool


def film_of(trial_dir: Path, record: BagRecord, ledger: Ledger) -> tuple[Frame, ...]:
    """Return the frames of a bag, newest first; no photo is opened.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    record : BagRecord
        What stands about the bag.
    ledger : Ledger
        The rows that count.
    """
    photos = {row.photo_sha256: row for row in ledger.photos}
    rows = [row for row in record.scores if row.outline and row.photo_sha256 in photos]
    widest_mm = max((picture_size_mm(row)[0] for row in rows), default=1.0)
    mm_per_px = _STEP ** math.ceil(math.log(widest_mm / WIDTH_PX, _STEP))
    kept = _kept_stems(trial_dir)
    frames = []
    for row in reversed(rows):
        wide, high = (max(1, round(side / mm_per_px)) for side in picture_size_mm(row))
        photo = photos[row.photo_sha256]
        frames.append(
            Frame(
                photo=photo,
                score=row,
                day=days_between(record.bag.inoculated_at, row.taken_at),
                mm_per_px=mm_per_px,
                width_px=wide,
                height_px=high,
                is_there=original_stem(photo.taken_at, photo.photo_sha256) in kept,
            )
        )
    return tuple(frames)


def _kept_stems(trial_dir: Path) -> frozenset[str]:
    """The names without suffix of all photos that are kept, by one look into their folder."""
    try:
        return frozenset(path.stem for path in (trial_dir / "photos").iterdir() if path.suffix != PART)
    except OSError:
        return frozenset()


def frame_jpeg(trial_dir: Path, trial: Trial, ledger: Ledger, frame: Frame, *, covers_cards: bool) -> bytes:
    """Return a frame's picture as a JPEG file, from the cache when it is there.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder; pictures are kept in its `cache/`.
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    frame : Frame
        As `film_of` gives it.
    covers_cards : bool
        Whether its cards are painted over: they may say what a bag got.

    Raises
    ------
    PhotoError
        When the photo is gone or damaged.
    """
    original_of(trial_dir, frame.photo)
    score, bag = frame.score, trial.bag(frame.score.bag)
    tag = bag.tag if bag else None
    place = f"{tag} {score.outline} {score.mm_per_px} {frame.mm_per_px}"
    made_of = f"{_VERSION} {frame.photo.photo_sha256} {place}{' covered' if covers_cards else ''}"

    def draw() -> bytes:
        return _draw(trial_dir, trial, ledger, frame, covers_cards=covers_cards)

    return keep_picture(trial_dir / FOLDER, made_of, draw)


def _draw(trial_dir: Path, trial: Trial, ledger: Ledger, frame: Frame, *, covers_cards: bool) -> bytes:
    faces = face_pictures(
        trial_dir,
        trial,
        ledger,
        scores=[frame.score],
        mm_per_px=frame.mm_per_px,
        covers_cards=covers_cards,
    )
    if not faces.pictures:
        msg = f"{frame.photo.photo}: can't be read any more."
        raise PhotoError(msg, f"Put it back into {trial_dir / 'photos'} as it was.")
    return encode_small(faces.pictures[0].rgb)
