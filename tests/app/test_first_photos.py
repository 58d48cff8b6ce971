"""Which photos baselines come from: by column the same as row by row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from large_trial import Size, photo_rows, write_large_trial

from colscan.app.batch.baselines import is_early
from colscan.app.batch.chain import reference
from colscan.app.batch.first_photos import first_photos
from colscan.flags import Flag
from colscan.ledger import Ledger, kept, read_ledger
from colscan.ledger.columns import ScoreRow, original_stem
from colscan.photo import PhotoRef
from colscan.trial import load_trial
from colscan.trial.model import Bag

SIZE = Size(bags=6, photos=20, bags_a_photo=3)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A trial of two groups of bags, 20 photos of each, whose originals are kept but for the first."""
    folder = tmp_path / "hornbeam"
    write_large_trial(folder, SIZE)
    (folder / "photos").mkdir()
    for row in read_ledger(folder).photos[1:]:
        (folder / "photos" / f"{original_stem(row.taken_at, row.photo_sha256)}.jpg").touch()
    return folder


def row_by_row(bags: Sequence[Bag], ledger: Ledger, refs: Sequence[PhotoRef], gone: str) -> set[str]:
    """The definition: all early photos, and of bags without a good early score those from before its next."""
    found = {r.photo_sha256 for r in ledger.photos if any(is_early(r.taken_at, bag) for bag in bags)}
    new = {ref.sha256 for ref in refs if any(is_early(ref.taken_at, bag) for bag in bags)}
    for bag in bags:
        rows = [row for row in ledger.scores if row.bag == bag.bag and row.coverage_pct is not None]
        good = [row for row in rows if is_early(row.taken_at, bag) and Flag.NO_BASELINE not in row.flags]
        if not good:
            late = [row for row in rows if not is_early(row.taken_at, bag)][:1]
            found |= {row.photo_sha256 for row in late}
            new |= {ref.sha256 for ref in refs if not late or ref.taken_at < late[0].taken_at}
    return found - {gone} | new


def new_photos(folder: Path, days: Sequence[float]) -> list[PhotoRef]:
    """Photos to be scanned, so many days after the trial's first."""
    row = photo_rows(0, SIZE)[0]
    rows = [
        replace(row, photo_sha256=f"{number:064}", taken_at=row.taken_at + timedelta(days=day))
        for number, day in enumerate(days)
    ]
    return [reference(row, folder / "new.jpg") for row in rows]


@pytest.mark.parametrize("case", ["good", "guessed", "unmeasured", "never measured"])
def test_by_column_is_row_by_row(folder: Path, case: str) -> None:
    """Whatever the early scores of a bag say; limits of the first 36 hours to the second."""
    trial, ledger = load_trial(folder), read_ledger(folder)
    bags = [
        replace(bag, inoculated_at=bag.inoculated_at + timedelta(hours=i)) for i, bag in enumerate(trial.bags)
    ]

    def said(row: ScoreRow) -> ScoreRow:
        if row.bag != bags[4].bag or case == "good":
            return row
        if case == "guessed":
            return replace(row, flags=(Flag.NO_BASELINE,)) if is_early(row.taken_at, bags[4]) else row
        is_measured = case == "unmeasured" and not is_early(row.taken_at, bags[4])
        return row if is_measured else replace(row, coverage_pct=None)

    ledger = replace(ledger, scores=tuple(said(row) for row in ledger.scores))
    refs = new_photos(folder, [-1.0, 0.1, 1.5 + 5 / 24, 1.5 + 5 / 24 + 1 / 86400, 1.8, 9.0])
    found = first_photos(folder, bags, ledger, refs)
    expected = row_by_row(bags, ledger, refs, gone=ledger.photos[0].photo_sha256)
    assert {ref.sha256 for ref in found} == expected
    assert len(found) == len(expected)


def test_of_a_large_ledger(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same of rows that stay in their file."""
    refs, bags = new_photos(folder, [0.1, 9.0]), load_trial(folder).bags
    small = first_photos(folder, bags, read_ledger(folder), refs)
    monkeypatch.setattr(kept, "LARGE_BYTES", 0)
    assert first_photos(folder, bags, read_ledger(folder), refs) == small
