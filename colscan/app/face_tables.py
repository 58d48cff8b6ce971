"""Which faces are shown beside each other: a trial's bags over days, or its bags of one age by level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

from colscan.app.faces import FacePicture, Faces, face_pictures
from colscan.errors import AnalysisError
from colscan.growth.model import BagRecord
from colscan.growth.records import call_on, is_alarm, records_of
from colscan.ledger import Ledger
from colscan.ledger.columns import ScoreRow
from colscan.locate.lights import HeldAgainst
from colscan.present.face_chart import FaceCell, FaceLine, FaceSection, FaceTable
from colscan.present.heading import count_bags, title_of
from colscan.trial.model import Bag, Trial

MOST_DAYS = 8
"""Columns of a table over days: more would make faces too small to compare."""
_SUSPECT, _CONTAMINATED = " \N{WHITE DOWN-POINTING TRIANGLE}", " \N{HEAVY MULTIPLICATION X}"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """One bag's faces by its age in calendar days: of a day the last that was measured, else the last."""

    record: BagRecord
    by_day: dict[int, ScoreRow]

    def nearest(self, day: int, reach: float) -> int | None:
        """The day with a photo that is nearest to one, at most `reach` days from it."""
        near = [one for one in self.by_day if abs(one - day) <= reach]
        return min(near, key=lambda one: (abs(one - day), one)) if near else None

    def latest(self, day: int) -> int | None:
        """The last day with a photo up to one."""
        return max((one for one in self.by_day if one <= day), default=None)


def faces_over_time(trial_dir: Path, trial: Trial, ledger: Ledger) -> FaceTable:
    """Return the faces of all bags over days: a section a strain, a row a bag, a column a day.

    Of many days some are chosen, evenly over time, the first and the last among them. A bag without a photo
    on such a day shows the nearest one that no other column is nearer to.

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
    seen = _seen(trial, ledger, blanks=True)
    days = sorted({day for one in seen for day in one.by_day})
    columns = choose_days(days)
    reach = min((b - a for a, b in pairwise(columns)), default=1) / 2
    chosen = [(one, [one.nearest(day, reach) for day in columns]) for one in seen]
    shown = _Shown(trial_dir, trial, ledger, chosen)
    sections = []
    for strain in dict.fromkeys(one.record.bag.strain for one in seen):
        lines = tuple(
            FaceLine(
                label=f"{one.record.bag.bag}\n{_treatment(one.record.bag) or 'blank'}",
                treatment=_treatment(one.record.bag),
                cells=tuple(
                    shown.cell(one, found, of_day=day) for day, found in zip(columns, picked, strict=True)
                ),
            )
            for one, picked in chosen
            if one.record.bag.strain == strain and any(shown.has(one, found) for found in picked)
        )
        if lines:
            heads = tuple(f"day {day}" for day in columns)
            sections.append(
                FaceSection(
                    title=title_of(trial, strain), columns=heads, treatments=(None,) * len(heads), lines=lines
                )
            )
    some = f"{len(columns)} of {len(days)} days are shown. " if len(columns) < len(days) else ""
    return _table(sections, shown, some)


def faces_by_level(trial_dir: Path, trial: Trial, ledger: Ledger, *, day: int | None = None) -> FaceTable:
    """Return the faces of all bags at one age: a section a strain, a column a treatment.

    A bag without a photo of that age shows its last one before.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    day : int, optional
        The age in calendar days since inoculation; else the last that half of the bags have a photo of.

    Raises
    ------
    AnalysisError
        When there is no face to show, or none by that day.
    """
    seen = _seen(trial, ledger, blanks=False)
    first = min(min(one.by_day) for one in seen)
    if day is None:
        day = _last_common_day(seen)
    elif day < first:
        msg = f"No face of {trial.name} was seen by day {day}: its first photo is of day {first}."
        raise AnalysisError(msg, f"Give --day {first} or a later one.")
    chosen = [(one, [one.latest(day)]) for one in seen]
    shown = _Shown(trial_dir, trial, ledger, chosen)
    sections = []
    for strain in dict.fromkeys(one.record.bag.strain for one in seen):
        mine = [(one, picked[0]) for one, picked in chosen if one.record.bag.strain == strain]
        mine = [(one, found) for one, found in mine if shown.has(one, found)]
        levels = sorted(
            {(b.supplement_pct, b.supplement, b.treatment) for b in (o.record.bag for o, _ in mine)}
        )
        columns = [[pair for pair in mine if pair[0].record.bag.treatment == name] for *_, name in levels]
        rows = max(map(len, columns), default=0)
        lines = tuple(
            FaceLine(
                label="",
                treatment=None,
                cells=tuple(
                    shown.cell(*column[row], of_day=day, named=True) if row < len(column) else None
                    for column in columns
                ),
            )
            for row in range(rows)
        )
        if lines:
            names = tuple(name for *_, name in levels)
            sections.append(
                FaceSection(
                    title=f"{title_of(trial, strain)}, day {day}",
                    columns=names,
                    treatments=names,
                    lines=lines,
                )
            )
    return _table(sections, shown, "")


def choose_days(days: Sequence[int], most: int = MOST_DAYS) -> list[int]:
    """Return at most so many of some days, evenly over time, the first and the last among them.

    >>> choose_days(range(31), 4)
    [0, 10, 20, 30]
    """
    if len(days) <= most:
        return list(days)
    step = (days[-1] - days[0]) / (most - 1)
    wanted = [days[0] + step * index for index in range(most)]
    return sorted({min(days, key=lambda day: (abs(day - want), day)) for want in wanted})


def _seen(trial: Trial, ledger: Ledger, *, blanks: bool) -> list[_Seen]:
    seen = []
    for record in records_of(trial, ledger):
        if record.bag.role == "blank" and not blanks:
            continue
        by_day: dict[int, ScoreRow] = {}
        for row in record.scores:
            day = calendar_day(record.bag, row, trial.zone)
            if row.outline and (row.coverage_pct is not None or day not in by_day):
                by_day[day] = row
        if by_day:
            seen.append(_Seen(record=record, by_day=by_day))
    if not seen:
        msg = f"The trial {trial.name} has no face to show{'' if blanks else ', blanks left out'}."
        raise AnalysisError(msg, "Scan its photos first: colscan scan TRIAL_DIR PHOTO...")
    return seen


def calendar_day(bag: Bag, row: ScoreRow, zone: ZoneInfo) -> int:
    """Return a bag's age as growers count it: midnights since it was inoculated."""
    return (row.taken_at.astimezone(zone).date() - bag.inoculated_at.astimezone(zone).date()).days


def _last_common_day(seen: Sequence[_Seen]) -> int:
    counts = {day: sum(day in one.by_day for one in seen) for day in {d for one in seen for d in one.by_day}}
    return max(day for day, count in counts.items() if 2 * count >= max(counts.values()))


def _treatment(bag: Bag) -> str | None:
    return None if bag.role == "blank" else bag.treatment


class _Shown:
    """The pictures of the chosen faces, and what stands under each.

    Parameters
    ----------
    trial_dir, trial, ledger
        As the tables have them.
    chosen : list of (_Seen, list of int or None)
        Bags with the days picked of each.
    """

    def __init__(
        self, trial_dir: Path, trial: Trial, ledger: Ledger, chosen: list[tuple[_Seen, list[int | None]]]
    ) -> None:
        rows = [one.by_day[day] for one, picked in chosen for day in picked if day is not None]
        self.faces: Faces = face_pictures(trial_dir, trial, ledger, scores=rows)
        self._by_row = {(one.bag.bag, one.score.photo_sha256): one for one in self.faces.pictures}
        if not self.faces.pictures:
            msg = f"None of the photos of {trial.name} can be read."
            raise AnalysisError(msg, f"Put them back into {trial_dir / 'photos'}, under their names there.")

    def has(self, seen: _Seen, day: int | None) -> bool:
        """Whether there is a picture of a bag's day."""
        return self._picture(seen, day) is not None

    def cell(self, seen: _Seen, day: int | None, *, of_day: int, named: bool = False) -> FaceCell | None:
        """The picture with its words: the bag when it has to be `named`, its own day, score and mark."""
        picture = self._picture(seen, day)
        if picture is None:
            return None
        words = [f"d{day}"] if day != of_day else []
        percent = picture.score.coverage_pct
        words.append("no score" if percent is None else f"{percent:.0f} %")
        name = f"{seen.record.bag.bag}\n" if named else ""
        caption = name + " ".join(words) + _mark(seen.record, picture.score)
        return FaceCell(rgb=picture.rgb, caption=caption)

    def _picture(self, seen: _Seen, day: int | None) -> FacePicture | None:
        if day is None:
            return None
        return self._by_row.get((seen.record.bag.bag, seen.by_day[day].photo_sha256))


def _mark(record: BagRecord, row: ScoreRow) -> str:
    """The mark of a face: called contaminated, a suspect patch that nobody called harmless, or none."""
    calls = record.standing_calls
    there = [one for one in record.suspects if one.photo_sha256 == row.photo_sha256]
    whole = any(c.patch is None and c.call == "contaminated" and c.at <= row.taken_at for c in calls)
    if whole or any(call_on(one, calls) == "contaminated" for one in there):
        return _CONTAMINATED
    return _SUSPECT if any(is_alarm(one, calls) for one in there) else ""


def _table(sections: Sequence[FaceSection], shown: _Shown, some: str) -> FaceTable:
    pictures = shown.faces.pictures
    bags = list({one.bag.bag: one.bag for one in pictures if one.bag.role != "blank"}.values())
    captions = [c.caption for s in sections for line in s.lines for c in line.cells if c is not None]
    said = [
        f"{count_bags(bags)}. {some}Each face is cut from its photo, upright and to one scale, and shown in"
        " the same light: held against white paper, as it lies on its card. Pale around it: what is not the"
        " face. Under it: colonized % of the side in view.",
        *_words_of_marks(captions),
    ]
    otherwise = {
        by: list(dict.fromkeys(one.bag.bag for one in pictures if one.held_against is by))
        for by in HeldAgainst
        if by is not HeldAgainst.OWN_CARD
    }
    said += [f"Light told by {by}: {_names(codes)}." for by, codes in otherwise.items() if codes]
    if shown.faces.gone:
        said.append(f"Photos that can't be read any more: {_names(shown.faces.gone)}.")
    return FaceTable(sections=tuple(sections), note=" ".join(said))


def _words_of_marks(captions: Sequence[str]) -> list[str]:
    words = []
    if any(_SUSPECT in caption for caption in captions):
        words.append(f"{_SUSPECT.strip()} suspect patch.")
    if any(_CONTAMINATED in caption for caption in captions):
        words.append(f"{_CONTAMINATED.strip()} called contaminated.")
    if any(word[:1] == "d" and word[1:].isdigit() for caption in captions for word in caption.split()):
        words.append("d and a number: the photo is of that day.")
    return words


def _names(names: Sequence[str], most: int = 6) -> str:
    """Some names, the others counted."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
