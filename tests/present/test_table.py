"""Rows as table, CSV and JSON: the exact text."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import UTC, datetime

import pytest

from colscan.present import Screen, render_rows
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


WIDE_HEADER = ("bag", "treatment", "colonized %", "what to do", "why")
WIDE: tuple[tuple[Cell, ...], ...] = (
    ("PO3-1", "soy hulls and bran 12.5 %", " 62 (57-68)", "turn it and look", "98.2 % in two photos running"),
    ("PO3-2", "none", "100 (97-100)", "wait", ""),
)


@pytest.mark.parametrize("width", [40, 50, 60, 70, 80, 90, 110])
def test_table_fits_its_screen_and_breaks_no_number(width: int) -> None:
    """Whatever its width, no line passes it, and every number and code is on some line whole."""
    text = render_rows(WIDE_HEADER, WIDE, "table", screen=Screen(width=width))
    assert max(map(len, text.splitlines())) <= width
    for whole in ("PO3-1", "12.5", "62", "(57-68)", "100", "(97-100)", "98.2"):
        assert whole in text.split(), (whole, text)


def test_narrow_table_to_the_letter() -> None:
    """The widest texts are wrapped between words, and the last column goes under its row."""
    assert render_rows(WIDE_HEADER, WIDE, "table", screen=Screen(width=60)) == (
        "bag    treatment              colonized %   what to do\n"
        "    why\n"
        "-----  ---------------------  ------------  ----------------\n"
        "PO3-1  soy hulls and bran      62 (57-68)   turn it and look\n"
        "       12.5 %\n"
        "    98.2 % in two photos running\n"
        "PO3-2  none                   100 (97-100)  wait\n"
    )


def test_bold_marks_the_header_and_what_needs_a_person_only() -> None:
    """The same text with the marks taken out; blanks between columns are not marked."""
    plain = render_rows(WIDE_HEADER, WIDE, "table")
    bold = render_rows(WIDE_HEADER, WIDE, "table", screen=Screen(bold=True), strong=("turn it and look",))
    assert re.sub(r"\x1b\[[01]m", "", bold) == plain
    marked = re.findall(r"\x1b\[1m(.*?)\x1b\[0m", bold)
    assert marked == [*WIDE_HEADER, "turn it and look"]


def test_csv_comes_back_whatever_line_ends_a_text_has() -> None:
    """A note with the line end of an old system is one cell still."""
    text = render_rows(("a", "b"), [("one\rtwo", "three\nfour"), ("", "five")], "csv")
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert rows == [["a", "b"], ["one\rtwo", "three\nfour"], ["", "five"]]


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
