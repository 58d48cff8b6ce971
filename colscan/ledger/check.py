"""What is wrong in a ledger, as a list: one small function a rule, each giving file and line."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from colscan.errors import Problem
from colscan.ledger.columns import (
    BatchRow,
    EventRow,
    HarvestRow,
    HeatRunRow,
    PhotoRow,
    ScoreRow,
    SuspectRow,
    VerdictRow,
    original_stem,
)
from colscan.ledger.tails import read_whole
from colscan.tables import Line, Reading, Row
from colscan.trial.amounts import LEAST_MOISTURE_PCT
from colscan.trial.model import Bag, Trial

R = TypeVar("R", bound=Row)
Scanned = Line[ScoreRow] | Line[SuspectRow]
Said = Line[VerdictRow] | Line[HarvestRow]
_RESCAN = "Restore the line from a copy, or take the photo's lines out of the three files and scan it again."
_MEND = "Mend the line; `colscan verdict`, `event`, `harvest`, `mix` and `heat` check what they write."
_CORRECT_TIME = "Correct the time here, or `inoculated_at` in bags.csv."


@dataclass(frozen=True, slots=True, kw_only=True)
class Books:
    """A trial and its ledger as the files have it, rows that don't count included.

    Parameters
    ----------
    trial : Trial
        The plan.
    photos, scores, suspects, verdicts, events, harvests, batches, heat_runs : tuple of Line
        The good rows with their line numbers; scores and suspects those with a commit mark.
    unmarked : tuple of Line
        Scores and suspects without.
    unreadable : tuple of Problem
        What stands in the files' other lines.
    missing : frozenset of str
        Files of the scan that aren't there.
    originals : mapping of str to str
        The names under `photos/` by the names without suffix.
    """

    trial: Trial
    photos: tuple[Line[PhotoRow], ...]
    scores: tuple[Line[ScoreRow], ...]
    suspects: tuple[Line[SuspectRow], ...]
    verdicts: tuple[Line[VerdictRow], ...]
    events: tuple[Line[EventRow], ...]
    harvests: tuple[Line[HarvestRow], ...]
    batches: tuple[Line[BatchRow], ...]
    heat_runs: tuple[Line[HeatRunRow], ...]
    unmarked: tuple[Scanned, ...]
    unreadable: tuple[Problem, ...]
    missing: frozenset[str]
    originals: Mapping[str, str]


def check_ledger(folder: Path, trial: Trial) -> tuple[Problem, ...]:
    """Return what is wrong in a trial's ledger; nothing when all is well.

    Raises
    ------
    LedgerError
        When a file can't be read at all.
    """
    books = _open_books(folder, trial)
    return tuple(problem for check in CHECKS for problem in check(books))


def _open_books(folder: Path, trial: Trial) -> Books:
    unreadable: list[Problem] = []

    def lines(row_type: type[R]) -> tuple[Line[R], ...]:
        reading, torn = read_whole(folder / row_type.FILE, row_type)
        unreadable.extend((*reading.problems, *_torn_problems(reading, torn, row_type)))
        return reading.lines

    photos, scores, suspects = lines(PhotoRow), lines(ScoreRow), lines(SuspectRow)
    marks = {(line.row.photo_sha256, line.row.method) for line in photos}
    scanned: tuple[Scanned, ...] = (*scores, *suspects)
    kept = folder / "photos"
    return Books(
        trial=trial,
        photos=photos,
        scores=tuple(x for x in scores if (x.row.photo_sha256, x.row.method) in marks),
        suspects=tuple(x for x in suspects if (x.row.photo_sha256, x.row.method) in marks),
        verdicts=lines(VerdictRow),
        events=lines(EventRow),
        harvests=lines(HarvestRow),
        batches=lines(BatchRow),
        heat_runs=lines(HeatRunRow),
        unmarked=tuple(x for x in scanned if (x.row.photo_sha256, x.row.method) not in marks),
        unreadable=tuple(unreadable),
        missing=frozenset(t.FILE for t in (ScoreRow, SuspectRow) if not (folder / t.FILE).exists()),
        originals={path.stem: path.name for path in kept.iterdir()} if kept.is_dir() else {},
    )


def _torn_problems(reading: Reading[R], torn_bytes: int, row_type: type[R]) -> Iterator[Problem]:
    if torn_bytes:
        after = f" after line {reading.lines[-1].number}" if reading.lines else ""
        yield Problem(
            source=row_type.FILE,
            message=f"the last row{after} was cut short while it was written ({torn_bytes} bytes)",
            hint="It doesn't count, and the next command that writes takes it away; record it again.",
        )


def _problem(line: Line[Any], message: str, hint: str) -> Problem:
    return Problem(source=f"{line.row.FILE}:{line.number}", message=message, hint=hint)


def check_rows_readable(books: Books) -> Iterator[Problem]:
    """Yield lines that are no rows."""
    yield from books.unreadable


def check_commit_marks(books: Books) -> Iterator[Problem]:
    """Yield photos whose scores or suspects stand there without the photo's row."""
    groups: dict[Hashable, list[Scanned]] = defaultdict(list)
    for line in books.unmarked:
        groups[line.row.FILE, line.row.photo_sha256, line.row.method].append(line)
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
            message=f"is missing, and photos.csv has {len(books.photos)} rows",
            hint="Restore it from a copy. Without one, move photos.csv, scores.csv and suspects.csv out of"
            " the trial's folder and scan its photos/ again.",
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
            yield _problem(
                line,
                f"{row.photo}: {row.bags_found} bags were found and scores.csv has {count}",
                f"Restore scores.csv from a copy, or take this line out of photos.csv and {again}.",
            )


def check_no_duplicates(books: Books) -> Iterator[Problem]:
    """Yield rows that stand twice."""
    yield from _repeats(books.photos, lambda r: (r.photo_sha256, r.method), _RESCAN)
    yield from _repeats(books.scores, _score_key, _RESCAN)
    yield from _repeats(books.suspects, lambda r: (r.photo_sha256, r.bag, r.patch, r.method), _RESCAN)
    yield from _repeats(books.events, lambda r: (r.at, r.scope, r.name, r.what), "Take one of the two out.")


def _repeats(lines: Iterable[Line[R]], key: Callable[[R], Hashable], hint: str) -> Iterator[Problem]:
    firsts: dict[Hashable, Line[R]] = {}
    for line in lines:
        first = firsts.setdefault(key(line.row), line)
        if first is not line:
            same = first.row == line.row
            what = f"Take this line out; line {first.number} says the same." if same else hint
            yield _problem(line, f"stands in line {first.number} already", what)


def check_bags_known(books: Books) -> Iterator[Problem]:
    """Yield rows about bags, and events on shelves, that the trial doesn't have."""
    bags = {bag.bag for bag in books.trial.bags}
    rows: tuple[Scanned | Said, ...] = (*books.scores, *books.suspects, *books.verdicts, *books.harvests)
    for line in rows:
        if line.row.bag not in bags:
            yield _problem(
                line, f"bag {line.row.bag!r} is not in bags.csv", "Correct the code, or add the bag."
            )
    shelves = books.trial.shelf_names
    for event in books.events:
        known = {"bag": bags, "shelf": shelves, "room": {None}}[event.row.scope]
        if event.row.name not in known:
            what = f"{event.row.scope} {event.row.name or ''!r} is not in the trial"
            yield _problem(event, what, "Correct the name; it is empty for the room.")


def check_intervals(books: Books) -> Iterator[Problem]:
    """Yield scores whose coverage lies outside its own interval."""
    for line in books.scores:
        row = line.row
        in_order = [row.coverage_low_pct, row.coverage_pct, row.coverage_high_pct]
        given = [value for value in in_order if value is not None]
        if given != sorted(given):
            low, coverage, high = ("empty" if value is None else f"{value:g}" for value in in_order)
            message = f"coverage {coverage} % is outside its interval {low} to {high} %"
            yield _problem(line, message, _RESCAN)


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
            yield _problem(line, message, _RESCAN)
    for suspect in books.suspects:
        if _score_key(suspect.row) not in scored:
            yield _problem(suspect, f"bag {suspect.row.bag} has no score in this photo", _RESCAN)


def _score_key(row: ScoreRow | SuspectRow) -> tuple[str, str, str]:
    return row.photo_sha256, row.bag, row.method


def check_verdict_targets(books: Books) -> Iterator[Problem]:
    """Yield verdicts on patches or photos that the scans don't know."""
    patches = {(x.row.bag, x.row.patch) for x in books.suspects}
    photos = {x.row.photo_sha256 for x in books.photos}
    for line in books.verdicts:
        row = line.row
        known = SuspectRow.FILE in books.missing or (row.bag, row.patch) in patches
        if row.patch is not None and not known:
            yield _problem(line, f"patch {row.patch!r} of bag {row.bag} is not in suspects.csv", _MEND)
        if row.photo_sha256 is not None and row.photo_sha256 not in photos:
            yield _problem(line, f"photo {row.photo_sha256[:8]} is not in photos.csv", _MEND)


def check_harvest_weights(books: Books) -> Iterator[Problem]:
    """Yield harvests with more fit for sale than there was."""
    for line in books.harvests:
        if line.row.saleable_g is not None and line.row.saleable_g > line.row.fresh_g:
            message = f"saleable {line.row.saleable_g:g} g is more than fresh {line.row.fresh_g:g} g"
            yield _problem(line, message, _MEND)


def check_after_inoculation(books: Books) -> Iterator[Problem]:
    """Yield rows about a bag from before its day 0."""
    began = {bag.bag: bag.inoculated_at for bag in books.trial.bags}
    scanned: tuple[Scanned, ...] = (*books.scores, *books.suspects)
    for scan in scanned:
        yield from _too_early(began, scan, scan.row.bag, scan.row.taken_at)
    all_said: tuple[Said, ...] = (*books.verdicts, *books.harvests)
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
        yield _problem(line, message, _CORRECT_TIME)


def check_mixes_known(books: Books) -> Iterator[Problem]:
    """Yield rows about mixes and heat runs that no bag of the trial is of."""
    hint = "Correct the name, or give it to its bags in bags.csv."
    for batch in books.batches:
        if batch.row.mix_batch not in books.trial.mixes:
            yield _problem(batch, f"mix {batch.row.mix_batch!r} is not in bags.csv", hint)
    for run in books.heat_runs:
        if run.row.heat_run not in books.trial.heat_runs:
            yield _problem(run, f"heat run {run.row.heat_run!r} is not in bags.csv", hint)


def check_batch_moistures(books: Books) -> Iterator[Problem]:
    """Yield moistures so small that they are a fraction, not a percentage."""
    for line in books.batches:
        pct = line.row.moisture_pct
        if pct is not None and 0 < pct < LEAST_MOISTURE_PCT:
            message = f"moisture {pct:g} % of {line.row.ingredient} is less than {LEAST_MOISTURE_PCT:g} %"
            yield _problem(line, message, "It is a percentage of the wet weight: write 7 for 7 %.")


def check_heat_run_ends(books: Books) -> Iterator[Problem]:
    """Yield heat runs that ended before they began."""
    for line in books.heat_runs:
        row = line.row
        if row.ended_at is not None and row.ended_at < row.started_at:
            message = f"ended at {row.ended_at.isoformat()}, before it began ({row.started_at.isoformat()})"
            yield _problem(line, message, _MEND)


def check_before_inoculation(books: Books) -> Iterator[Problem]:
    """Yield mixes and heat runs that were still to come when the first of their bags was inoculated."""
    # Only of rows that count: a wrong time that was recorded again is mended.
    mixes, runs = books.trial.mixes, books.trial.heat_runs
    for batch in {line.row.key: line for line in books.batches}.values():
        yield from _too_late(batch, batch.row.at, mixes.get(batch.row.mix_batch, ()))
    for run in {line.row.heat_run: line for line in books.heat_runs}.values():
        yield from _too_late(run, run.row.ended_at or run.row.started_at, runs.get(run.row.heat_run, ()))


def _too_late(line: Line[Any], when: datetime, bags: Iterable[Bag]) -> Iterator[Problem]:
    first = min(bags, key=lambda bag: bag.inoculated_at, default=None)
    if first is not None and when > first.inoculated_at:
        began = first.inoculated_at.isoformat()
        message = f"{when.isoformat()} is after bag {first.bag} was inoculated ({began})"
        yield _problem(line, message, _CORRECT_TIME)


def check_originals_kept(books: Books) -> Iterator[Problem]:
    """Yield photos whose original is gone."""
    seen: set[str] = set()
    for line in books.photos:
        row = line.row
        stem = original_stem(row.taken_at, row.photo_sha256)
        if stem not in books.originals and stem not in seen:
            hint = f"Put {row.photo} back under this name; without it its numbers can't be computed again."
            yield _problem(line, f"photos/{stem}.* is missing", hint)
        seen.add(stem)


CHECKS: tuple[Callable[[Books], Iterator[Problem]], ...] = (
    check_rows_readable,
    check_commit_marks,
    check_scan_files_there,
    check_bags_found,
    check_no_duplicates,
    check_bags_known,
    check_intervals,
    check_suspect_counts,
    check_verdict_targets,
    check_harvest_weights,
    check_after_inoculation,
    check_mixes_known,
    check_batch_moistures,
    check_heat_run_ends,
    check_before_inoculation,
    check_originals_kept,
)
