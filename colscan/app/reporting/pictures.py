"""Which photos of each bag a report shows, and their pictures, small enough for one file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from colscan.app.face_tables import faces_by_level
from colscan.app.faces import FacePicture, face_pictures
from colscan.ledger import Ledger
from colscan.ledger.columns import ScoreRow
from colscan.present.face_chart import FaceSection
from colscan.present.report.blocks import Picture, Strip
from colscan.present.report.content import BagPictures
from colscan.present.report.small import encode_small
from colscan.trial.model import Trial

MOST_A_BAG = 15
"""Pictures of a bag: a line or two of a page, and a curve's course is in them."""
MOST = 450
"""Pictures of a report, at some 8 kB each: what can still be sent by mail."""
LEAST_A_BAG = 4
WIDTH_PX = 150
"""Of the widest face: a third more than it is shown wide, for sharp print."""


def picture_bags(
    trial_dir: Path, trial: Trial, ledger: Ledger
) -> tuple[Mapping[str, BagPictures], tuple[str, ...]]:
    """Return the pictures of each bag over time, and the photos that are gone or damaged.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    """
    rows: defaultdict[str, list[ScoreRow]] = defaultdict(list)
    for row in ledger.scores:
        if row.outline:
            rows[row.bag].append(row)
    each = max(LEAST_A_BAG, min(MOST_A_BAG, MOST // max(1, len(rows))))
    chosen = {bag: spread_over(own, each) for bag, own in rows.items()}
    wanted = [row for own in chosen.values() for row in own]
    faces = face_pictures(trial_dir, trial, ledger, scores=wanted, width_px=WIDTH_PX)
    shown: defaultdict[str, list[Picture]] = defaultdict(list)
    for face in faces.pictures:
        shown[face.bag.bag].append(_picture(face))
    pictures = {
        bag: BagPictures(pictures=tuple(shown[bag]), not_shown=len(own) - len(chosen[bag]))
        for bag, own in rows.items()
    }
    return pictures, faces.gone


def picture_levels(trial_dir: Path, trial: Trial, ledger: Ledger) -> tuple[Strip, ...]:
    """Return the bags of one age side by side by level, a strip a strain.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.

    Raises
    ------
    AnalysisError
        When there is no face to show.
    """
    table = faces_by_level(trial_dir, trial, ledger)
    return tuple(
        Strip(heading=f"Side by side: {one.title}", text="", pictures=tuple(_level_pictures(one)))
        for one in table.sections
    )


def _level_pictures(section: FaceSection) -> Iterator[Picture]:
    for i, level in enumerate(section.columns):
        for line in section.lines:
            cell = line.cells[i]
            if cell is not None:
                height, width = cell.rgb.shape[:2]
                yield Picture(
                    jpeg=encode_small(cell.rgb), width_px=width, height_px=height,
                    alt=f"{section.title}, {level}: {cell.caption}", caption=(level, cell.caption),
                )  # fmt: skip


def spread_over(rows: Sequence[ScoreRow], most: int) -> list[ScoreRow]:
    """Return at most so many rows, evenly over time, the first and the last among them."""
    if len(rows) <= most:
        return list(rows)
    first, last = rows[0].taken_at, rows[-1].taken_at
    picked = []
    for i in range(most):
        wanted = first + (last - first) * i / (most - 1)
        picked.append(min(range(len(rows)), key=lambda k: abs(rows[k].taken_at - wanted)))
    return [rows[k] for k in sorted(set(picked))]


def _picture(face: FacePicture) -> Picture:
    height, width = face.rgb.shape[:2]
    return Picture(
        jpeg=encode_small(face.rgb), width_px=width, height_px=height, alt=face.alt, caption=_caption(face)
    )


def _caption(face: FacePicture) -> tuple[str, ...]:
    score = face.score
    day = f"day {face.day:.1f}"
    if score.coverage_pct is None:
        return (day, "not measured")
    said = f"{score.coverage_pct:.0f} %"
    if score.coverage_low_pct is not None and score.coverage_high_pct is not None:
        said += f" ({score.coverage_low_pct:.0f}-{score.coverage_high_pct:.0f})"
    return (day, said, f"{score.suspects} suspect") if score.suspects else (day, said)
