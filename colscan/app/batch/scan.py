"""Photos in, rows out: measured in any order, remembered and recorded in order of `taken_at`."""

from __future__ import annotations

import hashlib
from bisect import bisect_right, insort
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import nullcontext, suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import chain as chain_of
from operator import itemgetter
from pathlib import Path

from colscan.app.batch.annotate import write_overlay
from colscan.app.batch.baseline_cache import baselines_key, keep_baselines, load_baselines
from colscan.app.batch.baselines import EARLY_DAYS, Looks, is_early, make_baselines
from colscan.app.batch.before import Before
from colscan.app.batch.bursts import breaks_of, group_bursts, leave_scored, measure_together
from colscan.app.batch.chain import Chain, reference
from colscan.app.batch.copies import find_copies
from colscan.app.batch.first_photos import first_photos
from colscan.app.batch.jobs import Failure, PhotoJob, PhotoResult, Pool, run_in_order, worker_pool
from colscan.app.batch.memory import Recollection
from colscan.app.batch.originals import clear_leftovers, find_original, keep_original
from colscan.app.batch.outcomes import AlreadyKnown, Outcome, Recorded, Rejected
from colscan.app.batch.place import Said, place_photo, too_early
from colscan.app.batch.rows import photo_row, score_row, suspect_row
from colscan.app.batch.shelves import look_of
from colscan.errors import PhotoError, UndatedError
from colscan.flags import RETAKE, Flag
from colscan.hints import as_typed
from colscan.ledger import append_photo, append_waiting, read_ledger, scan_locked, times_of, words_of
from colscan.ledger.columns import PhotoRow
from colscan.locate.model import Standing
from colscan.photo import PhotoRef
from colscan.score import remember
from colscan.score.identity import Identity, Verdict
from colscan.score.model import Baseline, Evidence, Memory
from colscan.trial import sibling_tags
from colscan.trial.model import Bag, Trial
from colscan.units import days_between, in_microseconds, now


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanOptions:
    """How photos are scanned.

    Parameters
    ----------
    taken_at : datetime or None
        When the (one) photo was taken, if the user said so.
    shelf : str or None
        The shelf in the photos, if the user said so.
    jobs : int
        How many processes measure.
    cluster : str or None
        The address of a cluster's scheduler, whose processes measure instead.
    dry_run : bool
        Measure and report, write nothing.
    overlay : bool
        Draw what was found on each photo.
    elsewhere : mapping of str to frozenset of int
        By a photo's hash, the tags in it that are scored in other trials of the farm.
    said : mapping of Path to Said
        What came with a photo that isn't in its file: its name, perhaps its time.
    waiting : callable
        Called again and again while another scan of the trial is waited for; what it raises ends the scan.
    """

    taken_at: datetime | None = None
    shelf: str | None = None
    jobs: int = 1
    cluster: str | None = None
    dry_run: bool = False
    overlay: bool = False
    elsewhere: Mapping[str, frozenset[int]] = field(default_factory=dict)
    said: Mapping[Path, Said] = field(default_factory=dict)
    waiting: Callable[[], object] = lambda: None


def scan_photos(folder: Path, trial: Trial, paths: Sequence[Path], options: ScanOptions) -> Iterator[Outcome]:
    """What became of each photo, as it happens: those refused or known, then the others in order of time.

    From its first photo to its last, or until it is closed, no other scan of the trial records anything.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    trial : Trial
        Its plan.
    paths : sequence of Path
        Photo files.
    options : ScanOptions
        How.

    Raises
    ------
    LedgerError
        When the ledger can't be read or written; photos recorded before stay.
    ClusterError
        When the cluster can't be used, or is lost; photos recorded before stay.
    """
    with nullcontext() if options.dry_run else scan_locked(folder, options.waiting):
        yield from _scan_in_turn(folder, trial, paths, options)


def _scan_in_turn(
    folder: Path, trial: Trial, paths: Sequence[Path], options: ScanOptions
) -> Iterator[Outcome]:
    if not options.dry_run:
        append_waiting(folder)
        clear_leftovers(folder)
    ledger = read_ledger(folder)
    fresh: dict[str, PhotoRef] = {}
    known = {sha256: place for place, sha256 in enumerate(words_of(ledger.photos, "photo_sha256"))}
    for path in paths:
        ref = _place(path, trial, options)
        place = known.get(_sha256_of(ref, path))
        if place is not None:
            kept = None if options.dry_run else _put_back(folder, ledger.photos[place], path)
            yield AlreadyKnown(name=ref.name, put_back=kept)
        elif isinstance(ref, Rejected):
            yield ref
        elif ref.sha256 in fresh:
            yield AlreadyKnown(name=ref.name, twin=fresh[ref.sha256].name)
        else:
            fresh[ref.sha256] = ref
    copies = find_copies(
        folder,
        tuple(fresh.values()),
        ledger.photos,
        max_megapixels=trial.limits.max_photo_megapixels,
        keep=not options.dry_run,
    )
    for sha256, original in copies.items():
        yield AlreadyKnown(name=fresh.pop(sha256).name, copy_of=original)
    yield from scan_refs(folder, trial, list(fresh.values()), Before(ledger=ledger, near=ledger), options)


def scan_refs(
    folder: Path, trial: Trial, refs: list[PhotoRef], before: Before, options: ScanOptions
) -> Iterator[Outcome]:
    """What became of photos that are placed in time; as `scan_photos`, with what was recorded before them.

    The caller holds the trial's scans (`scan_locked`) since before that was read.
    """
    if refs:
        with worker_pool(min(options.jobs, len(refs)), options.cluster) as pool:
            yield from _Scan(folder, trial, before, options).run(refs, pool)


def _place(path: Path, trial: Trial, options: ScanOptions) -> PhotoRef | Rejected:
    said = options.said.get(path) or Said(name=path.name, taken_at=options.taken_at)
    try:
        return place_photo(path, trial, said)
    except PhotoError as error:
        return Rejected(name=said.name, error=error)


def _sha256_of(ref: PhotoRef | Rejected, path: Path) -> str | None:
    """A photo's hash, also where only its time isn't known: it may have been said when it was recorded."""
    if isinstance(ref, PhotoRef):
        return ref.sha256
    if isinstance(ref.error, UndatedError):
        with suppress(OSError):  # gone meanwhile
            return hashlib.sha256(path.read_bytes()).hexdigest()
    return None


def _put_back(folder: Path, row: PhotoRow, path: Path) -> Path | None:
    """The kept file of a recorded photo if it was gone and is there again; None if it was there."""
    return None if find_original(folder, row) else keep_original(folder, reference(row, path))


def _why_again(baseline: Baseline | None, seen: Evidence) -> tuple[str, ...]:
    """What is wrong with a bag's first photos, all of them: nothing when one of them is good."""
    if baseline is not None and not baseline.late:
        return tuple(str(fault) for fault in baseline.faults)
    flags = [flag for flag in seen.flags if flag in RETAKE or flag is Flag.NO_REFERENCE]
    return tuple(flag.meaning.rstrip(".") for flag in flags) or ("it can't serve as baseline",)


def _tell_elsewhere(bags: Iterable[Bag]) -> Iterator[str]:
    codes = ", ".join(sorted(bag.bag for bag in bags))
    if codes:
        yield f"scored once, with the other photos of the same minutes: {codes}"


class _Scan:
    """One run over photos."""

    def __init__(self, folder: Path, trial: Trial, before: Before, options: ScanOptions) -> None:
        self._folder = folder
        self._trial = trial
        self._before = before
        self._ledger = ledger = before.ledger
        self._options = options
        self._how = look_of(folder, trial)
        self._bags: dict[int, Bag] = {bag.key: bag for bag in trial.bags}
        self._recollection = Recollection(trial, ledger, before.lenders)
        seen = zip(times_of(ledger.photos).tolist(), words_of(ledger.photos, "camera"), strict=True)
        # When photos were taken, microseconds since 1970, and by what, in order.
        self._cameras: list[tuple[int, str]] = sorted((at, camera) for at, camera in seen if camera)
        self._unkept: tuple[str, Mapping[int, Baseline]] | None = None

    def run(self, refs: list[PhotoRef], pool: Pool | None) -> Iterator[Outcome]:
        how, recorded = self._how, set(words_of(self._ledger.photos, "photo_sha256"))
        # Over a network pixels take longer than looking again.
        looks = Looks(refs if self._options.cluster is None else ())
        baselines = self._baselines(refs, pool, looks)
        chain = Chain(
            self._folder,
            self._ledger.photos,
            baselines,
            how=how,
            keep=not self._options.dry_run,
            pool=pool,
        )
        in_time = sorted(refs, key=lambda ref: (ref.taken_at, ref.sha256))
        jobs = (
            tuple(PhotoJob(ref=ref, how=how, baselines=baselines, seen=looks.take(ref)) for ref in burst)
            for burst in group_bursts(in_time, breaks_of(self._ledger))
        )
        for result in chain_of.from_iterable(run_in_order(pool, measure_together, jobs)):
            if isinstance(result, Failure):
                yield Rejected(name=result.name, error=result.error)
            elif result.ref.sha256 in recorded:  # given for the photos of its burst that aren't
                chain.add(result)
            else:
                news = leave_scored(result, self._bags, self._before.near, baselines=baselines)
                yield self._record(news, chain, baselines)

    def _baselines(self, refs: list[PhotoRef], pool: Pool | None, looks: Looks) -> Mapping[int, Baseline]:
        early = first_photos(self._folder, self._bags.values(), self._ledger, refs)
        key = baselines_key(self._bags, early, self._how)
        kept = load_baselines(self._folder, key)
        if kept is not None:
            return kept
        made = make_baselines(self._bags, early, how=self._how, pool=pool, looks=looks)
        self._unkept = (key, made)
        return made

    def _keep_baselines(self) -> None:
        """Keep new baselines, once a photo is recorded: a scan that records nothing leaves nothing."""
        if self._unkept and not self._options.dry_run:
            keep_baselines(self._folder, *self._unkept)
        self._unkept = None

    def _record(self, result: PhotoResult, chain: Chain, baselines: Mapping[int, Baseline]) -> Outcome:
        try:
            recorded = self._remember(result, chain, baselines)
        except PhotoError as error:
            return Rejected(name=result.ref.name, error=error)
        if not self._options.dry_run:
            keep_original(self._folder, result.ref)
            if not append_photo(self._folder, recorded.photo, recorded.scores, recorded.suspects):
                return AlreadyKnown(name=result.ref.name)
        self._keep_baselines()
        chain.add(result)
        self._recollection.add(recorded.scores, recorded.suspects)
        if result.ref.camera:
            insort(self._cameras, (in_microseconds(result.ref.taken_at), result.ref.camera))
        return (
            replace(recorded, overlay=self._draw(result.ref, recorded)) if self._options.overlay else recorded
        )

    def _draw(self, ref: PhotoRef, recorded: Recorded) -> Path:
        return write_overlay(self._folder, ref, recorded.scores, recorded.suspects, found=recorded.found)

    def _remember(self, result: PhotoResult, chain: Chain, baselines: Mapping[int, Baseline]) -> Recorded:
        ref = result.ref
        found = {self._bags[seen.key]: seen for seen in result.evidence if seen.key in self._bags}
        elsewhere = {self._bags[seen.key]: seen for seen in result.elsewhere if seen.key in self._bags}
        repeated = [self._bags[tag].bag for tag in result.repeated_tags if tag in self._bags]
        self._check_found(result, (*found, *elsewhere), repeated)
        scores = {
            bag: remember(seen, self._recall(bag, ref.taken_at, chain), taken_at=ref.taken_at)
            for bag, seen in sorted(found.items(), key=lambda item: item[0].bag)
        }
        at = now()
        return Recorded(
            photo=photo_row(
                result,
                tuple(scores.values()),
                shelf=self._shelf((*found, *elsewhere), ref),
                problems=self._problems(ref, repeated),
                elsewhere=tuple(elsewhere.values()),
                at=at,
            ),
            scores=tuple(score_row(bag, score, ref, at=at) for bag, score in scores.items()),
            suspects=tuple(
                suspect_row(bag.bag, patch, ref) for bag, score in scores.items() for patch in score.patches
            ),
            found={bag.bag: score for bag, score in scores.items()},
            missing=tuple(
                bag.bag
                for bag in self._bags.values()
                if bag not in found and bag not in elsewhere and bag.bag not in repeated
            ),
            remarks=(*_tell_elsewhere(elsewhere), *self._remarks(result, found, repeated)),
            first={
                bag.bag: _why_again(baselines.get(seen.key), seen)
                for bag, seen in found.items()
                if is_early(ref.taken_at, bag)
            },
            too_late=frozenset(bag.bag for bag in found if days_between(bag.inoculated_at, at) > EARLY_DAYS),
        )

    def _recall(self, bag: Bag, taken_at: datetime, chain: Chain) -> Memory:
        memory = self._recollection.recall(bag, taken_at)
        return replace(memory, state=chain.state(bag, self._recollection.earlier(bag, taken_at), memory))

    def _check_found(self, result: PhotoResult, found: Sequence[Bag], repeated: list[str]) -> None:
        ref = result.ref
        for bag in found:
            if ref.taken_at < bag.inoculated_at:
                raise too_early(ref, f"bag {bag.bag}", bag.inoculated_at, self._trial.zone)
        if not found and not repeated:
            raise self._nothing_found(result)

    def _nothing_found(self, result: PhotoResult) -> PhotoError:
        foreign = sorted({seen.key for seen in result.evidence})
        if any(bag.tag is None for bag in self._trial.bags) and not self._how.shelves:
            msg = f"{result.ref.name}: no card of this trial is in it, and no map tells bags without one."
            return PhotoError(msg, f"Map the shelf first: colscan map {as_typed(self._folder)} PHOTO")
        if self._how.shelves and not result.standing.shelf_known:
            msg = f"{result.ref.name}: no card of this trial is in it, and it shows no shelf that is mapped."
            return PhotoError(msg, "Photograph all of the shelf from the front, as on the mapped photo.")
        if self._how.shelves:
            msg = f"{result.ref.name}: none of the mapped bags stands in its place."
            return PhotoError(msg, "Put the bags back, or make the map again with: colscan map")
        if foreign:
            msg = f"{result.ref.name}: none of its cards is of this trial ({self._owners(foreign)})."
            return PhotoError(msg, "Scan it into the trial whose bags it shows, or correct bags.csv.")
        msg = f"{result.ref.name}: no card was found in it."
        return PhotoError(
            msg, "Go nearer until a tag is at least 30 px wide; check that the cards are in view."
        )

    def _owners(self, tags: list[int]) -> str:
        siblings = sibling_tags(self._folder)
        return ", ".join(f"tag {tag}" + (f" is {siblings[tag]}" if tag in siblings else "") for tag in tags)

    def _shelf(self, found: Iterable[Bag], ref: PhotoRef) -> str | None:
        stood_on = {self._recollection.shelf(bag, ref.taken_at) for bag in found}
        said = self._options.shelf or self._before.shelves.get(ref.sha256)
        return said or (stood_on.pop() if len(stood_on) == 1 else None)

    def _problems(self, ref: PhotoRef, repeated: list[str]) -> tuple[Flag, ...]:
        earlier = bisect_right(self._cameras, in_microseconds(ref.taken_at), key=itemgetter(0))
        problems = ref.flags
        if ref.camera and earlier and self._cameras[earlier - 1][1] != ref.camera:
            problems += (Flag.OTHER_CAMERA,)
        return (*problems, Flag.TAG_TWICE) if repeated else problems

    def _remarks(
        self, result: PhotoResult, found: Mapping[Bag, Evidence], repeated: list[str]
    ) -> Iterator[str]:
        for code in repeated:
            yield f"{code}: its tag stands twice in the photo, so it was not scored; cover one of the cards"
        elsewhere = self._options.elsewhere.get(result.ref.sha256, frozenset())
        foreign = sorted({seen.key for seen in result.evidence} - self._bags.keys() - elsewhere)
        if foreign:
            yield f"left out, no bags of this trial: {self._owners(foreign)}"
        yield from self._tell_standing(result.standing)
        yield from self._tell_others(result.told)
        if any(self._recollection.is_late(bag, result.ref.taken_at) for bag in found):
            yield "taken before photos that are scored already: their rows stand as they are"

    def _tell_standing(self, standing: Standing) -> Iterator[str]:
        for what, keys in (("no bag in its place", standing.empty), ("not scored", standing.doubtful)):
            codes = ", ".join(sorted(self._bags[key].bag for key in keys if key in self._bags))
            if codes and keys is standing.empty:
                yield f"{what}: {codes}; if it was moved or taken away, record it with colscan event"
            elif codes:
                yield f"{what}, the bag near its place may be another: {codes}"
        if standing.shelf_known and standing.strangers:
            yield f"bags without a card that stand in no place of the map: {standing.strangers}"

    def _tell_others(self, told: Iterable[Identity]) -> Iterator[str]:
        for one in told:
            code = self._bags[one.key].bag
            if one.verdict is Verdict.OTHER and one.found in self._bags:
                yield f"{self._bags[one.found].bag} stands where the map has {code}: not scored"
            elif one.verdict is Verdict.STRANGE:
                yield f"the bag where the map has {code} is none that is known: not scored"
