"""Rows that stay in their file until somebody asks for them, and their figures without reading them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, TypeVar, cast, overload

import numpy as np
from numpy.typing import NDArray

from colscan.errors import LedgerError
from colscan.ledger.tabled import NO_TIME, NOTHING, Table, Words, read_rows
from colscan.tables import Row, columns_of, parse_cell
from colscan.units import in_microseconds

R = TypeVar("R", bound=Row)
Numbers = NDArray[np.int64]
AT_ONCE = 20_000
"""Rows read in one go: more would hold much text beside them."""


@dataclass(frozen=True, slots=True, eq=False)
class Store:
    """A file with its columns, and the rows that were read from it one by one."""

    path: Path
    table: Table
    words: Words
    memo: dict[int, Row] = field(default_factory=dict)

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
            rows += self._checked(some, read_rows(self.path, self.table, some))
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
    numbers : ndarray of int
        Which, from 0, in order; or what gives them when they are needed.
    by_bag : dict of str to ndarray, optional
        The same rows by bag, each in order.
    """

    __slots__ = ("_by_bag", "_numbers", "_rows", "_store")

    def __init__(
        self,
        store: Store,
        numbers: Numbers | Callable[[], Numbers],
        by_bag: dict[str, Numbers] | None = None,
    ) -> None:
        self._store = store
        self._numbers = numbers
        self._by_bag = by_bag
        self._rows: tuple[R, ...] | None = None

    @property
    def numbers(self) -> Numbers:
        """Which rows of the file."""
        if callable(self._numbers):
            self._numbers = self._numbers()
        return self._numbers

    def of_bags(self) -> dict[str, StoredRows[R]]:
        """Return the rows by bag, each bag's in order; made of nothing but a file of bags."""
        assert self._by_bag is not None
        return {bag: StoredRows(self._store, numbers) for bag, numbers in self._by_bag.items()}

    def pick(self, chosen: NDArray[Any]) -> StoredRows[R]:
        """Return some of them, by their places or by a mask."""
        return StoredRows(self._store, self.numbers[chosen])

    def column(self, name: str) -> NDArray[Any]:
        """Return a kept column: numbers, microseconds or codes."""
        return self._store.table.columns[name][self.numbers]

    def words(self, name: str) -> list[Any]:
        """Return the values of a kept column of texts or words."""
        declared = columns_of(self._store.table.row_type)[name]
        texts = self._store.words.texts
        empty: Any = () if declared.kind == "words" else None
        codes = self.column(name)
        values = {
            code: parse_cell(declared, texts[code]) if declared.kind == "words" else texts[code]
            for code in set(codes.tolist()) - {NOTHING}
        } | {NOTHING: empty}
        return [values[code] for code in codes.tolist()]

    @property
    def store(self) -> Store:
        """Where they are."""
        return self._store

    def __len__(self) -> int:
        return len(self.numbers)

    @overload
    def __getitem__(self, index: int) -> R: ...
    @overload
    def __getitem__(self, index: slice) -> StoredRows[R]: ...
    def __getitem__(self, index: int | slice) -> R | StoredRows[R]:
        if isinstance(index, slice):
            return StoredRows(self._store, self.numbers[index])
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


def read_last(many: Iterable[Sequence[Row]]) -> None:
    """Read the last row of each of many sequences from their files in one go, so that it is at hand."""
    wanted: dict[Store, list[int]] = {}
    for rows in many:
        if isinstance(rows, StoredRows) and len(rows):
            wanted.setdefault(rows.store, []).append(int(rows.numbers[-1]))
    for store, numbers in wanted.items():
        store.fetch(numbers)


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
