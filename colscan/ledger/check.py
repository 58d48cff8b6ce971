"""What is wrong in a ledger, as a list: one small function a rule, each giving file and line."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from colscan.errors import Problem
from colscan.ledger.books import CORRECT_TIME, MEND, Books, Scanned, open_books, problem_at
from colscan.ledger.check_logged import (
    check_batch_moistures,
    check_before_inoculation,
    check_estimates,
    check_heat_run_ends,
    check_mixes_known,
    check_not_ahead,
    check_temperatures,
)
from colscan.ledger.columns import (
    EstimateRow,
    HarvestRow,
    PhotoRow,
    ScoreRow,
    SuspectRow,
    VerdictRow,
    original_stem,
)
from colscan.ledger.read import RESTORE
from colscan.ledger.waiting import FOLDER
from colscan.tables import Line, Row
from colscan.trial.model import Trial
from colscan.units import count_of

R = TypeVar("R", bound=Row)
Said = Line[VerdictRow] | Line[HarvestRow] | Line[EstimateRow]
_RESCAN = "Restore the line from a copy, or take the photo's lines out of the three files and scan it again."


def check_ledger(folder: Path, trial: Trial) -> tuple[Problem, ...]:
    """Return what is wrong in a trial's ledger; nothing when all is well.

    Raises
    ------
    LedgerError
        When a file can't be read at all.
    """
    books = open_books(folder, trial)
    return tuple(problem for check in CHECKS for problem in check(books))


def check_rows_readable(books: Books) -> Iterator[Problem]:
    """Yield lines that are no rows."""
    yield from books.unreadable


def check_nothing_waits(books: Books) -> Iterator[Problem]:
    """Yield that rows wait to be appended, as another program holds their file."""
    if books.waiting:
        what, _, then = books.waiting.partition(": ")
        yield Problem(source=FOLDER, message=what, hint=then[0].upper() + then[1:])


def check_commit_marks(books: Books) -> Iterator[Problem]:
    """Yield photos whose scores or suspects stand there without the photo's row."""
    groups: dict[Hashable, list[Scanned]] = defaultdict(list)
    for line in books.unmarked:
        groups[line.row.FILE, line.row.photo_sha256, line.row.method].append(line)
    photos = {line.row.photo_sha256 for line in books.unmarked}
    if len(photos) > 1 and not books.photos:
        message = f"has no row, and {ScoreRow.FILE} and {SuspectRow.FILE} have rows of {len(photos)} photos"
        yield Problem(source=PhotoRow.FILE, message=message, hint=RESTORE)
        return
    for lines in groups.values():
        row = lines[0].row
        yield Problem(
            source=f"{row.FILE}:{lines[0].number}",
            message=f"{len(lines)} rows of {row.photo} ({row.photo_sha256[:8]}) have no row in photos.csv",
            hint="They don't count: a scan is running or was stopped. The next one takes them away.",
        )


def check_scan_files_there(books: Books) -> Iterator[Problem]:
    """Yield files of scores or suspects that are gone; each scan writes all three, if only their header."""
    if not books.photos:
        return
    for name in sorted(books.missing):
        yield Problem(
            source=name,
            message=f"is missing, and photos.csv has {count_of(len(books.photos), 'row')}",
            hint=RESTORE,
        )


def check_bags_found(books: Books) -> Iterator[Problem]:
    """Yield photos of which scores.csv holds more or fewer bags than were found in them."""
    torn = any(problem.source.startswith(ScoreRow.FILE) for problem in books.unreadable)
    if torn or ScoreRow.FILE in books.missing:
        return  # said already; what stands in unreadable lines can't be counted
    scored = {_score_key(line.row) for line in books.scores}
    counts = Counter((sha256, method) for sha256, _, method in scored)
    for line in books.photos:
        row, count = line.row, counts[line.row.photo_sha256, line.row.method]
        if count != row.bags_found - (row.bags_elsewhere or 0):
            stem = original_stem(row.taken_at, row.photo_sha256)
            again = f"scan photos/{books.originals.get(stem, stem + '.*')} again"
            yield problem_at(
                line,
                f"{row.photo}: {row.bags_found} bags were found and scores.csv has {count}",
                f"Restore scores.csv from a copy, or take this line out of photos.csv and {again}.",
            )


def check_no_duplicates(books: Books) -> Iterator[Problem]:
    """Yield rows that stand twice."""
    yield from _repeats(books.photos, lambda r: (r.photo_sha256, r.method), _RESCAN)
    yield from _repeats(books.scores, _score_key, _RESCAN)
    yield from _repeats(books.suspects, lambda r: (r.photo_sha256, r.bag, r.patch, r.method), _RESCAN)
    yield from _repeats(books.events, lambda r: r.occasion, "Take one of the two out.")


def _repeats(lines: Iterable[Line[R]], key: Callable[[R], Hashable], hint: str) -> Iterator[Problem]:
    firsts: dict[Hashable, Line[R]] = {}
    for line in lines:
        first = firsts.setdefault(key(line.row), line)
        if first is not line:
            same = first.row == line.row
            what = f"Take this line out; line {first.number} says the same." if same else hint
            yield problem_at(line, f"stands in line {first.number} already", what)


def check_bags_known(books: Books) -> Iterator[Problem]:
    """Yield rows about bags, and events on shelves, that the trial doesn't have."""
    bags = {bag.bag for bag in books.trial.bags}
    rows: tuple[Scanned | Said, ...] = (
        *books.scores, *books.suspects, *books.verdicts, *books.harvests, *books.estimates,
    )  # fmt: skip
    for line in rows:
        if line.row.bag not in bags:
            yield problem_at(
                line, f"bag {line.row.bag!r} is not in bags.csv", "Correct the code, or add the bag."
            )
    shelves = books.trial.shelf_names
    for event in books.events:
        known = {"bag": bags, "shelf": shelves, "room": {None}}[event.row.scope]
        if event.row.name not in known:
            what = f"{event.row.scope} {event.row.name or ''!r} is not in the trial"
            yield problem_at(event, what, "Correct the name; it is empty for the room.")


def check_intervals(books: Books) -> Iterator[Problem]:
    """Yield scores whose coverage lies outside its own interval."""
    for line in books.scores:
        row = line.row
        in_order = [row.coverage_low_pct, row.coverage_pct, row.coverage_high_pct]
        given = [value for value in in_order if value is not None]
        if given != sorted(given):
            low, coverage, high = ("empty" if value is None else f"{value:g}" for value in in_order)
            message = f"coverage {coverage} % is outside its interval {low} to {high} %"
            yield problem_at(line, message, _RESCAN)


def check_suspect_counts(books: Books) -> Iterator[Problem]:
    """Yield scores whose number of suspects isn't that of the rows in suspects.csv."""
    if books.missing:
        return
    patches = {(*_score_key(line.row), line.row.patch) for line in books.suspects}
    found = Counter(patch[:3] for patch in patches)
    scored = {_score_key(line.row) for line in books.scores}
    for line in books.scores:
        count = found[_score_key(line.row)]
        if count != line.row.suspects:
            message = f"bag {line.row.bag} has {line.row.suspects} suspects here and {count} in suspects.csv"
            yield problem_at(line, message, _RESCAN)
    for suspect in books.suspects:
        if _score_key(suspect.row) not in scored:
            yield problem_at(suspect, f"bag {suspect.row.bag} has no score in this photo", _RESCAN)


def _score_key(row: ScoreRow | SuspectRow) -> tuple[str, str, str]:
    return row.photo_sha256, row.bag, row.method


def check_verdict_targets(books: Books) -> Iterator[Problem]:
    """Yield verdicts on patches or photos that the scans don't know."""
    patches = {(x.row.bag, x.row.patch) for x in books.suspects}
    photos = {x.row.photo_sha256 for x in books.photos}
    for line in books.verdicts:
        row = line.row
        known = bool(books.missing) or (row.bag, row.patch) in patches
        if row.patch is not None and not known:
            yield problem_at(line, f"patch {row.patch!r} of bag {row.bag} is not in suspects.csv", MEND)
        if row.photo_sha256 is not None and row.photo_sha256 not in photos and not books.missing:
            yield problem_at(line, f"photo {row.photo_sha256[:8]} is not in photos.csv", MEND)


def check_harvest_weights(books: Books) -> Iterator[Problem]:
    """Yield harvests with more fit for sale than there was."""
    for line in books.harvests:
        if line.row.saleable_g is not None and line.row.saleable_g > line.row.fresh_g:
            message = f"saleable {line.row.saleable_g:g} g is more than fresh {line.row.fresh_g:g} g"
            yield problem_at(line, message, MEND)


def check_harvest_order(books: Books) -> Iterator[Problem]:
    """Yield flushes that are dated before an earlier flush of their bag; of those recorded again the last."""
    flushes = {(line.row.bag, line.row.flush): line for line in books.harvests}
    latest: dict[str, Line[HarvestRow]] = {}
    for (bag, flush), line in sorted(flushes.items()):
        before = latest.get(bag)
        if before is not None and line.row.at < before.row.at:
            message = (
                f"flush {flush} of bag {bag} is dated before flush {before.row.flush} (line {before.number})"
            )
            yield problem_at(line, message, "Correct the number or the time of one of the two.")
        else:
            latest[bag] = line


def check_after_inoculation(books: Books) -> Iterator[Problem]:
    """Yield rows about a bag from before its day 0."""
    began = {bag.bag: bag.inoculated_at for bag in books.trial.bags}
    scanned: tuple[Scanned, ...] = (*books.scores, *books.suspects)
    for scan in scanned:
        yield from _too_early(began, scan, scan.row.bag, scan.row.taken_at)
    all_said: tuple[Said, ...] = (*books.verdicts, *books.harvests, *books.estimates)
    for said in all_said:
        yield from _too_early(began, said, said.row.bag, said.row.at)
    for event in books.events:
        if event.row.scope == "bag":
            yield from _too_early(began, event, event.row.name or "", event.row.at)


def _too_early(
    began: Mapping[str, datetime], line: Line[Any], code: str, when: datetime
) -> Iterator[Problem]:
    if code in began and when < began[code]:
        message = f"{when.isoformat()} is before bag {code} was inoculated ({began[code].isoformat()})"
        yield problem_at(line, message, CORRECT_TIME)


def check_originals_kept(books: Books) -> Iterator[Problem]:
    """Yield photos whose original is gone."""
    seen: set[str] = set()
    for line in books.photos:
        row = line.row
        stem = original_stem(row.taken_at, row.photo_sha256)
        if stem not in books.originals and stem not in seen:
            hint = (
                f"Scan {row.photo} again: that puts it back. Without it its numbers can't be computed again."
            )
            yield problem_at(line, f"photos/{stem}.* is missing", hint)
        seen.add(stem)


CHECKS: tuple[Callable[[Books], Iterator[Problem]], ...] = (
    check_rows_readable,
    check_nothing_waits,
    check_commit_marks,
    check_scan_files_there,
    check_bags_found,
    check_no_duplicates,
    check_bags_known,
    check_intervals,
    check_suspect_counts,
    check_verdict_targets,
    check_harvest_weights,
    check_harvest_order,
    check_after_inoculation,
    check_mixes_known,
    check_batch_moistures,
    check_heat_run_ends,
    check_before_inoculation,
    check_not_ahead,
    check_temperatures,
    check_estimates,
    check_originals_kept,
)
