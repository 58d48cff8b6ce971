"""Each bag's baseline: from its photos of the first 36 hours, by `taken_at`, not by order of scanning.

A bag without such a photo has its earliest one, however late, with what had grown by then taken off.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from colscan.app.batch.jobs import LookJob, Pool, Seen, run_in_order
from colscan.app.batch.shelves import Looking
from colscan.errors import PhotoError
from colscan.locate.model import BagView
from colscan.photo import PhotoRef
from colscan.score import judge_first, make_baseline, make_late_baselines, share_reference
from colscan.score.model import Baseline, Fault
from colscan.trial.model import Bag
from colscan.units import BASELINE_HOURS, HOURS_PER_DAY, days_between

EARLY_DAYS = BASELINE_HOURS / HOURS_PER_DAY
"""How long after its spawning a bag's photos are part of its baseline."""


MOST_KEPT_PX = 16_000_000
"""Pixels of bags that are kept for the measuring: 80 MB."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EarlyViews:
    """The bags of an early photo, None when it can't be read.

    Pixels cross processes here and on the way to be measured: a handful of photos a trial.
    """

    ref: PhotoRef
    seen: Seen | None
    faults: Mapping[int, tuple[Fault, ...]]

    @property
    def views(self) -> tuple[BagView, ...]:
        """The bags, each with the light of those beside it where its own can't be read."""
        return share_reference(self.seen.sighting.views) if self.seen else ()


class Looks:
    """What was seen in photos that are still to be measured, so that none is looked at twice.

    Of many photos the first in time are kept, which are measured first.
    """

    def __init__(self, awaited: Iterable[PhotoRef]) -> None:
        self._awaited = {ref.sha256 for ref in awaited}
        self._kept: dict[str, Seen] = {}

    def keep(self, early: EarlyViews) -> EarlyViews:
        """Keep what was seen in a photo, if it is awaited and there is room; the same again."""
        if early.seen is not None and early.ref.sha256 in self._awaited:
            seen = [*self._kept.values(), early.seen]
            if sum(view.face.size for one in seen for view in one.sighting.views) <= MOST_KEPT_PX:
                self._kept[early.ref.sha256] = early.seen
        return early

    def take(self, ref: PhotoRef) -> Seen | None:
        """What was seen in a photo; not kept any longer."""
        return self._kept.pop(ref.sha256, None)


@dataclass(frozen=True, slots=True)
class _FirstView:
    sha256: str
    view: BagView
    faults: tuple[Fault, ...]


def is_early(taken_at: datetime, bag: Bag) -> bool:
    """Whether a photo was taken soon enough after a bag's spawning to be part of its baseline."""
    return 0.0 <= days_between(bag.inoculated_at, taken_at) <= EARLY_DAYS


def make_baselines(
    bags: Mapping[int, Bag],
    photos: Sequence[PhotoRef],
    *,
    how: Looking,
    pool: Pool | None,
    looks: Looks,
) -> dict[int, Baseline]:
    """Baselines by key: from a bag's first 36 hours, else from its earliest photo with growth taken off.

    Parameters
    ----------
    bags : mapping of int to Bag
        The trial's bags, by key.
    photos : sequence of PhotoRef
        Those that may be a bag's first, scanned before or about to be.
    how : Looking
        How they are looked at.
    pool : Pool or None
        Where photos are located.
    looks : Looks
        Keeps what is seen in them.
    """
    in_time = sorted(photos, key=lambda ref: (ref.taken_at, ref.sha256))
    jobs = [
        LookJob(ref=ref, how=how)
        for ref in in_time
        if any(is_early(ref.taken_at, bag) for bag in bags.values())
    ]
    made = _from_early(bags, map(looks.keep, run_in_order(pool, locate_early, jobs)))
    for ref in in_time:
        days = {
            key: days_between(bag.inoculated_at, ref.taken_at)
            for key, bag in bags.items()
            if key not in made and not is_early(ref.taken_at, bag) and bag.inoculated_at <= ref.taken_at
        }
        if days:
            views = looks.keep(locate_early(LookJob(ref=ref, how=how))).views
            made |= make_late_baselines(views, days, photo=ref.sha256, baselines=made)
    return made


def _from_early(bags: Mapping[int, Bag], looks: Iterable[EarlyViews]) -> dict[int, Baseline]:
    seen: dict[int, list[_FirstView]] = {}
    for early in looks:
        for view in early.views:
            bag = bags.get(view.key)
            if bag is not None and is_early(early.ref.taken_at, bag):
                first = _FirstView(early.ref.sha256, view, early.faults[view.key])
                seen.setdefault(view.key, []).append(first)
    made = {key: _make(found) for key, found in seen.items()}
    return {key: baseline for key, baseline in made.items() if baseline is not None}


def _make(found: Sequence[_FirstView]) -> Baseline | None:
    """From the good photos alone if there are any, else from those with the fewest faults."""
    fewest = min(len(first.faults) for first in found)
    best = [first for first in found if len(first.faults) == fewest]
    made = make_baseline([first.view for first in best], photos=[first.sha256 for first in best], late=False)
    if made is None:
        return None
    return replace(made, faults=min((first.faults for first in best), key=len))


def locate_early(job: LookJob) -> EarlyViews:
    """The bags in an early photo; none when it can't be read, which measuring it will say."""
    try:
        seen = job.look()
    except PhotoError:
        return EarlyViews(ref=job.ref, seen=None, faults={})
    return EarlyViews(ref=job.ref, seen=seen, faults=judge_first(seen.sighting.views))
