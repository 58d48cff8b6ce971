"""A bag's earlier photos, remembered one after the other → the state that its next photo is scored from.

A state depends on what those photos said, their times and the bag's events alone; it isn't stored.
What they said is kept in `cache/evidence/`, or else measured again from the kept originals.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from colscan.app.batch.bursts import measure_together
from colscan.app.batch.evidence_cache import KeptEvidence, keep_evidence, load_evidence
from colscan.app.batch.jobs import Failure, PhotoJob, PhotoResult, Pool, run_in_order
from colscan.app.batch.originals import find_original
from colscan.app.batch.shelves import Looking
from colscan.ledger import Seen, rows_at, words_of
from colscan.ledger.columns import PhotoRow
from colscan.photo import PhotoRef
from colscan.score import remember
from colscan.score.model import Baseline, Evidence, FaceState, Memory
from colscan.trial.model import Bag


class Chain:
    """The states of a trial's bags, made when asked for.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    photos : sequence of PhotoRow
        Photos recorded before.
    baselines : mapping of int to Baseline
        By key.
    how : Looking
        How photos are looked at.
    keep : bool
        Whether the cache may be written.
    pool : Pool or None
        Where photos are measured again.
    """

    def __init__(
        self,
        folder: Path,
        photos: Sequence[PhotoRow],
        baselines: Mapping[int, Baseline],
        *,
        how: Looking,
        keep: bool,
        pool: Pool | None,
    ) -> None:
        self._folder = folder
        self._photos = photos
        self._places = {sha: place for place, sha in enumerate(words_of(photos, "photo_sha256"))}
        self._bursts: list[str | None] = words_of(photos, "burst")
        self._baselines = baselines
        self._how = how
        self._keep = keep
        self._pool = pool
        # Evidence that could not be put into the cache.
        self._held: dict[str, tuple[Evidence, ...]] = {}
        # What was found in the cache, still packed.
        self._kept: dict[str, KeptEvidence | None] = {}
        # Where photos are that had to be looked for.
        self._originals: dict[str, PhotoRef | None] = {}
        # Each bag's latest state, and the photos it comes from.
        self._latest: dict[str, tuple[tuple[str, ...], FaceState | None]] = {}

    def add(self, result: PhotoResult) -> None:
        """Take in what a photo said of its bags."""
        kept = self._keep and keep_evidence(
            self._folder, result.ref.sha256, result.evidence, self._baselines, self._how
        )
        self._kept.pop(result.ref.sha256, None)
        if not kept:
            self._held[result.ref.sha256] = result.evidence

    def state(self, bag: Bag, earlier: Sequence[Seen], memory: Memory) -> FaceState | None:
        """A bag's state after its earlier photos of a segment, given in order of time.

        A photo whose evidence and original are both gone is passed over. `memory` says what is the same
        for all of them: the segment, when it was spawned.
        """
        photos = tuple(row.photo_sha256 for row in earlier)
        known, state = self._latest.get(bag.bag, ((), None))
        if photos[: len(known)] != known:
            known, state = (), None
        for row, seen in zip(earlier[len(known) :], self._seen(photos[len(known) :], bag.key), strict=True):
            if seen is not None:
                state = remember(seen, replace(memory, state=state), taken_at=row.taken_at).state
        self._latest[bag.bag] = photos, state
        return state

    def _seen(self, photos: Sequence[str], key: int) -> list[Evidence | None]:
        """What some photos said of a bag; those of which it isn't known any more are measured again."""
        seen = {sha: self._evidence(sha, key) for sha in photos}
        missing = [sha for sha in photos if seen[sha] is None]
        self._measure(missing)
        return [self._evidence(sha, key) if seen[sha] is None else seen[sha] for sha in photos]

    def _measure(self, missing: Iterable[str]) -> None:
        bursts = dict.fromkeys(self._together(sha) for sha in missing)
        jobs = [
            tuple(
                PhotoJob(ref=ref, how=self._how, baselines=self._baselines)
                for ref in map(self._original, together)
                if ref is not None
            )
            for together in bursts
        ]
        for results in run_in_order(self._pool, measure_together, [job for job in jobs if job]):
            for result in results:
                if not isinstance(result, Failure):
                    self.add(result)

    def _together(self, sha256: str) -> tuple[str, ...]:
        """A photo and those it was combined with, in order of time."""
        place = self._places.get(sha256)
        first = None if place is None else self._bursts[place]
        if first is None:
            return (sha256,)
        burst = rows_at(self._photos, [place for place, one in enumerate(self._bursts) if one == first])
        in_time = sorted(burst, key=lambda other: (other.taken_at, other.photo_sha256))
        return tuple(other.photo_sha256 for other in in_time)

    def _evidence(self, sha256: str, key: int) -> Evidence | None:
        held = self._held.get(sha256)
        if held is not None:
            return next((seen for seen in held if seen.key == key), None)
        if sha256 not in self._kept:
            self._kept[sha256] = load_evidence(self._folder, sha256, self._baselines, self._how)
        kept = self._kept[sha256]
        return kept.of(key) if kept is not None else None

    def _original(self, sha256: str) -> PhotoRef | None:
        if sha256 not in self._originals:
            place = self._places.get(sha256)
            row = None if place is None else self._photos[place]
            path = find_original(self._folder, row) if row else None
            self._originals[sha256] = reference(row, path) if row and path else None
        return self._originals[sha256]


def reference(row: PhotoRow, path: Path) -> PhotoRef:
    """A recorded photo as a file to be looked at again."""
    return PhotoRef(
        path=path,
        name=row.photo,
        sha256=row.photo_sha256,
        taken_at=row.taken_at,
        taken_at_from=row.taken_at_from,
        camera=row.camera,
    )
