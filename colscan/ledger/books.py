"""A ledger with its line numbers, rows that don't count included: what the checks look at."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from colscan.errors import Problem
from colscan.ledger.columns import (
    BatchRow,
    EstimateRow,
    EventRow,
    HarvestRow,
    HeatRunRow,
    PhotoRow,
    ScoreRow,
    SuspectRow,
    TemperatureRow,
    VerdictRow,
)
from colscan.ledger.tails import read_whole
from colscan.ledger.waiting import lines_to_come, read_waiting, say_waiting
from colscan.tables import Line, Reading, Row
from colscan.trial.model import Trial

R = TypeVar("R", bound=Row)
Scanned = Line[ScoreRow] | Line[SuspectRow]
MEND = "Mend the line; `colscan verdict`, `event`, `harvest`, `mix` and `heat` check what they write."
CORRECT_TIME = "Correct the time here, or `inoculated_at` in bags.csv."


@dataclass(frozen=True, slots=True, kw_only=True)
class Books:
    """A trial and its ledger as the files have it, rows that don't count included.

    Parameters
    ----------
    trial : Trial
        The plan.
    photos, scores, suspects, verdicts, events, harvests, batches, heat_runs, temperatures, estimates
        Tuples of Line: the good rows with their line numbers; scores and suspects those with a commit mark.
    unmarked : tuple of Line
        Scores and suspects without.
    unreadable : tuple of Problem
        What stands in the files' other lines.
    waiting : str or None
        What is said of rows that wait in `waiting/`; they stand among the others as lines yet to come.
    missing : frozenset of str
        Files of the scan that aren't there.
    originals : mapping of str to str
        The names under `photos/` by the names without suffix.
    """

    trial: Trial
    photos: tuple[Line[PhotoRow], ...]
    scores: tuple[Line[ScoreRow], ...]
    suspects: tuple[Line[SuspectRow], ...]
    verdicts: tuple[Line[VerdictRow], ...]
    events: tuple[Line[EventRow], ...]
    harvests: tuple[Line[HarvestRow], ...]
    batches: tuple[Line[BatchRow], ...]
    heat_runs: tuple[Line[HeatRunRow], ...]
    temperatures: tuple[Line[TemperatureRow], ...]
    estimates: tuple[Line[EstimateRow], ...]
    unmarked: tuple[Scanned, ...]
    unreadable: tuple[Problem, ...]
    waiting: str | None
    missing: frozenset[str]
    originals: Mapping[str, str]


def open_books(folder: Path, trial: Trial) -> Books:
    """Return all rows of a trial's ledger with their lines, and what isn't a row.

    Raises
    ------
    LedgerError
        When a file can't be read at all.
    """
    unreadable: list[Problem] = []
    waiting = read_waiting(folder)

    def lines(row_type: type[R]) -> tuple[Line[R], ...]:
        reading, torn = read_whole(folder / row_type.FILE, row_type)
        unreadable.extend((*reading.problems, *_torn_problems(reading, torn, row_type)))
        return (*reading.lines, *lines_to_come(waiting, row_type, reading.lines))

    photos, scores, suspects = lines(PhotoRow), lines(ScoreRow), lines(SuspectRow)
    marks = {(line.row.photo_sha256, line.row.method) for line in photos}
    scanned: tuple[Scanned, ...] = (*scores, *suspects)
    kept = folder / "photos"
    return Books(
        trial=trial,
        photos=photos,
        scores=tuple(x for x in scores if (x.row.photo_sha256, x.row.method) in marks),
        suspects=tuple(x for x in suspects if (x.row.photo_sha256, x.row.method) in marks),
        verdicts=lines(VerdictRow),
        events=lines(EventRow),
        harvests=lines(HarvestRow),
        batches=lines(BatchRow),
        heat_runs=lines(HeatRunRow),
        temperatures=lines(TemperatureRow),
        estimates=lines(EstimateRow),
        unmarked=tuple(x for x in scanned if (x.row.photo_sha256, x.row.method) not in marks),
        unreadable=tuple(unreadable),
        waiting=say_waiting(folder),
        missing=frozenset(t.FILE for t in (PhotoRow, ScoreRow, SuspectRow) if not (folder / t.FILE).exists()),
        originals={path.stem: path.name for path in kept.iterdir()} if kept.is_dir() else {},
    )


def _torn_problems(reading: Reading[R], torn_bytes: int, row_type: type[R]) -> Iterator[Problem]:
    if torn_bytes:
        after = f" after line {reading.lines[-1].number}" if reading.lines else ""
        yield Problem(
            source=row_type.FILE,
            message=f"the last row{after} was cut short while it was written ({torn_bytes} bytes)",
            hint="It doesn't count, and the next command that writes takes it away; record it again.",
        )


def problem_at(line: Line[Any], message: str, hint: str) -> Problem:
    """Return a problem of one row, with its file and line."""
    return Problem(source=f"{line.row.FILE}:{line.number}", message=message, hint=hint)
