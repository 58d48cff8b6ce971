"""A trial's kept photos scored anew by the current method, its rows beside those of older ones."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from colscan.app.batch.before import Before
from colscan.app.batch.bursts import breaks_of, group_bursts
from colscan.app.batch.chain import reference
from colscan.app.batch.originals import find_original
from colscan.app.batch.outcomes import Outcome, Rejected
from colscan.app.batch.scan import ScanOptions, scan_refs
from colscan.errors import PhotoError
from colscan.flags import Flag
from colscan.ledger import Ledger, Scans, counting
from colscan.ledger.columns import PhotoRow, original_stem
from colscan.photo import PhotoRef
from colscan.score import METHOD
from colscan.trial.model import Trial

FOUND_ANEW = frozenset({Flag.OTHER_CAMERA, Flag.TAG_TWICE})
"""Problems of a photo that scanning finds; the others came with its file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rescan:
    """What is to be scored anew, and what can't be.

    Parameters
    ----------
    ledger : Ledger
        The rows that count.
    scans : Scans
        What scans recorded, by all methods.
    photos : tuple of PhotoRef
        Kept photos without rows of the current method, in order of time.
    rejected : tuple of Rejected
        Those whose original is gone or has changed.
    """

    ledger: Ledger
    scans: Scans
    photos: tuple[PhotoRef, ...]
    rejected: tuple[Rejected, ...]

    @property
    def current(self) -> str:
        """The method that scores now."""
        return METHOD

    @property
    def has_current(self) -> bool:
        """Whether photos are scored by it already."""
        return any(row.method == METHOD for row in self.scans.photos)

    @property
    def older(self) -> tuple[str, ...]:
        """Methods of the rows that count now, but the current one."""
        return tuple(sorted({row.method for row in self.ledger.photos} - {METHOD}))


def plan_rescan(folder: Path, ledger: Ledger, scans: Scans) -> Rescan:
    """Return which of a trial's photos the current method has still to score.

    Each original's bytes are held against its row.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    ledger : Ledger
        The rows that count.
    scans : Scans
        What scans recorded, by all methods.
    """
    done = {row.photo_sha256 for row in scans.photos if row.method == METHOD}
    looked = [_original(folder, row) for row in ledger.photos if row.photo_sha256 not in done]
    return Rescan(
        ledger=ledger,
        scans=scans,
        photos=tuple(one for one in looked if isinstance(one, PhotoRef)),
        rejected=tuple(one for one in looked if isinstance(one, Rejected)),
    )


def _original(folder: Path, row: PhotoRow) -> PhotoRef | Rejected:
    stays = f"its rows of {row.method} stay as they are."
    path = find_original(folder, row)
    if path is None:
        stem = original_stem(row.taken_at, row.photo_sha256)
        msg = f"{row.photo}: its original, {folder / 'photos' / stem}.*, is gone; {stays}"
        return Rejected(
            name=row.photo,
            error=PhotoError(msg, "Scan the photo again, which puts it back; then rescan again."),
        )
    try:
        found = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        msg = f"{row.photo}: its original, {path}, can't be read ({error.strerror}); {stays}"
        return Rejected(name=row.photo, error=PhotoError(msg, "Allow reading it and rescan again."))
    if found != row.photo_sha256:
        msg = f"{row.photo}: its original, {path}, is no longer what was scanned; {stays}"
        return Rejected(name=row.photo, error=PhotoError(msg, "Restore it from a copy and rescan again."))
    flags = tuple(flag for flag in row.problems if flag not in FOUND_ANEW)
    return replace(reference(row, path), flags=flags)


def rescan_photos(folder: Path, trial: Trial, work: Rescan, *, jobs: int, dry_run: bool) -> Iterator[Outcome]:
    """What became of each photo, in order of time: scored as if no other method had ever seen the trial.

    Rows that the current method has already, of a rescan that was stopped or of photos scanned since, stand;
    it goes on from them. Suspect patches keep the names that other methods gave their places.
    The caller holds the trial's scans (`scan_locked`) since before `work` was planned.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    trial : Trial
        Its plan.
    work : Rescan
        What is to be done.
    jobs : int
        How many processes measure.
    dry_run : bool
        Measure and report, write nothing.

    Raises
    ------
    LedgerError
        When the ledger can't be written; photos recorded before stay.
    """
    ledger = _with(work.ledger, work.scans.only(lambda row: row.method == METHOD))
    refs = [*work.photos, *_burst_mates(folder, work.photos, ledger)]
    measured_again = {ref.sha256 for ref in refs}
    near = replace(ledger, scores=tuple(row for row in ledger.scores if row.photo_sha256 in measured_again))
    marks = {(row.photo_sha256, row.method) for row in work.scans.photos}
    before = Before(
        ledger=ledger,
        near=near,
        lenders=tuple(row for row in work.scans.suspects if (row.photo_sha256, row.method) in marks),
        shelves={row.photo_sha256: row.shelf for row in work.ledger.photos if row.shelf},
    )
    yield from scan_refs(folder, trial, refs, before, ScanOptions(jobs=jobs, dry_run=dry_run))


def _burst_mates(folder: Path, photos: Iterable[PhotoRef], ledger: Ledger) -> Iterator[PhotoRef]:
    """Photos that the current method has rows of, and that are to be combined with others that it hasn't."""
    done = {row.photo_sha256: row for row in ledger.photos}
    refs = [*photos, *(reference(row, folder) for row in ledger.photos)]
    refs.sort(key=lambda ref: (ref.taken_at, ref.sha256))
    for burst in group_bursts(refs, breaks_of(ledger)):
        if any(ref.sha256 not in done for ref in burst):
            for row in (done[ref.sha256] for ref in burst if ref.sha256 in done):
                path = find_original(folder, row)
                if path is not None:
                    yield reference(row, path)


def before_and_after(work: Rescan, recorded: Sequence[Scans]) -> tuple[Ledger, Ledger]:
    """Return the rows that counted before the current method, and those that count with what it recorded.

    Parameters
    ----------
    work : Rescan
        What was to be done; what an earlier run recorded that was stopped is among the second.
    recorded : sequence of Scans
        What was recorded now.
    """
    scanned_before = {row.photo_sha256 for row in work.scans.photos if row.method != METHOD}
    old = work.scans.only(lambda row: row.method != METHOD or row.photo_sha256 not in scanned_before)
    return _with(work.ledger, old), _with(work.ledger, Scans.joined([work.scans, *recorded]))


def _with(ledger: Ledger, scans: Scans) -> Ledger:
    rows = counting(scans)
    return replace(ledger, photos=rows.photos, scores=rows.scores, suspects=rows.suspects)
