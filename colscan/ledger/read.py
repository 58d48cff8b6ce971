"""Reading the ledger: the rows that count."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from threading import Lock
from typing import TypeVar, cast

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
from colscan.ledger.counting import Measured
from colscan.ledger.kept import SCAN_FILES, ColumnReader, is_large
from colscan.ledger.marks import FileMark, file_mark
from colscan.ledger.methods import Scans, counting, last_of_each
from colscan.ledger.tabled import refuse
from colscan.ledger.tails import read_whole
from colscan.ledger.waiting import Waiting, read_waiting, waiting_rows
from colscan.tables import Row
from colscan.units import count_of

RESTORE = (
    "Restore it from a copy. Without one, move photos.csv, scores.csv and suspects.csv out of the trial's"
    " folder and scan its photos/ again."
)
"""What to do about a file of the scan that is gone."""
R = TypeVar("R", bound=Row)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """The rows that count.

    Parameters
    ----------
    photos : sequence of PhotoRow
        By `taken_at`; of each photo the row of the method that scanned it last.
    scores, suspects : sequence of rows
        By `taken_at`; of each photo those of that method. Rows without commit mark are left out. Of a
        large ledger these three are read from their files when they are asked for; `numbers_of`,
        `times_of` and `words_of` give their figures without.
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
        When photos are recorded and the file of their scores or suspects is gone.
    """
    return LedgerReader(folder).read()


def read_scans(folder: Path) -> Scans:
    """Return what scans recorded in a trial, rows of all methods.

    Raises
    ------
    LedgerError
        As `read_ledger`.
    """
    waiting = read_waiting(folder)
    # Photos first, as in `LedgerReader.read`.
    return Scans(
        photos=_with_waiting(folder, PhotoRow, waiting),
        scores=_with_waiting(folder, ScoreRow, waiting),
        suspects=_with_waiting(folder, SuspectRow, waiting),
    )


def _with_waiting(folder: Path, row_type: type[R], waiting: Sequence[Waiting]) -> tuple[R, ...]:
    rows = _read_rows(folder / row_type.FILE, row_type)
    return rows + waiting_rows([one for one in waiting if row_type.FILE in one.tables], row_type, rows)


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
        self._read: dict[type[Row], tuple[FileMark, tuple[Waiting, ...], tuple[Row, ...]]] = {}
        self._waiting: tuple[Waiting, ...] = ()
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
            self._waiting = read_waiting(self._folder)
            scans_wait = any(row_type.FILE in one.tables for one in self._waiting for row_type in SCAN_FILES)
            if scans_wait or not is_large(self._folder):
                ledger = self._read_plain()
            else:
                self._columns = self._columns or ColumnReader(self._folder)
                measured = self._columns.read()
                ledger = self._read_plain() if measured is None else self._read_large(measured)
            _check_scan_files_there(self._folder)
            return ledger

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
        own = tuple(one for one in self._waiting if row_type.FILE in one.tables)
        path = self._folder / row_type.FILE
        mark = file_mark(path)  # before the bytes: what comes between is then seen the next time
        known = self._read.get(row_type)
        if known is None or known[:2] != (mark, own):
            known = self._read[row_type] = (mark, own, _with_waiting(self._folder, row_type, own))
        return cast("tuple[R, ...]", known[2])


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
        harvests=_by_at(last_of_each(tables.harvests, lambda row: (row.bag, row.flush))),
        batches=_by_at(last_of_each(tables.batches, lambda row: row.key)),
        heat_runs=_by_started(last_of_each(tables.heat_runs, lambda row: row.heat_run)),
        temperatures=_by_at(last_of_each(tables.temperatures, lambda row: (row.place, row.at))),
        estimates=_by_at(last_of_each(tables.estimates, lambda row: row.key)),
    )


def _sort_out_photos(tables: _Tables) -> Ledger:
    rows = counting(Scans(photos=tables.photos, scores=tables.scores, suspects=tables.suspects))
    return Ledger(photos=rows.photos, scores=rows.scores, suspects=rows.suspects)


def _check_scan_files_there(folder: Path) -> None:
    """Refuse photos whose scores or suspects are gone: each scan writes all three files.

    Photos come last: a file that is still missing after they were read was not just about to be written.
    """
    gone = _missing(folder)
    if not gone:
        return
    if PhotoRow.FILE in gone:
        scanned = {row.photo_sha256 for row in _read_rows(folder / ScoreRow.FILE, ScoreRow)}
        # A first scan writes the scores of one photo before that photo's row.
        if len(scanned) > 1 and PhotoRow.FILE in _missing(folder):
            msg = (
                f"{folder / PhotoRow.FILE} is missing, and {ScoreRow.FILE} has rows of {len(scanned)} photos."
            )
            raise LedgerError(msg, RESTORE)
        return
    photos, gone = _read_rows(folder / PhotoRow.FILE, PhotoRow), _missing(folder)
    if photos and gone:
        msg = f"{folder / gone[0]} is missing, and {PhotoRow.FILE} has {count_of(len(photos), 'row')}."
        raise LedgerError(msg, RESTORE)


def _missing(folder: Path) -> list[str]:
    return [row_type.FILE for row_type in SCAN_FILES if not (folder / row_type.FILE).exists()]


def _read_rows(path: Path, row_type: type[R]) -> tuple[R, ...]:
    reading, _ = read_whole(path, row_type)
    if reading.problems:
        raise refuse(path, reading.problems[0])
    return reading.rows


TimedSaying = TypeVar("TimedSaying", VerdictRow, EventRow, HarvestRow, BatchRow, TemperatureRow, EstimateRow)


def _by_at(rows: Iterable[TimedSaying]) -> tuple[TimedSaying, ...]:
    return tuple(sorted(rows, key=lambda row: row.at))


def _by_started(rows: Iterable[HeatRunRow]) -> tuple[HeatRunRow, ...]:
    return tuple(sorted(rows, key=lambda row: row.started_at))
