"""Which rows of large files count, and in which order: what `read` does row by row, done by column."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.ledger.stored import Numbers, Store, StoredRows
from colscan.ledger.tabled import Table, Words
from colscan.tables import Row

_HIGH = 32
"""Bits by which one code is shifted to stand before another."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """The rows of photos, scores and suspects that count, and how many rows wait for their commit mark."""

    photos: StoredRows[PhotoRow]
    scores: StoredRows[ScoreRow]
    suspects: StoredRows[SuspectRow]
    unmarked: int


@dataclass(frozen=True, slots=True)
class _Ranked:
    """Of each row: whether its photo is recorded, whether its method counts, and its place in time."""

    marked: NDArray[np.bool_]
    counts: NDArray[np.bool_]
    rank: Numbers


def count_rows(folder: Path, tables: dict[type[Row], Table], words: Words) -> Measured:
    """Return the rows that count.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    tables : dict of type to Table
        Its files' columns.
    words : Words
        Their texts.
    """
    photos, scores, suspects = (tables[row_type] for row_type in (PhotoRow, ScoreRow, SuspectRow))
    method_of = _methods(photos)
    ranked = {t: _rank(t, method_of, words) for t in (photos, scores, suspects)}
    chosen, first = _last_of_each(scores, ranked[scores].counts)
    order = _by_bag(scores, chosen, ranked[scores].rank)
    seen = np.flatnonzero(ranked[suspects].counts & _of_scores(suspects, scores, chosen))
    return Measured(
        photos=StoredRows(
            Store(folder / PhotoRow.FILE, photos, words), _photos_in_order(photos, ranked[photos].rank)
        ),
        scores=StoredRows(
            Store(folder / ScoreRow.FILE, scores, words, order),
            lambda: chosen[np.lexsort((first, ranked[scores].rank[chosen]))],
        ),
        suspects=StoredRows(
            Store(folder / SuspectRow.FILE, suspects, words, _by_bag(suspects, seen, ranked[suspects].rank)),
            seen[np.argsort(ranked[suspects].rank[seen], kind="stable")],
        ),
        unmarked=sum(int((~ranked[t].marked).sum()) for t in (scores, suspects)),
    )


def _methods(photos: Table) -> dict[int, list[int]]:
    """By photo the methods that scanned it, the one that came last at the end."""
    rows = _in_order_of_scanning(photos, np.arange(len(photos)))
    found: dict[int, list[int]] = {}
    for sha, method in zip(
        *(photos.columns[name][rows].tolist() for name in ("photo_sha256", "method")), strict=True
    ):
        found.setdefault(sha, []).append(method)
    return found


def _rank(table: Table, method_of: Mapping[int, list[int]], words: Words) -> _Ranked:
    """Rows of one photo stand together, so that there is little to look up."""
    taken, sha, method = (table.columns[name] for name in ("taken_at", "photo_sha256", "method"))
    heads = np.ones(len(table), bool)
    heads[1:] = (taken[1:] != taken[:-1]) | (sha[1:] != sha[:-1]) | (method[1:] != method[:-1])
    times, codes, methods = (column[heads].tolist() for column in (taken, sha, method))
    photos = [(time, words.texts[code]) for time, code in zip(times, codes, strict=True)]
    place = {photo: i for i, photo in enumerate(sorted(set(photos)))}
    which = np.cumsum(heads) - 1
    theirs = [(method, method_of.get(code, [])) for code, method in zip(codes, methods, strict=True)]
    marked = np.array([method in known for method, known in theirs], bool)
    counts = np.array([method in known[-1:] for method, known in theirs], bool)
    rank = np.array([place[photo] for photo in photos], np.int64)
    return _Ranked(marked[which], counts[which], rank[which])


def _in_order_of_scanning(table: Table, rows: Numbers) -> Numbers:
    at = table.columns["scanned_at"][rows]
    return rows if (at[1:] >= at[:-1]).all() else rows[np.argsort(at, kind="stable")]


def _pair(high: NDArray[Any], low: NDArray[Any]) -> Numbers:
    return (high.astype(np.int64) << _HIGH) | low.astype(np.int64)


def _last_of_each(scores: Table, marked: NDArray[np.bool_]) -> tuple[Numbers, Numbers]:
    """Of each bag in each photo the row scanned last, and where the first stands in order of scanning."""
    rows = _in_order_of_scanning(scores, np.flatnonzero(marked))
    keys = _pair(scores.columns["bag"][rows], scores.columns["photo_sha256"][rows])
    order = np.argsort(keys, kind="stable")
    new = np.ones(len(order) + 1, bool)
    new[1:-1] = np.diff(keys[order]) != 0
    return rows[order[new[1:]]], order[new[:-1]]


def _by_bag(table: Table, rows: Numbers, rank: Numbers) -> Numbers:
    return rows[np.argsort(_pair(table.columns["bag"][rows], rank[rows]), kind="stable")]


def _of_scores(suspects: Table, scores: Table, chosen: Numbers) -> NDArray[np.bool_]:
    """Which suspects are of the scores that count."""
    columns = scores.columns
    keys = _pair(columns["bag"][chosen], columns["photo_sha256"][chosen])
    order = np.argsort(keys)
    wanted = _pair(suspects.columns["bag"], suspects.columns["photo_sha256"])
    if not len(keys):
        return np.zeros(len(wanted), bool)
    at = np.minimum(np.searchsorted(keys, wanted, sorter=order), len(keys) - 1)
    found = chosen[order[at]]
    same = keys[order[at]] == wanted
    return np.asarray(same & (columns["method"][found] == suspects.columns["method"]))


def _photos_in_order(photos: Table, rank: Numbers) -> Numbers:
    rows = _in_order_of_scanning(photos, np.arange(len(photos)))
    last = dict(zip(photos.columns["photo_sha256"][rows].tolist(), rows.tolist(), strict=True))
    chosen = np.array(list(last.values()), np.int64)
    return chosen[np.argsort(rank[chosen], kind="stable")]
