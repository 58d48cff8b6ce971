"""Rows as table, CSV and JSON: the exact text."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime

from colscan.present import render_rows
from colscan.present.table import TABLE_WIDTH, Cell

HEADER = ("bag", "points a day", "colonized %", "why")
ROWS: tuple[tuple[Cell, ...], ...] = (
    ("PO3-1", 8.25, " 62 (57-68)", "8.3 points a day"),
    ("PO3-10", None, "", "no photo yet"),
    ("Büche", 12, "100 (97-100)", None),
)


def test_table_is_aligned() -> None:
    """Headers wrap and stand on the rule, numbers to the right, text to the left, no blanks at line ends."""
    assert render_rows(HEADER, ROWS, "table") == (
        "        points\n"
        "bag      a day  colonized %   why\n"
        "------  ------  ------------  ----------------\n"
        "PO3-1     8.25   62 (57-68)   8.3 points a day\n"
        "PO3-10                        no photo yet\n"
        "Büche       12  100 (97-100)\n"
    )


def test_table_without_rows_is_its_header() -> None:
    """Nothing to show still says what would stand there."""
    assert render_rows(("bag", "day"), (), "table") == "bag  day\n---  ---\n"


def test_table_wraps_its_last_column_to_the_width() -> None:
    """A long reason goes on below itself, and no line passes the width."""
    lines = render_rows(("bag", "why"), [("B1", "word " * 60)], "table").splitlines()
    assert len(lines) == 2 + 3
    assert all(line.startswith("     word") for line in lines[3:])
    assert max(map(len, lines)) <= TABLE_WIDTH


def test_table_counts_wide_letters_twice() -> None:
    """East Asian letters take two columns of a terminal."""
    assert render_rows(("bag", "day"), [("菌1", 1), ("ab", 2)], "table") == (
        "bag  day\n---  ---\n菌1    1\nab     2\n"
    )


def test_table_keeps_notes_from_steering_the_terminal() -> None:
    """Line ends and escape codes in a note become blanks."""
    assert render_rows(("note",), [("a\nb\x1b[2Jc",)], "table").endswith("a b [2Jc\n")


def test_csv_guards_texts_that_begin_like_a_formula() -> None:
    """Numbers stay numbers, times are ISO 8601, None is empty, quotes are doubled."""
    when = datetime(2026, 3, 2, 6, tzinfo=UTC)
    text = render_rows(("a", "b", "c", "d", "e"), [('say "x", y', "=1+1", -2.5, None, when)], "csv")
    assert text == 'a,b,c,d,e\n"say ""x"", y",\'=1+1,-2.5,,2026-03-02T06:00:00+00:00\n'
    assert list(csv.reader(io.StringIO(text)))[1][0] == 'say "x", y'


def test_json_has_a_schema_and_a_row_each() -> None:
    """Values keep their types."""
    when = datetime(2026, 3, 2, 6, tzinfo=UTC)
    text = render_rows(("bag", "day", "at"), [("Büche", 1.5, when), ("B2", None, None)], "json")
    assert "Büche" in text
    assert json.loads(text) == {
        "schema": 1,
        "rows": [
            {"bag": "Büche", "day": 1.5, "at": "2026-03-02T06:00:00+00:00"},
            {"bag": "B2", "day": None, "at": None},
        ],
    }
