"""A ledger saved by a spreadsheet is read with the same meaning, or refused by name; never corrupted."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from spreadsheet import KEPT, with_decimal_commas

from colscan.errors import LedgerError
from colscan.ledger import append_photo, append_row, read_ledger
from colscan.ledger.columns import (
    LEDGER_TABLES,
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
from colscan.records import format_record
from colscan.tables import Row, columns_of, format_rows, parse_table

AT = datetime(2026, 3, 9, 10, 5, tzinfo=UTC)
Found = tuple[PhotoRow, list[ScoreRow], list[SuspectRow]]
SHA = "5e1d07c2" + 56 * "0"
SCAN = (PhotoRow, ScoreRow, SuspectRow)
SAID: tuple[Row, ...] = (
    VerdictRow(at=AT, bag="B01", patch="p1", photo_sha256=SHA, call="unsure", by="-me", note="wet; é, or"),
    EventRow(at=AT, scope="bag", name="B01", what="shaken", detail='"hard",\nto loosen it'),
    HarvestRow(at=AT, bag="B01", flush=1, fresh_g=512.5, saleable_g=480.25, note="good"),
    BatchRow(mix_batch="M1", at=AT, ingredient="pellets", lot="A12", weight_g=2030.5, moisture_pct=7.25),
    HeatRunRow(heat_run="H1", started_at=AT, core_celsius=95.5, method="steam", note="none"),
    TemperatureRow(at=AT, place="room", celsius=21.5, fahrenheit=70.7),
    EstimateRow(at=AT, bag="B01", photo_sha256="5e1d07c2", coverage_pct=12.5, by="K", blind="yes"),
)


def later(row: Row) -> Row:
    """The same, said an hour later of another flush, lot, run or person: it replaces nothing."""
    keys = {"flush": 2, "lot": "B1", "heat_run": "H2", "by": "N"}
    news = {name: value for name, value in keys.items() if hasattr(row, name)}
    time = "started_at" if isinstance(row, HeatRunRow) else "at"
    return replace(row, **{time: AT + timedelta(hours=1)}, **news)  # type: ignore[type-var]


@pytest.fixture
def folder(tmp_path: Path, find_rows) -> Path:
    """A ledger with two photos, and one row of each kind said."""
    for day in (3, 4):
        photo, scores, suspects = find_rows(day)
        scores = [replace(score, outline=((1.5, 2.0), (3.0, 4.5), (5.0, 1.0))) for score in scores]
        append_photo(tmp_path, photo, scores, suspects)
    for row in SAID:
        append_row(tmp_path, row)
    return tmp_path


def table(raw: bytes) -> tuple[str, list[list[str]]]:
    """The delimiter and the cells of CSV bytes, found without colscan."""
    text = raw.decode("utf-8-sig")
    delimiter = max(",;\t", key=text.splitlines()[0].count)
    return delimiter, list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))


@pytest.mark.parametrize("edit", KEPT)
@pytest.mark.parametrize("row_type", LEDGER_TABLES)
def test_saved_by_a_spreadsheet(folder: Path, find_rows, row_type: type[Row], edit: str) -> None:
    """The same rows are read; what is appended is written as the rest of the file is, and is read again."""
    path = folder / row_type.FILE
    before = read_ledger(folder)
    path.write_bytes(KEPT[edit](path.read_bytes(), row_type))
    edited = path.read_bytes()
    assert read_ledger(folder) == before
    new = append_more(folder, row_type, find_rows(5))
    after = path.read_bytes()
    assert after.startswith(edited)
    rows = parse_table(after, row_type, source="").rows
    assert len(rows) == len(parse_table(edited, row_type, source="").rows) + len(new)
    assert format_rows(rows[-len(new) :]) == format_rows(new)
    delimiter, cells = table(after)
    assert delimiter == table(edited)[0]
    assert {len(row) for row in cells} == {len(cells[0])}
    end = next(end for end in (b"\r\n", b"\n", b"\r") if end in edited)
    assert after.endswith(end)
    assert (end == b"\r\n") == (after[len(edited) :].count(b"\r\n") > 0)
    if "commas" in edit:
        last = zip(cells[0], cells[-1], strict=True)
        assert not any("." in cell for name, cell in last if kind(row_type, name) == "number")


def append_more(folder: Path, row_type: type[Row], found: Found) -> list[Row]:
    """Append another photo, or another row of a kind; those of the type asked for."""
    if row_type not in SCAN:
        new = [later(row) for row in SAID if isinstance(row, row_type)]
        append_row(folder, *new)
        return new
    photo, scores, suspects = found
    assert append_photo(folder, photo, scores, suspects)
    return [row for row in (photo, *scores, *suspects) if isinstance(row, row_type)]


def kind(row_type: type[Row], name: str) -> str:
    """A column's kind; nothing for one of the grower's own."""
    declared = columns_of(row_type).get(name)
    return declared.kind if declared else ""


def first(row_type: type[Row], kinds: tuple[str, ...]) -> str | None:
    """The first required column of some kinds."""
    return next((name for name, c in columns_of(row_type).items() if c.kind in kinds), None)


def put(raw: bytes, row_type: type[Row], name: str, cell: str) -> bytes:
    """The file with another cell in its first row."""
    _, rows = table(raw)
    rows[1][rows[0].index(name)] = cell
    return b"".join(format_record(row) for row in rows)


MANGLED = {
    "a date": (("time",), "12/03/2026 14:05", "is not a time like 2026-03-02T06:00:00-05:00"),
    "a date without offset": (("time",), "2026-03-12 14:05", "has no offset from UTC"),
    "TRUE": (("choice", "number", "integer"), "TRUE", "TRUE"),
    "a comma in a file with commas": (("number",), "12,5", "decimals are written with a point"),
    "thousands": (("number",), "1,234.5", "is not a number"),
}


@pytest.mark.parametrize("how", MANGLED)
@pytest.mark.parametrize("row_type", LEDGER_TABLES)
def test_mangled_cells_are_refused(folder: Path, row_type: type[Row], how: str) -> None:
    """With file, line, column, value and what to do; nothing is changed."""
    kinds, cell, said = MANGLED[how]
    name = first(row_type, kinds)
    if name is None:
        assert how not in ("a date", "a date without offset")
        return
    path = folder / row_type.FILE
    path.write_bytes(put(path.read_bytes(), row_type, name, cell))
    edited = path.read_bytes()
    with pytest.raises(LedgerError) as caught:
        read_ledger(folder)
    assert f"{path}:2: {name}: {cell!r}" in caught.value.message
    assert said in caught.value.message
    assert "Write" in caught.value.hint
    assert path.read_bytes() == edited


@pytest.mark.parametrize(
    "row_type", [t for t in LEDGER_TABLES if {"photo_sha256", "bag"} & set(columns_of(t))]
)
def test_codes_that_became_numbers_are_refused(folder: Path, row_type: type[Row]) -> None:
    """A hash or a code that a spreadsheet took for a number."""
    path = folder / row_type.FILE
    raw = path.read_bytes()
    for name in {"photo_sha256", "bag"} & set(columns_of(row_type)):
        for cell in ("1.23457E+63", "5E+05"):
            path.write_bytes(put(raw, row_type, name, cell))
            with pytest.raises(LedgerError, match="is what a spreadsheet made of a code") as caught:
                read_ledger(folder)
            assert f"{path}:2: {name}: {cell!r}" in caught.value.message


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "latin-1"])
@pytest.mark.parametrize("row_type", LEDGER_TABLES)
def test_other_encodings_are_refused(folder: Path, find_rows, row_type: type[Row], encoding: str) -> None:
    """By reader and writer alike, and not a byte is added."""
    path = folder / row_type.FILE
    name = first(row_type, ("text",))
    assert name is not None
    text = put(path.read_bytes(), row_type, name, "é").decode()
    path.write_bytes(text.encode(encoding))
    edited = path.read_bytes()
    with pytest.raises(LedgerError, match=row_type.FILE) as caught:
        read_ledger(folder)
    assert caught.value.hint
    with pytest.raises(LedgerError, match=row_type.FILE):
        append_more(folder, row_type, find_rows(5))
    assert path.read_bytes() == edited


def test_points_among_decimal_commas_are_refused(folder: Path) -> None:
    """1.234 may be a thousand there: which, nobody can tell."""
    path = folder / HarvestRow.FILE
    append_row(folder, HarvestRow(at=AT, bag="B01", flush=2, fresh_g=1.234, saleable_g=0.5))
    _, *rows = with_decimal_commas(path.read_bytes(), HarvestRow)
    head, _, second = path.read_bytes().decode().splitlines()
    local = [head.replace(",", ";"), ";".join(rows[0]), second.replace(",", ";")]
    path.write_text("\n".join(local) + "\n", encoding="utf-8")
    with pytest.raises(
        LedgerError, match=r"harvests\.csv:3: fresh_g: '1\.23' has a point, and other"
    ) as caught:
        read_ledger(folder)
    assert "Write all numbers of the file alike" in caught.value.hint


def test_a_number_written_by_hand_at_the_end_of_a_local_file(folder: Path) -> None:
    """An editor that leaves the last line without line end costs no row there either."""
    path = folder / TemperatureRow.FILE
    lines = ("at;place;celsius", "2026-03-09 10:05+00:00;room;20,5", "2026-03-09 11:05+00:00;room;21,5")
    path.write_text("\n".join(lines), "utf-8")
    append_row(folder, TemperatureRow(at=AT + timedelta(hours=2), place="room", celsius=22.5))
    assert [row.celsius for row in read_ledger(folder).temperatures] == [20.5, 21.5, 22.5]
    assert path.read_text("utf-8").splitlines()[-1] == "2026-03-09T12:05:00+00:00;room;22,5"


def test_blank_rows_are_no_photos(folder: Path, find_rows) -> None:
    """Rows of empty cells in the scan's files neither stop the writer nor count."""
    for row_type in SCAN:
        path = folder / row_type.FILE
        path.write_bytes(path.read_bytes() + b"," * (len(columns_of(row_type)) - 1) + b"\n")
    before = read_ledger(folder)
    assert append_photo(folder, *find_rows(3)) is False
    photos = folder / PhotoRow.FILE
    photos.write_bytes(photos.read_bytes().splitlines(keepends=True)[0])
    with pytest.raises(LedgerError, match=r"holds rows of 2 photos, and photos\.csv knows none"):
        append_photo(folder, *find_rows(5))
    assert len(before.photos) == 2
