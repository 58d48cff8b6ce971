"""Reading the ledger: the rows that count."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from threading import Lock
from typing import TypeVar, cast

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
from colscan.ledger.counting import Measured
from colscan.ledger.kept import ColumnReader, is_large
from colscan.ledger.marks import FileMark, file_mark
from colscan.ledger.tabled import refuse
from colscan.ledger.tails import read_whole
from colscan.tables import Row

R = TypeVar("R", bound=Row)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """The rows that count.

    Parameters
    ----------
    photos : sequence of PhotoRow
        By `taken_at`; of each photo the row of the newest method.
    scores, suspects : sequence of rows
        By `taken_at`; of each photo and bag those of the newest method. Rows without commit mark
        are left out. Of a large ledger these three are read from their files when they are asked for;
        `numbers_of`, `times_of` and `words_of` give their figures without.
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

    photos: Sequence[PhotoRow] = ()
    scores: Sequence[ScoreRow] = ()
    suspects: Sequence[SuspectRow] = ()
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
    return LedgerReader(folder).read()


class LedgerReader:
    """Reads a trial's ledger again and again: only the files that changed since are read anew.

    A file is taken for unchanged while `file_mark` is. One reader may serve several threads.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._read: dict[type[Row], tuple[FileMark, tuple[Row, ...]]] = {}
        self._tables, self._ledger = _Tables(), Ledger()
        self._columns: ColumnReader | None = None
        self._lock = Lock()

    def read(self) -> Ledger:
        """Return the rows that count, the very same object while no file changed.

        Raises
        ------
        LedgerError
            As `read_ledger`.
        """
        with self._lock:
            if not is_large(self._folder):
                return self._read_plain()
            self._columns = self._columns or ColumnReader(self._folder)
            measured = self._columns.read()
            return self._read_plain() if measured is None else self._read_large(measured)

    def _read_plain(self) -> Ledger:
        # Photos first: scores committed meanwhile then have no mark yet and are left out whole.
        photos, scores, suspects = self._rows(PhotoRow), self._rows(ScoreRow), self._rows(SuspectRow)
        tables = replace(self._read_said(), photos=photos, scores=scores, suspects=suspects)
        changed = {name for name in _TABLES if getattr(tables, name) is not getattr(self._tables, name)}
        if changed:
            measured = None if changed & {"photos", "scores", "suspects"} else self._ledger
            self._ledger = _sort_out(tables, measured=measured)
            self._tables = tables
        return self._ledger

    def _read_large(self, measured: Measured) -> Ledger:
        known, tables = self._ledger, self._read_said()
        same = all(getattr(tables, name) is getattr(self._tables, name) for name in _TABLES[3:])
        if not same or known.scores is not measured.scores:
            found = Ledger(photos=measured.photos, scores=measured.scores, suspects=measured.suspects)
            self._ledger = _sort_out(tables, measured=found)
            self._tables = tables
        return self._ledger

    def _read_said(self) -> _Tables:
        return _Tables(
            verdicts=self._rows(VerdictRow),
            events=self._rows(EventRow),
            harvests=self._rows(HarvestRow),
            batches=self._rows(BatchRow),
            heat_runs=self._rows(HeatRunRow),
            temperatures=self._rows(TemperatureRow),
            estimates=self._rows(EstimateRow),
        )

    def _rows(self, row_type: type[R]) -> tuple[R, ...]:
        path = self._folder / row_type.FILE
        mark = file_mark(path)  # before the bytes: what comes between is then seen the next time
        known = self._read.get(row_type)
        if known is None or known[0] != mark:
            known = self._read[row_type] = (mark, _read_rows(path, row_type))
        return cast("tuple[R, ...]", known[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tables:
    """All rows of the files, line by line."""

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


_TABLES = tuple(field.name for field in fields(_Tables))


def _sort_out(tables: _Tables, *, measured: Ledger | None) -> Ledger:
    """The rows that count; those of photos from a ledger that has them sorted out already, where given."""
    measured = measured or _sort_out_photos(tables)
    return replace(
        measured,
        verdicts=_by_at(tables.verdicts),
        events=_by_at(tables.events),
        harvests=_by_at(_last_of_each(tables.harvests, lambda row: (row.bag, row.flush))),
        batches=_by_at(_last_of_each(tables.batches, lambda row: row.key)),
        heat_runs=_by_started(_last_of_each(tables.heat_runs, lambda row: row.heat_run)),
        temperatures=_by_at(_last_of_each(tables.temperatures, lambda row: (row.place, row.at))),
        estimates=_by_at(_last_of_each(tables.estimates, lambda row: row.key)),
    )


def _sort_out_photos(tables: _Tables) -> Ledger:
    committed = {(row.photo_sha256, row.method) for row in tables.photos}
    scores = [row for row in tables.scores if (row.photo_sha256, row.method) in committed]
    suspects = [row for row in tables.suspects if (row.photo_sha256, row.method) in committed]
    scores = _last_of_each(_by_scanned(scores), lambda row: (row.photo_sha256, row.bag))
    counting = {(row.photo_sha256, row.bag, row.method) for row in scores}
    return Ledger(
        photos=_by_taken(_last_of_each(_by_scanned(tables.photos), lambda row: row.photo_sha256)),
        scores=_by_taken(scores),
        suspects=_by_taken(r for r in suspects if (r.photo_sha256, r.bag, r.method) in counting),
    )


def _read_rows(path: Path, row_type: type[R]) -> tuple[R, ...]:
    reading, _ = read_whole(path, row_type)
    if reading.problems:
        raise refuse(path, reading.problems[0])
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
