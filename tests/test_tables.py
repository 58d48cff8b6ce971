"""Cells, rows and files as declared: what is written is read again, what is wrong is named with its line."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import ClassVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colscan.errors import LedgerError
from colscan.flags import Flag
from colscan.hints import say_how_to_write
from colscan.records import split_records
from colscan.tables import (
    Column,
    Row,
    column,
    columns_of,
    format_cell,
    format_header,
    format_rows,
    parse_cell,
    parse_table,
    read_bytes,
    required_columns,
)

NOON = datetime(2026, 3, 2, 12, tzinfo=timezone(timedelta(hours=-5)))
TEXTS = st.text(st.characters(exclude_categories=["Cs"]))
NASTY = st.text(st.sampled_from("'=+-@ \t\r\n\",;aé\x00\x85\ufeff\u2028"), max_size=8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing(Row):
    """A row with a column of each kind."""

    FILE: ClassVar[str] = "things.csv"
    name: str = column(Column(kind="text", meaning="Its name."))
    count: int = column(Column(kind="integer", meaning="How many.", low=0, high=10), default=0)
    share_pct: float | None = column(
        Column(kind="number", meaning="Its share.", unit="%", low=-100, high=100), default=None
    )
    at: datetime | None = column(Column(kind="time", meaning="When."), default=None)
    place: str | None = column(
        Column(kind="choice", meaning="Where.", choices=("face", "back")), default=None
    )
    flags: tuple[Flag, ...] = column(Column(kind="words", meaning="Doubts.", choices=tuple(Flag)), default=())
    outline: tuple[tuple[float, float], ...] = column(
        Column(kind="points", meaning="Its polygon.", unit="px", decimals=1), default=()
    )
    note: str | None = column(Column(kind="text", meaning="Anything else."), default=None)


FULL = Thing(
    name="a",
    count=3,
    share_pct=12.346,
    at=NOON,
    place="back",
    flags=(Flag.GLARE, Flag.FELL),
    outline=((1.0, 2.25), (-3.0, 4.0)),
    note='said "no", twice',
)


def read(raw: bytes) -> tuple[Thing, ...]:
    """The rows of bytes that must be without problems."""
    reading = parse_table(raw, Thing, source="things.csv")
    assert reading.problems == ()
    return reading.rows


def test_exact_bytes() -> None:
    """Header and rows are plain CSV with a line feed, quoted only where need be."""
    assert format_header(Thing) == b"name,count,share_pct,at,place,flags,outline,note\n"
    assert format_rows([FULL, Thing(name="b")]) == (
        b"a,3,12.35,2026-03-02T12:00:00-05:00,back,glare fell,1 2.2 -3 4," + b'"said ""no"", twice"\n'
        b"b,0,,,,,,\n"
    )


def test_round_trip_of_each_kind() -> None:
    """Each kind of value is read as it was written, numbers to their decimals, words as members."""
    (back,) = read(format_header(Thing) + format_rows([FULL]))
    assert back == replace(FULL, share_pct=12.35, outline=((1.0, 2.2), (-3.0, 4.0)))
    assert back.flags[0].remedy == Flag.GLARE.remedy


@settings(deadline=None)
@given(st.lists(st.tuples(TEXTS | NASTY, TEXTS | NASTY), max_size=4))
def test_any_text_round_trips(texts: list[tuple[str, str]]) -> None:
    """Any text survives: quotes, line ends, outer blanks, apostrophes, formulas; an empty one is None."""
    rows = [Thing(name="x" + name, note=note) for name, note in texts]
    back = read(format_header(Thing) + format_rows(rows))
    assert back == tuple(replace(row, note=row.note or None) for row in rows)


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", " =1", "'=1", "''-"])
def test_formulas_are_guarded(text: str) -> None:
    """A text that a spreadsheet would run as a formula begins with an apostrophe in the file."""
    assert format_rows([Thing(name=text)]).lstrip(b'"').startswith(b"'" + text.encode())


def test_plain_apostrophes_stay() -> None:
    """An apostrophe that guards nothing is text."""
    assert format_rows([Thing(name="'tis")]).startswith(b"'tis,")
    assert read(format_header(Thing) + b"'tis,0,,,,,,\n")[0].name == "'tis"


def test_half_characters_of_file_names_are_spelled_out() -> None:
    """A file name whose bytes are no UTF-8 is written legibly instead of failing."""
    assert format_rows([Thing(name="IMG\udcff.jpg")]).startswith(rb"IMG\udcff.jpg,")


@settings(deadline=None)
@given(
    st.floats(-100, 100), st.datetimes(datetime(1900, 1, 1), datetime(2199, 12, 31), timezones=st.just(UTC))
)
def test_numbers_and_times_round_trip(share: float, at: datetime) -> None:
    """Numbers come back within their decimals, never as minus zero; times to the second."""
    raw = format_rows([Thing(name="x", share_pct=share, at=at)])
    (back,) = read(format_header(Thing) + raw)
    assert back.share_pct == pytest.approx(share, abs=0.005 + 1e-9)
    assert back.at == at.replace(microsecond=0)
    assert b",-0," not in raw


def test_none_is_an_empty_cell() -> None:
    """What isn't known is empty, whatever the column."""
    assert {format_cell(declared, None) for declared in columns_of(Thing).values()} == {""}
    assert required_columns(Thing) == ("name",)


def test_columns_in_any_order_with_extras_and_spreadsheet_habits() -> None:
    """Order, extra columns, a byte order mark, CRLF, blank lines and outer blanks don't matter."""
    raw = "\ufeffmine, count ,name\r\nx, 2 , a \r\n\r\n,,\r\ny,,b\r\n".encode()
    reading = parse_table(raw, Thing, source="things.csv")
    assert [(line.number, line.row.name, line.row.count) for line in reading.lines] == [
        (2, "a", 2),
        (5, "b", 0),
    ]
    assert reading.problems == ()


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        (",1,,,,,,", "name is empty"),
        ("a,1.0,,,,,,", "count: '1.0' is not a whole number"),
        ("a,1_0,,,,,,", "count: '1_0' is not a whole number"),
        ("a,11,,,,,,", "count: 11 is outside 0 to 10"),
        ('a,1,"12,5",,,,,', "share_pct: '12,5' is not a number (decimals are written with a point)"),
        ("a,1,nan,,,,,", "share_pct: 'nan' is not a number"),
        ("a,1,1e999,,,,,", "share_pct: '1e999' is not a number"),
        ("a,1,101,,,,,", "share_pct: 101 is outside -100 to 100 %"),
        ("a,1,,3/2/2026 6:00,,,,", "at: '3/2/2026 6:00' is not a time like"),
        ("a,1,,2026-03-02T06:00:00,,,,", "at: '2026-03-02T06:00:00' has no offset"),
        ("a,1,,0001-01-01T00:00:00+14:00,,,,", "at: '0001-01-01T00:00:00+14:00' is not a time like"),
        ("a,1,,9999-12-31T23:59:59-12:00,,,,", "at: '9999-12-31T23:59:59-12:00' is not a time like"),
        ("a,1,,,top,,,", "place: 'top' is none of its words"),
        ("a,1,,,,glare odd,,", "flags: 'odd' is none of"),
        ("a,1,,,,,1 2 3,", "outline: 3 numbers are no list of x y pairs"),
        ("a,1,,,,,,,", "has 9 cells where the header has 8"),
    ],
)
def test_bad_cells_are_named_with_their_line(cells: str, message: str) -> None:
    """A line that is no row is a problem with file, line and value; the lines around it are read."""
    raw = format_header(Thing) + b'ok,,,,,,,"two\nlines"\n' + cells.encode() + b"\nok,,,,,,,\n"
    reading = parse_table(raw, Thing, source="things.csv")
    assert len(reading.rows) == 2
    (problem,) = reading.problems
    assert problem.source == "things.csv:4"
    assert message in problem.message
    assert problem.hint


@pytest.mark.parametrize(
    ("cells", "hint"),
    [
        ("a,1.0,,,,,,", "Write a whole number, from 0 to 10. How many."),
        ("a,1,much,,,,,", "Write a number with a decimal point, from -100 to 100. Its share."),
        ("a,1,,noon,,,,", "Write a time with its offset, like 2026-03-02T06:00:00-05:00."),
        ("a,1,,,top,,,", "Write one of: face, back."),
        ("a,1,,,,odd,,", f"Write any of these, with blanks between: {', '.join(Flag)}."),
        ("a,1,,,,,1 2 3,", "Write x y x y ..., numbers with a decimal point and blanks between."),
        (",1,,,,,,", "Fill in: Its name."),
    ],
)
def test_hints_say_how_to_write_the_cell(cells: str, hint: str) -> None:
    """What to do, in the column's own terms."""
    (problem,) = parse_table(format_header(Thing) + cells.encode(), Thing, source="things.csv").problems
    assert problem.hint == hint


def test_hints_for_numbers_without_an_end() -> None:
    """A range that is open above gives an example."""
    assert say_how_to_write(Column(kind="number", meaning="m", low=0)) == (
        "Write a number with a decimal point, like 12.5, 0 or more. m"
    )
    assert say_how_to_write(Column(kind="integer", meaning="m")) == "Write a whole number, like 3. m"


@pytest.mark.parametrize(
    ("header", "hint"),
    [
        (b"Name,count\n", "There is a column 'Name': did you mean 'name'? Then rename it."),
        (b"nmae\n", "There is a column 'nmae': did you mean 'name'? Then rename it."),
        (b"count,note\n", "Add it to the first line: Its name."),
    ],
)
def test_hints_for_a_missing_column(header: bytes, hint: str) -> None:
    """The column that was meant, or what to add."""
    (problem,) = parse_table(header, Thing, source="things.csv").problems
    assert problem.hint == hint


@pytest.mark.parametrize(
    ("raw", "where", "message"),
    [
        (b"count\n1\n", "things.csv:1", "required column 'name' is missing"),
        (b"name,note,note\na,b,c\n", "things.csv:1", "column 'note' stands twice"),
        (b'"name,count\n', "things.csv:1", "a quote is opened and never closed"),
        (b"name\na\n\xff\n", "things.csv:3", "is not UTF-8"),
        (b'name\na\nb\n"c\nd\n', "things.csv:4", "a quote is opened and never closed"),
        (b'name\n"a"b\nc\n', "things.csv:2", "is not CSV"),
    ],
)
def test_broken_files_are_named_with_their_line(raw: bytes, where: str, message: str) -> None:
    """A broken header, quote or encoding is one problem that says where it begins."""
    (problem,) = parse_table(raw, Thing, source="things.csv").problems
    assert problem.source == where
    assert message in problem.message


@settings(deadline=None)
@given(TEXTS | st.text(st.sampled_from('a,"\r\n'), max_size=30))
def test_records_cover_the_text(text: str) -> None:
    """Records follow each other without gap, and up to a broken quote they cover the whole text."""
    records = list(split_records(text))
    assert "".join(text[r.start : r.end] for r in records) == text[: records[-1].end if records else 0]
    assert not records or records[-1].error or records[-1].end == len(text)


def test_missing_and_unreadable_files(tmp_path: Path) -> None:
    """A missing or empty file holds no rows; one that can't be read at all is an error."""
    (tmp_path / "empty.csv").touch()
    for name in ("none.csv", "empty.csv"):
        assert parse_table(read_bytes(tmp_path / name), Thing, source=name).rows == ()
    with pytest.raises(LedgerError, match="can't be read"):
        read_bytes(tmp_path)


@pytest.mark.parametrize("text", ["/../../x", "**abcdef", "5e1d07c2/", "x" * 64, "5e1d07c2\\x"])
def test_a_sha256_leads_nowhere(text: str) -> None:
    """It becomes part of files' names: letters of a hash are taken, what a path is made of is not."""
    declared = Column(kind="sha256", meaning="Its bytes' hash.")
    assert parse_cell(declared, "5e1d07c2" + 56 * "0") == "5e1d07c2" + 56 * "0"
    with pytest.raises(ValueError, match="is no SHA-256"):
        parse_cell(declared, text)
