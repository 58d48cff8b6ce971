"""Which faces stand in a table, and what is said under each."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hornbeam import make_bag, score

from colscan.app.face_tables import calendar_day, choose_days, faces_by_level, faces_over_time
from colscan.errors import AnalysisError
from colscan.ledger import Ledger, read_ledger
from colscan.ledger.columns import SuspectRow, VerdictRow
from colscan.present.face_chart import FaceTable
from colscan.trial import load_trial


def _captions(table: FaceTable) -> list[list[str | None]]:
    return [
        [cell.caption if cell else None for cell in line.cells]
        for section in table.sections
        for line in section.lines
    ]


def _suspect(ledger: Ledger, bag: str) -> SuspectRow:
    row = [one for one in ledger.scores if one.bag == bag][-1]
    return SuspectRow(
        photo=row.photo, photo_sha256=row.photo_sha256, taken_at=row.taken_at, bag=bag, patch="p1",
        kind="green", area_mm2=200.0, area_pct=1.0, x_px=1.0, y_px=1.0, x_mm=0.0, y_mm=0.0, strength=0.9,
        method=row.method,
    )  # fmt: skip


def test_bags_over_days(scanned: Path) -> None:
    """A section a strain, a row a bag with its treatment, a column a day; the score stands below."""
    table = faces_over_time(scanned, load_trial(scanned), read_ledger(scanned))
    assert [section.title for section in table.sections] == ["PO-3", "HE-2", "PE-1"]
    assert {section.columns for section in table.sections} == {("day 0", "day 3")}
    first = table.sections[0].lines[0]
    assert (first.label, first.treatment) == ("B01\nbran 0 %", "bran 0 %")
    assert _captions(table)[0][0] == "0 %"
    assert all(caption and caption.endswith(" %") for line in _captions(table) for caption in line)
    assert table.note.startswith("8 bags, 2 heat runs. Each face")
    assert "suspect" not in table.note


def test_bags_of_a_day_by_level(scanned: Path) -> None:
    """A column a treatment, lowest level first, each face named; the last day that most bags have."""
    trial, ledger = load_trial(scanned), read_ledger(scanned)
    table = faces_by_level(scanned, trial, ledger)
    assert [section.title for section in table.sections] == ["PO-3, day 3", "HE-2, day 3", "PE-1, day 3"]
    assert table.sections[0].columns == ("bran 0 %", "bran 4 %", "bran 8 %")
    assert table.sections[0].treatments == table.sections[0].columns
    names = [[caption.split()[0] for caption in line if caption] for line in _captions(table)]
    assert names == [["B01", "B04", "B07"], ["B02", "B05", "B08"], ["B03", "B06"]]
    earlier = faces_by_level(scanned, trial, ledger, day=1)
    assert _captions(earlier)[0] == ["B01\nd0 0 %", "B04\nd0 0 %", "B07\nd0 0 %"]
    assert "d and a number: the photo is of that day." in earlier.note


def test_a_bag_without_a_later_photo_shows_its_last(scanned: Path) -> None:
    """With the day of it; a bag that has none before the day is left out."""
    trial, ledger = load_trial(scanned), read_ledger(scanned)
    last = max(row.taken_at for row in ledger.scores)
    rows = tuple(row for row in ledger.scores if row.bag != "B01" or row.taken_at < last)
    captions = _captions(faces_by_level(scanned, trial, replace(ledger, scores=rows)))
    assert captions[0][0] == "B01\nd0 0 %"
    late = tuple(row for row in ledger.scores if row.bag != "B01" or row.taken_at == last)
    captions = _captions(faces_by_level(scanned, trial, replace(ledger, scores=late), day=1))
    assert [caption.split()[0] for caption in captions[0] if caption] == ["B04", "B07"]


def test_a_day_before_the_first_photo(scanned: Path) -> None:
    """It is said, with the day of the first one; no photo is called gone."""
    trial, ledger = load_trial(scanned), read_ledger(scanned)
    last = max(row.taken_at for row in ledger.scores)
    late = replace(ledger, scores=tuple(row for row in ledger.scores if row.taken_at == last))
    with pytest.raises(AnalysisError, match="seen by day 2: its first photo is of day 3") as caught:
        faces_by_level(scanned, trial, late, day=2)
    assert caught.value.hint == "Give --day 3 or a later one."
    assert faces_by_level(scanned, trial, late, day=3).sections


def test_suspects_and_calls_are_marked(scanned: Path) -> None:
    """An open patch, one that is called contaminated, and none where it was called harmless."""
    trial, ledger = load_trial(scanned), read_ledger(scanned)
    suspects = tuple(_suspect(ledger, bag) for bag in ("B01", "B02", "B03"))
    at = max(row.taken_at for row in ledger.scores) + timedelta(hours=1)
    verdicts = (
        VerdictRow(at=at, bag="B02", patch="p1", call="contaminated"),
        VerdictRow(at=at, bag="B03", patch="p1", call="harmless"),
    )
    marked = replace(ledger, suspects=suspects, verdicts=verdicts)
    table = faces_over_time(scanned, trial, marked)
    ends = {line.label[:3]: line.cells for section in table.sections for line in section.lines}
    assert ends["B01"][1].caption.endswith(" ▽")
    assert ends["B02"][1].caption.endswith(" ✖")
    assert ends["B03"][1].caption.endswith(" %")
    assert ends["B01"][0].caption == "0 %"
    assert "▽ suspect patch. ✖ called contaminated." in table.note


def test_what_told_the_light_is_said(scanned: Path) -> None:
    """A bag whose card isn't in the photo is held against the others' cards."""
    trial = load_trial(scanned)
    bags = tuple(replace(bag, tag=500) if bag.bag == "B01" else bag for bag in trial.bags)
    table = faces_over_time(scanned, replace(trial, bags=bags), read_ledger(scanned))
    assert "Light told by the photo's cards: B01." in table.note


def test_photos_that_are_gone_are_said(scanned: Path, tmp_path: Path) -> None:
    """Those that are left are shown; without any it is an error that says what to do."""
    trial, ledger = load_trial(scanned), read_ledger(scanned)
    first, second = sorted((scanned / "photos").iterdir())
    second.unlink()
    table = faces_over_time(scanned, trial, ledger)
    assert _captions(table)[0] == ["0 %", None]
    assert f"can't be read any more: {ledger.photos[1].photo}" in table.note
    first.unlink()
    with pytest.raises(AnalysisError, match="can be read"):
        faces_over_time(scanned, trial, ledger)
    shutil.rmtree(scanned / "photos")
    with pytest.raises(AnalysisError, match="has no face"):
        faces_over_time(scanned, trial, Ledger())


def test_days_are_chosen_evenly() -> None:
    """All of a few; of many the first, the last and what lies evenly between."""
    assert choose_days([0, 3, 6]) == [0, 3, 6]
    assert choose_days(list(range(31)), 4) == [0, 10, 20, 30]
    assert choose_days([0, 1, 2, 3, 4, 5, 6, 7, 8, 30], 4) == [0, 8, 30]


def test_days_are_counted_by_midnights() -> None:
    """A photo of the next morning is of day 1, however late the bag was inoculated."""
    bag = make_bag("B1")
    row = score("B1", 0.9, 1.0)
    assert calendar_day(bag, row, bag.inoculated_at.tzinfo) == 1
    assert calendar_day(bag, score("B1", 0.1, 1.0), bag.inoculated_at.tzinfo) == 0
