"""CSV texts changed cell by cell."""

from __future__ import annotations

import csv
import io
from random import Random

from nasty import WORDS, spoil, spoil_lines


def spoil_cells(text: str, rng: Random) -> str:
    """Return a CSV text with one cell, column or line changed, its quotes whole for the most part."""
    how = rng.random()
    try:
        rows = list(csv.reader(io.StringIO(text, newline="")))
    except csv.Error:
        rows = []
    if not rows or how < 0.25:
        return spoil_lines(text, rng)
    if how < 0.35:
        at, to = rng.randrange(len(rows[0]) or 1), rng.randrange(len(rows[0]) or 1)
        for row in rows:
            if max(at, to) < len(row):
                row[at], row[to] = (row[to], row[at]) if how < 0.3 else (row[at], row[at])
    else:
        row = rows[rng.randrange(len(rows))] or [""]
        at = rng.randrange(len(row))
        row[at] = rng.choice(WORDS) if how < 0.8 else spoil(row[at], rng)
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
