"""A recorded photo with what was found drawn on it: outlines, covered edge, the unseen, suspects."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from colscan.app.put import put_file
from colscan.errors import LedgerError
from colscan.ledger.columns import ScoreRow, SuspectRow, original_stem
from colscan.photo import PhotoRef, load_rgb
from colscan.present.face_marks import FaceMarks
from colscan.present.overlay import draw_overlay, encode_jpeg
from colscan.score.model import Score

# A place is drawn as covered when it is more likely so than not.
_LIKELY = 0.5


def write_overlay(
    folder: Path,
    ref: PhotoRef,
    scores: Sequence[ScoreRow],
    suspects: Sequence[SuspectRow],
    *,
    found: Mapping[str, Score],
) -> Path:
    """Draw what was found on a photo and return where the picture is: in the trial's ``overlays/``.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    ref : PhotoRef
        The photo.
    scores, suspects : sequences of rows
        Its rows.
    found : mapping of str to Score
        What the rows were made from, by bag.

    Raises
    ------
    LedgerError
        When the picture can't be written.
    """
    rgb = load_rgb(ref.path, max_megapixels=np.inf)
    marks = {bag: marks for bag, score in found.items() if (marks := face_marks(score)) is not None}
    target = folder / "overlays" / (original_stem(ref.taken_at, ref.sha256) + ".jpg")
    try:
        put_file(target, encode_jpeg(draw_overlay(rgb, scores, suspects, marks)))
    except OSError as error:
        msg = f"{target}: can't be written ({error.strerror})."
        raise LedgerError(msg, "Make room on the disk, or make the trial's folder writable.") from error
    return target


def face_marks(score: Score) -> FaceMarks | None:
    """What of a face is covered and seen; None when it wasn't measured."""
    if score.coverage is None or score.state is None or score.state.places is None:
        return None
    seen = np.isfinite(score.evidence.opacity)
    return FaceMarks(covered=score.state.places > _LIKELY, seen=seen, to_px=score.evidence.to_px)
