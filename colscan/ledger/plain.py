"""Many CSV lines at once: cells that stand as we write them, read by numpy; all others are left to `tables`.

Nothing is guessed: a line of which anything looks different is read by the parser that reads every
file, and says the same of it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.tables import Column

Bytes = NDArray[np.uint8]
Places = NDArray[np.int64]
Mask = NDArray[np.bool_]
NOT_PLAIN = re.compile(rb'["\r\0]')
"""Bytes for which a whole block goes to the other parser: cells may then hold commas and line ends."""
COMMA, NEWLINE = ord(","), ord("\n")
MOST_DIGITS = 15
"""So many make a whole number that a double holds exactly: divided by a power of ten it is the text's."""
WIDEST_NUMBER = MOST_DIGITS + 2
_DIGIT, _DOT, _MINUS, _SPACE, _CELL, _ODD = range(6)
_KINDS = np.full(256, _ODD, np.uint8)
_KINDS[ord("0") : ord("9") + 1] = _DIGIT
_KINDS[[ord("."), ord("-"), ord(" "), COMMA]] = _DOT, _MINUS, _SPACE, _CELL
_MAY_FOLLOW = np.zeros((8, 8), bool)
for _first, _then in (
    (_DIGIT, (_DIGIT, _DOT, _SPACE, _CELL)),
    (_DOT, (_DIGIT,)),
    (_MINUS, (_DIGIT,)),
    (_SPACE, (_DIGIT, _MINUS)),
    (_CELL, (_DIGIT, _MINUS, _CELL)),
):
    _MAY_FOLLOW[_first, _then] = True
_LONGEST_RUN = 300
"""A number with more digits may be more than a double holds."""


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Whole lines of a file without quotes, cut into cells.

    Parameters
    ----------
    raw : bytes
        Them, ending in a line end.
    starts, ends : ndarray, shape (lines,)
        Where each begins and where its line end stands.
    whole : ndarray of bool, shape (lines,)
        Whether it has as many cells as the header; `cuts` are those of whole lines.
    cuts : ndarray, shape (whole lines, cells + 1)
        What stands before each cell and behind the last: commas and line ends.
    """

    raw: bytes
    starts: Places
    ends: Places
    whole: Mask
    cuts: Places

    def cell(self, index: int) -> tuple[Places, Places]:
        """Return where the cells of one column begin and end."""
        return self.cuts[:, index] + 1, self.cuts[:, index + 1]


def cut_lines(raw: bytes, cells: int) -> Lines:
    """Return whole lines cut into cells; none has a quote in it.

    Parameters
    ----------
    raw : bytes
        The lines.
    cells : int
        How many the header has.
    """
    buffer = np.frombuffer(raw, np.uint8)
    newline = buffer == NEWLINE
    marks = np.flatnonzero(newline | (buffer == COMMA))
    ends = np.flatnonzero(newline)
    last = np.searchsorted(marks, ends)  # each line's end among the marks
    count = np.diff(last, prepend=-1)
    whole = count == cells
    starts = np.concatenate([[0], ends[:-1] + 1]).astype(np.int64)
    inner = last[whole, None] - np.arange(cells - 1, -1, -1)
    cuts = np.concatenate([starts[whole, None] - 1, marks[inner]], axis=1)
    return Lines(raw, starts, ends, whole, cuts)


def read_numbers(
    raw: bytes, starts: Places, ends: Places, declared: Column
) -> tuple[NDArray[np.float64], Mask]:
    """Return the numbers in some cells, NaN for an empty one, and which cells are read; the rest looks odd.

    Parameters
    ----------
    raw : bytes
        The text.
    starts, ends : ndarray
        Where the cells stand in it.
    declared : Column
        A column of whole or decimal numbers.
    """
    cells, lengths = _gather(raw, starts, ends, WIDEST_NUMBER)
    ok = lengths <= WIDEST_NUMBER
    value, digits, decimals = (np.zeros(len(starts)) for _ in range(3))
    dotted, ended_in_digit = np.zeros(len(starts), bool), np.zeros(len(starts), bool)
    for place in range(cells.shape[1]):
        char, inside = cells[:, place], place < lengths
        digit = inside & (char >= ord("0")) & (char <= ord("9"))
        dot = inside & (char == ord("."))
        minus = inside & (char == ord("-")) & (place == 0)
        ok &= ~inside | digit | minus | (dot & ~dotted & ended_in_digit)
        value = np.where(digit, value * 10 + (char.astype(np.float64) - ord("0")), value)
        digits += digit
        decimals += digit & dotted
        dotted |= dot
        ended_in_digit = np.where(inside, digit, ended_in_digit)
    empty = lengths == 0
    negative = cells[:, 0] == ord("-") if cells.shape[1] else np.zeros(len(starts), bool)
    value = np.where(negative, -value, value) / 10.0**decimals
    ok &= empty | (ended_in_digit & (digits <= MOST_DIGITS))
    ok &= empty | ((value >= declared.low) & (value <= declared.high))
    if declared.kind == "integer":
        ok &= ~dotted
    return np.where(empty, np.nan, value), ok


def _gather(raw: bytes, starts: Places, ends: Places, widest: int) -> tuple[Bytes, Places]:
    """The first bytes of each cell side by side, 0 behind its end, and the cells' lengths."""
    lengths = ends - starts
    width = min(int(lengths.max(initial=0)), widest)
    buffer = np.frombuffer(raw, np.uint8)
    at = np.minimum(starts[:, None] + np.arange(width), len(buffer) - 1)
    cells = buffer[at]
    cells[np.arange(width) >= lengths[:, None]] = 0
    return cells, lengths


def check_points(raw: bytes, starts: Places, ends: Places) -> Mask:
    """Return which cells are surely lists of x y pairs; the rest looks odd."""
    joined = b"," + b",".join([raw[a:b] for a, b in zip(starts.tolist(), ends.tolist(), strict=True)]) + b","
    kinds = _KINDS[np.frombuffer(joined, np.uint8)]
    ok = np.ones(len(starts), bool)
    borders = np.flatnonzero(kinds == _CELL)  # before each cell, and behind the last
    breaks = np.flatnonzero(kinds != _DIGIT)
    kind = kinds[breaks]
    wrong = np.flatnonzero(~_MAY_FOLLOW.ravel()[kinds[:-1] * 8 + kinds[1:]])
    two_dots = breaks[1:][(kind[1:] == _DOT) & (kind[:-1] == _DOT)]
    too_long = breaks[1:][np.diff(breaks) > _LONGEST_RUN]
    for bad in (wrong, two_dots, too_long):
        if bad.size:
            # Where a pair is wrong at a border, both cells are looked at again.
            cell = np.searchsorted(borders, bad)
            ok[np.clip(np.concatenate([cell - 1, cell]), 0, len(ok) - 1)] = False
    gaps = breaks[(kind == _SPACE) | (kind == _CELL)]
    numbers = np.diff(np.searchsorted(gaps, borders))
    even: Mask = (numbers % 2 == 0) | (starts == ends)
    return ok & even


def read_words(
    raw: bytes, starts: Places, ends: Places, code_of: Callable[[bytes], int]
) -> NDArray[np.int64]:
    """Return a code for each cell; a cell that says the same as the one above it is looked up once.

    Parameters
    ----------
    raw : bytes
        The text.
    starts, ends : ndarray
        Where the cells stand in it.
    code_of : callable
        The code of a cell's bytes.
    """
    heads = _heads(raw, starts, ends)
    firsts = zip(starts[heads].tolist(), ends[heads].tolist(), strict=True)
    codes = np.array([code_of(raw[a:b]) for a, b in firsts], np.int64)
    return codes[np.cumsum(heads) - 1] if len(codes) else codes


def _heads(raw: bytes, starts: Places, ends: Places) -> Mask:
    """Which cells differ from the one above; of very long ones all."""
    cells, lengths = _gather(raw, starts, ends, 80)
    heads = np.ones(len(starts), bool)
    same = (cells[1:] == cells[:-1]).all(axis=1) & (lengths[1:] == lengths[:-1]) & (lengths[1:] <= 80)
    heads[1:] = ~same
    return heads
