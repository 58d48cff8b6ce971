"""A second opinion on a score: which face to show, its picture, and what a person says or paints of it."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from datetime import datetime
from itertools import chain, count
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from colscan.app.batch.originals import find_original
from colscan.app.masks import mask_path, paint_of
from colscan.app.patches import card_reach_px, crop_jpeg
from colscan.disk import replace_file, sync_folder
from colscan.errors import LedgerError, PhotoError, TrialError
from colscan.ledger import Ledger, append_row
from colscan.ledger.columns import SHORT_SHA, EstimateRow, PhotoRow, ScoreRow
from colscan.photo.painted import Paint, encode_paint
from colscan.trial.model import Trial

HALF_WAY_PCT = (10.0, 90.0)
"""Between these a score can go wrong; bare and white bags are easy."""
_HALF_WAY_WEIGHT, _NEWEST_WEIGHT = 4.0, 2.0
"""How many times as soon such a face comes up as another. Not all of them first: that would tell of it."""
MARGIN = 0.06
"""Around the face, of its longer side."""
MOST_PX = 900
"""Of the picture's longer side."""
MOST_MARKS = 384
"""Of the painting's longer side: two bits a mark, so that a painting fits into a form."""
REPLACED = "replaced"
"""Folder under masks/ for masks that were painted anew: `agree` doesn't look there."""
NOTHING_SEEN = "The whole face is painted as hidden."
_AS_WRITTEN_PCT = 0.006
"""A painting's share and its estimate are the same number, written with two decimals."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """One bag's face in one photo, and the part of the photo that shows it."""

    photo: PhotoRow
    score: ScoreRow

    @property
    def key(self) -> tuple[str, str]:
        """What estimates and masks know it by."""
        return self.photo.photo_sha256[:SHORT_SHA].lower(), self.score.bag

    @property
    def box(self) -> tuple[int, int, int, int]:
        """x0, y0, x1, y1 in the upright photo, px; the last ones lie outside it."""
        corners = np.array(self.score.outline)
        margin = MARGIN * np.ptp(corners, axis=0).max()
        whole = np.array((self.photo.width_px, self.photo.height_px))
        low = np.clip(np.floor(corners.min(axis=0) - margin), 0, whole - 1).astype(int)
        high = np.clip(np.ceil(corners.max(axis=0) + margin), low + 1, whole).astype(int)
        return int(low[0]), int(low[1]), int(high[0]), int(high[1])

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of its picture, px."""
        return self._size(MOST_PX)

    @property
    def marks(self) -> tuple[int, int]:
        """Width and height of a painting of it."""
        return self._size(MOST_MARKS)

    def _size(self, most: int) -> tuple[int, int]:
        x0, y0, x1, y1 = self.box
        shrunk = min(1.0, most / max(x1 - x0, y1 - y0))
        return max(1, round((x1 - x0) * shrunk)), max(1, round((y1 - y0) * shrunk))

    @property
    def outline(self) -> tuple[tuple[float, float], ...]:
        """The face's polygon in its picture, px from the centre of the top left pixel."""
        x0, y0, x1, _ = self.box
        shrunk = self.size[0] / (x1 - x0)
        return tuple(
            ((x - x0 + 0.5) * shrunk - 0.5, (y - y0 + 0.5) * shrunk - 0.5) for x, y in self.score.outline
        )

    @property
    def area_mm2(self) -> float | None:
        """The face's area; None where the photo's scale isn't known."""
        if self.score.mm_per_px is None:
            return None
        x, y = np.array(self.score.outline).T
        doubled = np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))
        return float(abs(doubled) / 2) * self.score.mm_per_px**2


def measured_faces(trial: Trial, ledger: Ledger) -> tuple[Face, ...]:
    """Return every face that has a score to hold an estimate against, in order of time."""
    planned = {bag.bag for bag in trial.bags}
    photos = {row.photo_sha256: row for row in ledger.photos}
    return tuple(
        Face(photo=photos[row.photo_sha256], score=row)
        for row in ledger.scores
        if row.bag in planned and row.photo_sha256 in photos and row.outline and row.coverage_pct is not None
    )


def shuffle(faces: Sequence[Face], seed: str) -> list[Face]:
    """Return faces in an order drawn by lot: half-way bags and each bag's newest photo sooner, by weight.

    Each face has a lot of its own (Efraimidis and Spirakis 2006, doi:10.1016/j.ipl.2005.11.003), so a new
    photo doesn't turn the order of the others round.

    Parameters
    ----------
    faces : sequence of Face
        In order of time.
    seed : str
        The same seed gives the same order.
    """
    newest = {face.score.bag: face for face in faces}
    low, high = HALF_WAY_PCT

    def lot(face: Face) -> float:
        weight = _NEWEST_WEIGHT if newest[face.score.bag] is face else 1.0
        weight *= _HALF_WAY_WEIGHT if low < (face.score.coverage_pct or 0.0) < high else 1.0
        return float(random.Random(f"{seed} {face.key}").random() ** (1 / weight))

    return sorted(faces, key=lot, reverse=True)


def is_kept(trial_dir: Path, face: Face) -> bool:
    """Return whether the face's photo is still there."""
    return find_original(trial_dir, face.photo) is not None


def face_jpeg(trial_dir: Path, face: Face) -> bytes:
    """Return the face's picture, its card painted over, for that may say what the bag got.

    Raises
    ------
    PhotoError
        When the photo is gone or damaged.
    """
    return crop_jpeg(trial_dir, face.photo, box=face.box, size=face.size, card_px=card_reach_px(face.score))


def estimate_of(ledger: Ledger, face: Face, by: str | None) -> EstimateRow | None:
    """Return a person's estimate of a face that counts; None without one."""
    return next((row for row in ledger.estimates if row.key == (*face.key, by)), None)


def record_estimate(
    trial_dir: Path, face: Face, *, coverage_pct: float, at: datetime, by: str | None, blind: bool
) -> EstimateRow:
    """Return an estimate as it was appended to estimates.csv.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    face : Face
        What was estimated.
    coverage_pct : float
        Share of the seen face that carries mycelium, percent.
    at : datetime
        When, aware, in the trial's zone.
    by : str or None
        Who.
    blind : bool
        Whether score, treatment and earlier estimates were hidden.

    Raises
    ------
    LedgerError
        When it can't be written.
    """
    row = EstimateRow(
        at=at,
        bag=face.score.bag,
        photo_sha256=face.photo.photo_sha256,
        coverage_pct=coverage_pct,
        by=by,
        blind="yes" if blind else "no",
    )
    append_row(trial_dir, row)
    return row


def record_number(
    trial_dir: Path,
    trial: Trial,
    face: Face,
    before: EstimateRow | None,
    *,
    coverage_pct: float,
    at: datetime,
    by: str | None,
    blind: bool,
) -> EstimateRow:
    """Return the estimate that a number makes, as appended; the person's own painting is put aside.

    Parameters
    ----------
    trial_dir, trial : Path, Trial
        The trial's folder and plan.
    face : Face
        What was estimated.
    before : EstimateRow or None
        The person's estimate of it so far.
    coverage_pct, at, by, blind
        As for `record_estimate`.

    Raises
    ------
    LedgerError
        When it can't be written. Then what was there is as before.
    """
    own = before is not None and painting_of(trial_dir, trial, face, before) is not None
    path = mask_path(trial_dir, face.photo.photo_sha256, face.score.bag) if own else None
    with _in_place(path, None, at) if path else nullcontext():
        return record_estimate(trial_dir, face, coverage_pct=coverage_pct, at=at, by=by, blind=blind)


def record_painting(
    trial_dir: Path,
    trial: Trial,
    face: Face,
    *,
    marks: NDArray[np.uint8],
    at: datetime,
    by: str | None,
    blind: bool,
) -> EstimateRow:
    """Return the estimate that a painting makes, as appended; the painting is kept under masks/.

    A mask that was there is kept under masks/replaced/.

    Parameters
    ----------
    trial_dir, trial : Path, Trial
        The trial's folder and plan.
    face : Face
        What was painted.
    marks : ndarray, shape (h, w), uint8
        As `encode_paint` takes them, over the face's box.
    at, by, blind
        As for `record_estimate`.

    Raises
    ------
    TrialError
        When the bag's code can't be part of a file's name, or the whole face is painted as hidden.
    LedgerError
        When it can't be written. In each case what was there is as before.
    """
    path = mask_path(trial_dir, face.photo.photo_sha256, face.score.bag)
    size = face.photo.width_px, face.photo.height_px
    with _in_place(path, encode_paint(marks, face.box, photo_size_px=size), at):
        try:
            share = paint_of(path, trial, face.photo, face.score).share
        except PhotoError as error:
            raise TrialError(NOTHING_SEEN, "Go back and leave open what you could see.") from error
        return record_estimate(trial_dir, face, coverage_pct=100.0 * share, at=at, by=by, blind=blind)


@contextmanager
def _in_place(path: Path, data: bytes | None, at: datetime) -> Iterator[None]:
    """A mask, or none, put in place; what was there is put aside, and comes back when what follows fails."""
    aside = _free_name(path.parent / REPLACED, f"{path.stem}-{at:%Y%m%dT%H%M%S}")
    try:
        was_there = path.exists()
        if was_there:
            aside.parent.mkdir(exist_ok=True)
            path.replace(aside)
            sync_folder(aside.parent)
        try:
            if data is not None:
                path.parent.mkdir(exist_ok=True)
                replace_file(path, data)
            yield
        except BaseException:
            path.unlink(missing_ok=True)
            if was_there:
                aside.replace(path)
            raise
    except OSError as error:
        msg = f"{path}: the painting can't be kept ({error.strerror})."
        raise LedgerError(msg, "Free some space or allow writing there, and record it once more.") from error


def _free_name(folder: Path, stem: str) -> Path:
    """The first free one: a form sent twice comes within a second, and a painting can't be made again."""
    names = chain((stem,), (f"{stem}-{number}" for number in count(2)))
    return next(path for name in names if not (path := folder / f"{name}.png").exists())


def painting_of(trial_dir: Path, trial: Trial, face: Face, estimate: EstimateRow) -> Paint | None:
    """Return the painting that an estimate is from; None when it was given as a number."""
    try:
        path = mask_path(trial_dir, face.photo.photo_sha256, face.score.bag)
        paint = paint_of(path, trial, face.photo, face.score)
    except (TrialError, PhotoError):
        return None
    return paint if abs(100.0 * paint.share - estimate.coverage_pct) < _AS_WRITTEN_PCT else None
