"""Which rows of large files count, and in which order: what `read` does row by row, done by column."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.ledger.stored import Numbers, Store, StoredRows
from colscan.ledger.tabled import NOTHING, Table, Words
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
    scanned = _in_order_of_scanning(photos, np.arange(len(photos)))
    places = _places_of_photos((photos, scores, suspects), words)
    ranked = {t: _rank(t, photos, scanned, places) for t in (photos, scores, suspects)}
    chosen, first = _last_of_each(scores, ranked[scores].counts)
    order = _by_bag(scores, chosen, ranked[scores].rank)
    seen = np.flatnonzero(ranked[suspects].counts & _of_scores(suspects, scores, chosen))
    return Measured(
        photos=StoredRows(
            Store(folder / PhotoRow.FILE, photos, words),
            _photos_in_order(photos, scanned, ranked[photos].rank),
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


def _places_of_photos(tables: Sequence[Table], words: Words) -> Numbers:
    """By the code of a photo's SHA-256 its place among them all, sorted as texts; 0 for other codes."""
    codes = np.unique(np.concatenate([table.columns["photo_sha256"][_heads(table)] for table in tables]))
    places = np.zeros(len(words.texts), np.int64)
    places[sorted(codes.tolist(), key=words.texts.__getitem__)] = np.arange(len(codes))
    return places


def _heads(table: Table) -> NDArray[np.bool_]:
    """Where rows of another photo or method begin: those of one stand together, so that there are few."""
    heads = np.zeros(len(table), bool)
    heads[:1] = True
    for name in ("taken_at", "photo_sha256", "method"):
        heads[1:] |= np.diff(table.columns[name]) != 0
    return heads


def _rank(table: Table, photos: Table, scanned: Numbers, places: Numbers) -> _Ranked:
    """`scanned` are the rows of photos in order of scanning, `places` those of `_places_of_photos`."""
    heads = _heads(table)
    taken, sha, method = (table.columns[name][heads] for name in ("taken_at", "photo_sha256", "method"))
    known_sha, known_method = (photos.columns[name][scanned] for name in ("photo_sha256", "method"))
    last_method = np.full(len(places), NOTHING)
    last_method[known_sha] = known_method  # of several the last
    marked = np.isin(_pair(sha, method), _pair(known_sha, known_method))
    order = np.lexsort((places[sha], taken))
    new = (np.diff(taken[order]) != 0) | (np.diff(sha[order]) != 0)
    rank = np.zeros(len(order), np.int64)
    rank[order[1:]] = np.cumsum(new)
    which = np.cumsum(heads) - 1
    return _Ranked(marked[which], (marked & (method == last_method[sha]))[which], rank[which])


def _in_order_of_scanning(table: Table, rows: Numbers) -> Numbers:
    at = table.columns["scanned_at"][rows]
    return rows if (at[1:] >= at[:-1]).all() else rows[np.argsort(at, kind="stable")]


def _pair(high: NDArray[Any], low: NDArray[Any]) -> Numbers:
    return (high.astype(np.int64) << _HIGH) | low.astype(np.int64)


def _last_of_each(scores: Table, marked: NDArray[np.bool_]) -> tuple[Numbers, Numbers]:
    """Of each bag in each photo the row scanned last, and where the first stands in order of scanning.

    In order of the codes of bag and photo.
    """
    rows = _in_order_of_scanning(scores, np.flatnonzero(marked))
    keys = _pair(scores.columns["bag"][rows], scores.columns["photo_sha256"][rows])
    order = np.argsort(keys, kind="stable")
    new = np.ones(len(order) + 1, bool)
    new[1:-1] = np.diff(keys[order]) != 0
    return rows[order[new[1:]]], order[new[:-1]]


def _by_bag(table: Table, rows: Numbers, rank: Numbers) -> Numbers:
    return rows[np.argsort(_pair(table.columns["bag"][rows], rank[rows]), kind="stable")]


def _of_scores(suspects: Table, scores: Table, chosen: Numbers) -> NDArray[np.bool_]:
    """Which suspects are of the scores that count, those being in order of bag and photo."""
    columns = scores.columns
    keys = _pair(columns["bag"][chosen], columns["photo_sha256"][chosen])
    wanted = _pair(suspects.columns["bag"], suspects.columns["photo_sha256"])
    if not len(keys):
        return np.zeros(len(wanted), bool)
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    found, same = chosen[at], keys[at] == wanted
    return np.asarray(same & (columns["method"][found] == suspects.columns["method"]))


def _photos_in_order(photos: Table, scanned: Numbers, rank: Numbers) -> Numbers:
    sha = photos.columns["photo_sha256"][scanned]
    last = np.full(sha.max(initial=0) + 1, NOTHING)
    last[sha] = scanned  # of several the last
    chosen: Numbers = last[last != NOTHING]
    return chosen[np.argsort(rank[chosen], kind="stable")]
