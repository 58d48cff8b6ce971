"""Rows that stay in their file until somebody asks for them, and their figures without reading them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from math import isnan
from pathlib import Path
from typing import Any, BinaryIO, Generic, TypeVar, cast, overload

import numpy as np
from numpy.typing import NDArray

from colscan.errors import LedgerError
from colscan.flags import Flag
from colscan.ledger.columns import ScoreRow
from colscan.ledger.tabled import NO_TIME, NOTHING, TAKEN_TEXT, Table, Words
from colscan.tables import Row, columns_of, parse_cell, parse_table
from colscan.units import at_microseconds, in_microseconds

R = TypeVar("R", bound=Row)
Numbers = NDArray[np.int64]
AT_ONCE = 20_000
"""Rows read in one go: more would hold much text beside them."""


@dataclass(frozen=True, slots=True, eq=False)
class Store:
    """A file with its columns, and the rows that were read from it one by one.

    Parameters
    ----------
    path : Path
        The file.
    table, words : Table, Words
        Its columns and their texts.
    order : ndarray of int
        The rows that count by bag, each bag's in order; none for a file without bags.
    """

    path: Path
    table: Table
    words: Words
    order: Numbers = field(default_factory=lambda: np.zeros(0, np.int64))
    ordered: dict[str, NDArray[Any]] = field(default_factory=dict)
    memo: dict[int, Row] = field(default_factory=dict)
    parsed: dict[str, dict[int, Any]] = field(default_factory=dict)

    def in_order(self, name: str) -> NDArray[Any]:
        """Return a kept column of the rows in `order`."""
        if name not in self.ordered:
            self.ordered[name] = self.table.columns[name][self.order]
        return self.ordered[name]

    def value(self, name: str, code: int) -> Any:
        """Return what a code means in a column of texts or words."""
        declared = columns_of(self.table.row_type).get(name)
        if declared is None or declared.kind != "words":
            return None if code == NOTHING else self.words.texts[code]
        known = self.parsed.setdefault(name, {NOTHING: ()})
        if code not in known:
            known[code] = parse_cell(declared, self.words.texts[code])
        return known[code]

    def fetch(self, numbers: Sequence[int]) -> list[Row]:
        """Return rows by their numbers, and remember them.

        Raises
        ------
        LedgerError
            When the file was changed meanwhile.
        """
        missing = sorted({number for number in numbers if number not in self.memo})
        if missing:
            self.memo.update(zip(missing, self.read(missing), strict=True))
        return [self.memo[number] for number in numbers]

    def read(self, numbers: Sequence[int]) -> list[Row]:
        """Return rows by their numbers, not remembered; raises as `fetch`."""
        rows: list[Row] = []
        for begin in range(0, len(numbers), AT_ONCE):
            some = numbers[begin : begin + AT_ONCE]
            rows += self._checked(some, _read_rows(self.path, self.table, some))
        return rows

    def _checked(self, numbers: Sequence[int], rows: list[Row]) -> list[Row]:
        for name in ("photo_sha256", "taken_at", "bag"):
            column = self.table.columns.get(name)
            if column is None:
                continue
            known = column[list(numbers)].tolist()
            if name == "taken_at":
                same = known == [in_microseconds(getattr(row, name)) for row in rows]
            else:
                same = [self.words.texts[code] for code in known] == [getattr(row, name) for row in rows]
            if not same:
                msg = f"{self.path} was changed while it was read."
                raise LedgerError(msg, "Run the command again.")
        return rows


class StoredRows(Sequence[R], Generic[R]):
    """Rows of a file in an order of their own, like a tuple of them.

    Parameters
    ----------
    store : Store
        Where they are.
    numbers : ndarray of int, or slice
        Which, from 0, in order; or which of those in the store's `order`; or what gives them when needed.
    """

    __slots__ = ("_bags", "_numbers", "_rows", "_store")

    def __init__(
        self,
        store: Store,
        numbers: Numbers | slice | Callable[[], Numbers],
    ) -> None:
        self._store = store
        self._numbers = numbers
        self._bags: dict[str, StoredRows[R]] | None = None
        self._rows: tuple[R, ...] | None = None

    @property
    def numbers(self) -> Numbers:
        """Which rows of the file."""
        if isinstance(self._numbers, slice):
            return self._store.order[self._numbers]
        if callable(self._numbers):
            self._numbers = self._numbers()
        return self._numbers

    def of_bags(self) -> dict[str, StoredRows[R]]:
        """Return the rows in the store's `order` by bag."""
        if self._bags is None:
            self._bags = self._cut()
        return self._bags

    def _cut(self) -> dict[str, StoredRows[R]]:
        codes = self._store.in_order("bag")
        cuts = [0, *(np.flatnonzero(np.diff(codes)) + 1).tolist(), len(codes)]
        texts = self._store.words.texts
        return {
            texts[codes[begin]]: StoredRows(self._store, slice(begin, end))
            for begin, end in pairwise(cuts)
            if end > begin
        }

    def column(self, name: str) -> NDArray[Any]:
        """Return a kept column: numbers, microseconds or codes."""
        if isinstance(self._numbers, slice):
            return self._store.in_order(name)[self._numbers]
        return self._store.table.columns[name][self.numbers]

    def cell(self, name: str) -> Any:
        """Return the value of the last of them in a kept column of numbers, texts or words."""
        value = self.column(name).item(-1)
        if isinstance(value, float):
            return None if isnan(value) else value
        return self._store.value(name, value)

    def words(self, name: str) -> list[Any]:
        """Return the values of a kept column of texts or words."""
        codes = self.column(name).tolist()
        values = {code: self._store.value(name, code) for code in set(codes)}
        return [values[code] for code in codes]

    def at(self, places: Sequence[int]) -> list[R]:
        """Return the rows at some places, read together."""
        return cast("list[R]", self._store.fetch(self.numbers[list(places)].tolist()))

    def holding(self, name: str, word: str) -> Numbers:
        """Return the places of the rows that have a word in a kept column of words."""
        codes = self.column(name)
        having = [code for code in set(codes.tolist()) if word in self._store.value(name, code)]
        return np.flatnonzero(np.isin(codes, having)) if having else np.zeros(0, np.int64)

    def __len__(self) -> int:
        if isinstance(self._numbers, slice):
            return int(self._numbers.stop - self._numbers.start)
        return len(self.numbers)

    @overload
    def __getitem__(self, index: int) -> R: ...
    @overload
    def __getitem__(self, index: slice) -> StoredRows[R]: ...
    def __getitem__(self, index: int | slice) -> R | StoredRows[R]:
        if isinstance(index, slice):
            return StoredRows(self._store, np.asarray(self.numbers[index]))
        if self._rows is not None:
            return self._rows[index]
        return cast("R", self._store.fetch([int(self.numbers[index])])[0])

    def __iter__(self) -> Iterator[R]:
        if self._rows is None:
            self._rows = tuple(cast("list[R]", self._store.read(self.numbers.tolist())))
        return iter(self._rows)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, tuple | StoredRows):
            return NotImplemented
        return len(self) == len(other) and tuple(self) == tuple(other)

    __hash__ = None  # type: ignore[assignment]


def seen_all(rows: Sequence[ScoreRow]) -> list[Seen]:
    """Return what each of a bag's scores says, in their order; times of stored ones are in UTC."""
    if not isinstance(rows, StoredRows):
        return [Seen(**{name: getattr(row, name) for name in Seen.__dataclass_fields__}) for row in rows]
    pcts = [
        [None if isnan(value) else value for value in rows.column(name).tolist()]
        for name in ("coverage_pct", "coverage_low_pct", "coverage_high_pct", "density_pct")
    ]
    return [
        Seen(
            taken_at=at_microseconds(at), photo_sha256=sha, flags=flags, coverage_pct=coverage,
            coverage_low_pct=low, coverage_high_pct=high, density_pct=density,
        )
        for at, sha, flags, coverage, low, high, density in zip(
            rows.column("taken_at").tolist(), rows.words("photo_sha256"), rows.words("flags"), *pcts,
            strict=True,
        )
    ]  # fmt: skip


def numbers_of(rows: Sequence[Row], name: str) -> NDArray[np.float64]:
    """Return a column of numbers, NaN for an empty cell.

    Parameters
    ----------
    rows : sequence of Row
        Of one type.
    name : str
        The column: of stored rows one of those that `tabled` keeps.
    """
    if isinstance(rows, StoredRows):
        return np.asarray(rows.column(name), np.float64)
    values = [getattr(row, name) for row in rows]
    return np.array([np.nan if value is None else value for value in values], np.float64)


def times_of(rows: Sequence[Row], name: str = "taken_at") -> Numbers:
    """Return a column of times as microseconds since 1970; `NO_TIME` for an empty cell."""
    if isinstance(rows, StoredRows):
        return np.asarray(rows.column(name), np.int64)
    values = [getattr(row, name) for row in rows]
    return np.array([NO_TIME if value is None else in_microseconds(value) for value in values], np.int64)


def words_of(rows: Sequence[Row], name: str) -> list[Any]:
    """Return a column's texts (None for an empty cell) or words (a tuple)."""
    return rows.words(name) if isinstance(rows, StoredRows) else [getattr(row, name) for row in rows]


def rows_at(rows: Sequence[R], places: Sequence[int]) -> list[R]:
    """Return the rows at some places; stored ones are read together."""
    if isinstance(rows, StoredRows):
        return rows.at(places)
    return [rows[place] for place in places]


def places_holding(rows: Sequence[Row], name: str, word: str) -> list[int]:
    """Return the places of the rows that have a word in a column of words, rising."""
    if isinstance(rows, StoredRows):
        return [int(place) for place in rows.holding(name, word)]
    return [place for place, row in enumerate(rows) if word in getattr(row, name)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What a bag's score in one photo says, without its outline and scale; as `ScoreRow` has it."""

    taken_at: datetime
    photo_sha256: str
    coverage_pct: float | None
    coverage_low_pct: float | None
    coverage_high_pct: float | None
    density_pct: float | None
    flags: tuple[Flag, ...]


def seen_last(rows: Sequence[ScoreRow]) -> Seen | None:
    """Return what the last of a bag's scores says; None for a bag without one."""
    if not rows:
        return None
    if not isinstance(rows, StoredRows):
        row = rows[-1]
        return Seen(**{name: getattr(row, name) for name in Seen.__dataclass_fields__})
    cell = rows.cell
    return Seen(
        taken_at=datetime.fromisoformat(cell(TAKEN_TEXT)),
        **{name: cell(name) for name in Seen.__dataclass_fields__ if name != "taken_at"},
    )


def by_bag(rows: Sequence[R]) -> dict[str, Sequence[R]]:
    """Return rows by bag, in the order in which they stand.

    Parameters
    ----------
    rows : sequence of Row
        Rows with a bag; of stored ones all that count.
    """
    if isinstance(rows, StoredRows):
        return dict(rows.of_bags())
    grouped: dict[str, list[R]] = {}
    for row in rows:
        grouped.setdefault(cast("Any", row).bag, []).append(row)
    return {bag: tuple(some) for bag, some in grouped.items()}


def _read_rows(path: Path, table: Table, numbers: Sequence[int]) -> list[Row]:
    """Return some rows of a table, read from its file.

    Parameters
    ----------
    path : Path
        The file.
    table : Table
        Its columns.
    numbers : sequence of int
        Which rows, from 0.

    Raises
    ------
    LedgerError
        When the file isn't the one any more that the table is of.
    """
    try:
        with path.open("rb") as file:
            raw = _pick(file, table, numbers)
    except OSError as error:
        msg = f"{path}: can't be read ({error.strerror})"
        raise LedgerError(msg, "Check the file's permissions, or close the program that holds it.") from error
    reading = parse_table(table.header + raw, table.row_type, source=path.name)
    if len(reading.lines) != len(numbers) or reading.problems:
        msg = f"{path} was changed while it was read."
        raise LedgerError(msg, "Run the command again.")
    return list(reading.rows)


def _pick(file: BinaryIO, table: Table, numbers: Sequence[int]) -> bytes:
    parts = []
    for number in numbers:
        file.seek(int(table.starts[number]))
        part = file.read(int(table.lengths[number]))
        parts.append(part if part.endswith(b"\n") else part + b"\n")
    return b"".join(parts)
