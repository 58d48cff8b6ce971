"""Reading the ledger: the rows that count."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from colscan.errors import LedgerError
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
from colscan.tables import Row

R = TypeVar("R", bound=Row)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """The rows that count.

    Parameters
    ----------
    photos : tuple of PhotoRow
        By `taken_at`; of each photo the row of the newest method.
    scores, suspects : tuple of rows
        By `taken_at`; of each photo and bag those of the newest method. Rows without commit mark
        are left out.
    verdicts, events : tuple of rows
        All of them, by `at`; where times are equal the later line comes last.
    harvests : tuple of HarvestRow
        By `at`; of each bag and flush the last line of the file.
    batches : tuple of BatchRow
        By `at`; of each mix, ingredient and lot the last line of the file.
    heat_runs : tuple of HeatRunRow
        By `started_at`; of each heat run the last line of the file.
    temperatures : tuple of TemperatureRow
        By `at`; of each place and time the last line of the file.
    estimates : tuple of EstimateRow
        By `at`; of each photo, bag and person the last line of the file.
    """

    photos: tuple[PhotoRow, ...] = ()
    scores: tuple[ScoreRow, ...] = ()
    suspects: tuple[SuspectRow, ...] = ()
    verdicts: tuple[VerdictRow, ...] = ()
    events: tuple[EventRow, ...] = ()
    harvests: tuple[HarvestRow, ...] = ()
    batches: tuple[BatchRow, ...] = ()
    heat_runs: tuple[HeatRunRow, ...] = ()
    temperatures: tuple[TemperatureRow, ...] = ()
    estimates: tuple[EstimateRow, ...] = ()


def read_ledger(folder: Path) -> Ledger:
    """Return the rows of a trial's ledger that count.

    Parameters
    ----------
    folder : Path
        The trial's folder; files that are missing hold no rows.

    Raises
    ------
    LedgerError
        When a file can't be read or holds a line that is no row; names file and line of the first one.
    """
    # Photos first: scores that a writer commits meanwhile then have no mark yet and are left out whole.
    photos = _read_rows(folder, PhotoRow)
    committed = {(row.photo_sha256, row.method) for row in photos}
    scores = [r for r in _read_rows(folder, ScoreRow) if (r.photo_sha256, r.method) in committed]
    suspects = [r for r in _read_rows(folder, SuspectRow) if (r.photo_sha256, r.method) in committed]
    scores = _last_of_each(_by_scanned(scores), lambda row: (row.photo_sha256, row.bag))
    counting = {(row.photo_sha256, row.bag, row.method) for row in scores}
    return Ledger(
        photos=_by_taken(_last_of_each(_by_scanned(photos), lambda row: row.photo_sha256)),
        scores=_by_taken(scores),
        suspects=_by_taken(r for r in suspects if (r.photo_sha256, r.bag, r.method) in counting),
        verdicts=_by_at(_read_rows(folder, VerdictRow)),
        events=_by_at(_read_rows(folder, EventRow)),
        harvests=_by_at(_last_of_each(_read_rows(folder, HarvestRow), lambda row: (row.bag, row.flush))),
        batches=_by_at(_last_of_each(_read_rows(folder, BatchRow), lambda row: row.key)),
        heat_runs=_by_started(_last_of_each(_read_rows(folder, HeatRunRow), lambda row: row.heat_run)),
        temperatures=_by_at(_last_of_each(_read_rows(folder, TemperatureRow), lambda r: (r.place, r.at))),
        estimates=_by_at(_last_of_each(_read_rows(folder, EstimateRow), lambda row: row.key)),
    )


def _read_rows(folder: Path, row_type: type[R]) -> tuple[R, ...]:
    reading, _ = read_whole(folder / row_type.FILE, row_type)
    if reading.problems:
        first = reading.problems[0]
        msg = f"{folder / first.source}: {first.message}."
        raise LedgerError(msg, f"{first.hint} `colscan check {folder}` lists all that is wrong.")
    return reading.rows


def _last_of_each(rows: Iterable[R], key: Callable[[R], Hashable]) -> list[R]:
    return list({key(row): row for row in rows}.values())


TimedScan = TypeVar("TimedScan", PhotoRow, ScoreRow)
TimedPhoto = TypeVar("TimedPhoto", PhotoRow, ScoreRow, SuspectRow)
TimedSaying = TypeVar("TimedSaying", VerdictRow, EventRow, HarvestRow, BatchRow, TemperatureRow, EstimateRow)


def _by_scanned(rows: Iterable[TimedScan]) -> list[TimedScan]:
    return sorted(rows, key=lambda row: row.scanned_at)


def _by_taken(rows: Iterable[TimedPhoto]) -> tuple[TimedPhoto, ...]:
    # Photos of the same second stand in an order that doesn't depend on which was scanned first.
    return tuple(sorted(rows, key=lambda row: (row.taken_at, row.photo_sha256)))


def _by_at(rows: Iterable[TimedSaying]) -> tuple[TimedSaying, ...]:
    return tuple(sorted(rows, key=lambda row: row.at))


def _by_started(rows: Iterable[HeatRunRow]) -> tuple[HeatRunRow, ...]:
    return tuple(sorted(rows, key=lambda row: row.started_at))
