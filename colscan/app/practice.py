"""A photo of a practice sheet → what the scorer reads of each drawn face, beside what was drawn."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from colscan.flags import Flag
from colscan.locate import find_practice
from colscan.locate.practice import PracticePage
from colscan.photo import load_rgb
from colscan.present.practice import DrawnFace, practice_faces
from colscan.score import make_baseline, measure_views, share_reference
from colscan.score.model import Evidence
from colscan.trial.model import Limits


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceRead:
    """One drawn face as the scorer reads it.

    Parameters
    ----------
    drawn : DrawnFace
        What the sheet shows.
    read_pct, low_pct, high_pct : float or None
        Coverage and its 90 % interval; None where it can't be measured.
    suspects : int
        Suspect patches, which count as face but not as covered: colours that the printer got wrong.
    flags : tuple of Flag
        What makes it doubtful.
    """

    drawn: DrawnFace
    read_pct: float | None
    low_pct: float | None
    high_pct: float | None
    suspects: int
    flags: tuple[Flag, ...]

    @property
    def difference(self) -> float | None:
        """Points read too much."""
        return None if self.read_pct is None else self.read_pct - self.drawn.coverage_pct


def read_practice(path: Path) -> tuple[FaceRead, ...]:
    """What the scorer reads of each drawn face in a photo of practice pages.

    Each page's bare face stands for the first photo of its bags; nothing else differs from a bag's way.

    Raises
    ------
    PhotoError
        When the file can't be read, or shows no practice page well enough.
    """
    drawn = practice_faces()
    rgb = load_rgb(path, max_megapixels=Limits().max_photo_megapixels)
    pages = find_practice(rgb, faces=len(drawn))
    return tuple(
        _read(evidence, drawn[evidence.key - 1]) for page in pages for evidence in _measure(page, path.name)
    )


def _measure(page: PracticePage, photo: str) -> tuple[Evidence, ...]:
    bare, *drawn = share_reference([page.bare, *page.drawn])
    first = make_baseline([bare], photos=[photo], late=False)
    return measure_views(drawn, {view.key: first for view in drawn} if first else {})


def _read(evidence: Evidence, drawn: DrawnFace) -> FaceRead:
    read, low, high = (
        None if share is None else 100 * share for share in (evidence.coverage, evidence.low, evidence.high)
    )
    return FaceRead(
        drawn=drawn,
        read_pct=read,
        low_pct=low,
        high_pct=high,
        suspects=len(evidence.patches),
        flags=evidence.flags,
    )
