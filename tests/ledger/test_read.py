"""Reading gives the rows that count, and names the line that is none."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from colscan.errors import LedgerError
from colscan.ledger import Ledger, append_photo, append_row, read_ledger, read_scans
from colscan.ledger.columns import (
    BatchRow,
    EstimateRow,
    EventRow,
    HarvestRow,
    HeatRunRow,
    TemperatureRow,
    VerdictRow,
)

AT = datetime(2026, 3, 9, 10, 5, tzinfo=UTC)


def test_an_empty_folder_is_an_empty_ledger(tmp_path: Path) -> None:
    """Files that aren't there hold no rows."""
    assert read_ledger(tmp_path) == Ledger()


def test_rows_come_back_in_order_of_taken_at(tmp_path: Path, find_rows) -> None:
    """What was appended is read as it was, whatever the order of scanning."""
    for day in (5, 3, 4):
        append_photo(tmp_path, *find_rows(day))
    ledger = read_ledger(tmp_path)
    assert [row.photo for row in ledger.photos] == ["IMG_3.jpg", "IMG_4.jpg", "IMG_5.jpg"]
    assert list(ledger.scores) == [score for day in (3, 4, 5) for score in find_rows(day)[1]]
    assert list(ledger.suspects) == [suspect for day in (3, 4, 5) for suspect in find_rows(day)[2]]


@pytest.mark.parametrize("name", ["scores.csv", "suspects.csv"])
def test_photos_whose_scores_are_gone_are_refused(tmp_path: Path, find_rows, name: str) -> None:
    """Else all would look as if no photo had been taken, and a scan would pass each over as known."""
    photo, _, _ = find_rows(3)
    append_photo(tmp_path, photo, (), ())
    assert len(read_ledger(tmp_path).photos) == 1  # a photo without bags is recorded with both files
    (tmp_path / name).unlink()
    with pytest.raises(LedgerError, match=f"{name} is missing, and photos.csv has 1 row") as caught:
        read_ledger(tmp_path)
    assert "Restore it from a copy" in str(caught.value)


def test_scores_whose_photos_are_gone_are_refused(tmp_path: Path, find_rows) -> None:
    """Of several photos: else status would say that there is none yet. Those of one may be a scan's."""
    photos = tmp_path / "photos.csv"
    append_photo(tmp_path, *find_rows(3))
    photos.rename(tmp_path / "aside")
    assert not read_ledger(tmp_path).scores
    (tmp_path / "aside").rename(photos)
    append_photo(tmp_path, *find_rows(4))
    photos.unlink()
    with pytest.raises(LedgerError, match=r"photos.csv is missing, and scores.csv has rows of 2 photos"):
        read_ledger(tmp_path)


def test_rows_without_mark_do_not_count(tmp_path: Path, find_rows) -> None:
    """Scores and suspects whose photo's row is missing are left out."""
    append_photo(tmp_path, *find_rows(3))
    append_photo(tmp_path, *find_rows(4))
    photos = tmp_path / "photos.csv"
    photos.write_bytes(b"".join(photos.read_bytes().splitlines(True)[:2]))
    ledger = read_ledger(tmp_path)
    assert {row.photo for row in (*ledger.photos, *ledger.scores, *ledger.suspects)} == {"IMG_3.jpg"}


@pytest.mark.parametrize("methods", [("colscan-1", "colscan-2"), ("colscan-2", "colscan-1")])
def test_newest_method_counts(tmp_path: Path, find_rows, methods: tuple[str, str]) -> None:
    """Of a photo's bag the row that was scanned last counts, whichever stands last in the file."""
    for method in methods:
        append_photo(tmp_path, *find_rows(3, method=method, coverage=10.0 * int(method[-1])))
    ledger = read_ledger(tmp_path)
    assert [row.coverage_pct for row in ledger.scores] == [20, 20]
    assert {row.method for row in (*ledger.photos, *ledger.scores, *ledger.suspects)} == {"colscan-2"}
    assert (len(ledger.photos), len(ledger.suspects)) == (1, 1)


def test_a_photo_is_never_counted_by_two_methods(tmp_path: Path, find_rows) -> None:
    """A bag that the newer method doesn't find in a photo has no score of it; the older rows stay."""
    append_photo(tmp_path, *find_rows(3))
    photo, scores, _ = find_rows(3, method="colscan-2")
    append_photo(tmp_path, photo, scores[1:], ())
    append_photo(tmp_path, *find_rows(4))
    ledger = read_ledger(tmp_path)
    assert [(row.photo, row.bag, row.method) for row in ledger.scores] == [
        ("IMG_3.jpg", "B02", "colscan-2"),
        ("IMG_4.jpg", "B01", "colscan-1"),
        ("IMG_4.jpg", "B02", "colscan-1"),
    ]
    assert [row.photo for row in ledger.suspects] == ["IMG_4.jpg"]
    assert len(read_scans(tmp_path).scores) == 5


def test_what_people_say_is_in_order_of_time(tmp_path: Path) -> None:
    """Verdicts and events are sorted by time; at one time the later line is the later word."""
    for hours, call in ((2, "unsure"), (0, "contaminated"), (2, "harmless")):
        append_row(tmp_path, VerdictRow(at=AT + timedelta(hours=hours), bag="B01", call=call))
        append_row(
            tmp_path, EventRow(at=AT + timedelta(hours=hours), scope="room", what="other", detail=call)
        )
    ledger = read_ledger(tmp_path)
    assert [row.call for row in ledger.verdicts] == ["contaminated", "unsure", "harmless"]
    assert [row.detail for row in ledger.events] == ["contaminated", "unsure", "harmless"]


def test_last_line_of_a_flush_counts(tmp_path: Path) -> None:
    """A flush that is recorded again replaces the earlier row, also when its date is corrected backwards."""
    append_row(tmp_path, HarvestRow(at=AT, bag="B01", flush=1, fresh_g=500.0))
    append_row(tmp_path, HarvestRow(at=AT, bag="B01", flush=2, fresh_g=200.0))
    append_row(tmp_path, HarvestRow(at=AT - timedelta(days=1), bag="B01", flush=1, fresh_g=512.0))
    assert [(row.flush, row.fresh_g) for row in read_ledger(tmp_path).harvests] == [(1, 512), (2, 200)]


def test_last_line_of_an_ingredient_and_lot_counts(tmp_path: Path) -> None:
    """Two lots of one ingredient add up; the same lot again replaces, and so does a heat run."""
    for lot, weight_g in ((None, 1.0), ("A", 2.0), ("B", 3.0), ("A", 4.0)):
        append_row(tmp_path, BatchRow(mix_batch="M1", at=AT, ingredient="x", lot=lot, weight_g=weight_g))
    append_row(tmp_path, BatchRow(mix_batch="M2", at=AT, ingredient="x", weight_g=5.0))
    for run, days in (("H2", 2), ("H1", 1), ("H2", 0)):
        append_row(tmp_path, HeatRunRow(heat_run=run, started_at=AT + timedelta(days=days)))
    ledger = read_ledger(tmp_path)
    assert [(row.mix_batch, row.lot, row.weight_g) for row in ledger.batches] == [
        ("M1", None, 1.0),
        ("M1", "A", 4.0),
        ("M1", "B", 3.0),
        ("M2", None, 5.0),
    ]
    assert [(row.heat_run, row.started_at) for row in ledger.heat_runs] == [
        ("H2", AT),
        ("H1", AT + timedelta(days=1)),
    ]


def test_last_reading_and_estimate_count(tmp_path: Path) -> None:
    """Of a place and time, and of a photo, bag and person; a photo may be named by its first letters."""
    for celsius in (20.0, 21.0):
        append_row(tmp_path, TemperatureRow(at=AT, place="room", celsius=celsius))
    append_row(tmp_path, TemperatureRow(at=AT, place="upper", fahrenheit=50.0))
    sha256 = "5e1d07c2" + 56 * "0"
    for name, by, pct in ((sha256, None, 10.0), ("5E1D07C2", None, 12.0), (sha256, "K", 14.0)):
        append_row(tmp_path, EstimateRow(at=AT, bag="B01", photo_sha256=name, coverage_pct=pct, by=by))
    ledger = read_ledger(tmp_path)
    assert [(row.place, row.reading_c) for row in ledger.temperatures] == [
        ("room", 21.0),
        ("upper", pytest.approx(10.0)),
    ]
    assert [(row.by, row.coverage_pct) for row in ledger.estimates] == [(None, 12.0), ("K", 14.0)]


def test_a_spreadsheets_own_way_of_saving_is_read(tmp_path: Path) -> None:
    """A byte order mark, CRLF, blank lines and columns in another order don't matter."""
    raw = "\ufeffweight_g,mix_batch,at,ingredient\r\n2030,M1,2026-03-09T10:05:00+00:00,pellets\r\n,,,\r\n"
    (tmp_path / "batches.csv").write_bytes(raw.encode())
    assert read_ledger(tmp_path).batches == (
        BatchRow(mix_batch="M1", at=AT, ingredient="pellets", weight_g=2030.0),
    )


def test_torn_end_is_passed_over(tmp_path: Path, find_rows) -> None:
    """A row that a crash cut short doesn't keep the others from being read."""
    append_photo(tmp_path, *find_rows(3))
    with (tmp_path / "scores.csv").open("ab") as file:
        file.write("IMG_4.jpg,é".encode()[:-1])
    assert len(read_ledger(tmp_path).scores) == 2


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("photos.csv", b"exif-offset", b"guess", r"photos.csv:2: taken_at_from: 'guess' is none of"),
        (
            "scores.csv",
            b",B02,0,20,",
            b",B02,0,twenty,",
            r"scores.csv:3: coverage_pct: 'twenty' is not a number",
        ),
        ("suspects.csv", b",p1,", b",", r"suspects.csv:2: has 17 cells where the header has 18"),
        ("scores.csv", b"photo,", b"picture,", r"scores.csv:1: required column 'photo' is missing"),
    ],
)
def test_ledger_broken_by_hand(
    tmp_path: Path, find_rows, name: str, old: bytes, new: bytes, said: str
) -> None:
    """A line that is no row is an error that names file and line, and the command that lists them all."""
    append_photo(tmp_path, *find_rows(3))
    path = tmp_path / name
    path.write_bytes(path.read_bytes().replace(old, new, 1))
    with pytest.raises(LedgerError, match=said) as caught:
        read_ledger(tmp_path)
    assert f"`colscan check {tmp_path}`" in caught.value.hint
    assert caught.value.exit_code == 4
