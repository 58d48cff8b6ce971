"""Each bag's baseline, from its photos of the first 36 hours: the earliest by `taken_at`, not by scanning."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import datetime

from colscan.app.batch.jobs import run_in_order
from colscan.errors import PhotoError
from colscan.locate import locate_bags
from colscan.locate.model import BagView
from colscan.photo import PhotoRef, load_rgb
from colscan.score import make_baseline, share_reference
from colscan.score.model import Baseline
from colscan.trial.model import Bag
from colscan.units import BASELINE_HOURS, HOURS_PER_DAY, days_between

MOST_PHOTOS = 3
# Growth has a lag of some days: a photo up to here shows mostly bare substrate. Flagged, better than none.
LATE_HOURS = 96.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlyJob:
    """A photo to look for bags in."""

    ref: PhotoRef
    max_megapixels: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EarlyViews:
    """The bags of an early photo. Pixels cross processes here, and only here: a handful of photos a trial."""

    ref: PhotoRef
    views: tuple[BagView, ...]


def is_early(taken_at: datetime, bags: Iterable[Bag]) -> bool:
    """Whether a photo was taken soon enough after a bag's spawning to be part of its baseline."""
    return any(0.0 <= days_between(bag.inoculated_at, taken_at) <= LATE_HOURS / HOURS_PER_DAY for bag in bags)


def make_baselines(
    bags: Mapping[int, Bag],
    photos: Sequence[PhotoRef],
    *,
    max_megapixels: float,
    pool: ProcessPoolExecutor | None,
) -> dict[int, Baseline]:
    """Baselines by tag, of the bags that have a usable early photo.

    Parameters
    ----------
    bags : mapping of int to Bag
        The trial's bags that have a card, by tag.
    photos : sequence of PhotoRef
        The early photos, scanned before or about to be.
    max_megapixels : float
        Larger photos are left out.
    pool : ProcessPoolExecutor or None
        Where photos are located.
    """
    in_time = sorted(photos, key=lambda ref: (ref.taken_at, ref.sha256))
    made = _from_window(bags, in_time, _Window(0.0, BASELINE_HOURS, MOST_PHOTOS), max_megapixels, pool)
    missing = {tag: bag for tag, bag in bags.items() if tag not in made}
    return made | _from_window(missing, in_time, _Window(BASELINE_HOURS, LATE_HOURS, 1), max_megapixels, pool)


@dataclass(frozen=True, slots=True)
class _Window:
    after_hours: float
    until_hours: float
    most_photos: int

    def holds(self, ref: PhotoRef, bag: Bag) -> bool:
        hours = HOURS_PER_DAY * days_between(bag.inoculated_at, ref.taken_at)
        return self.after_hours <= hours <= self.until_hours


def _from_window(
    bags: Mapping[int, Bag],
    in_time: Sequence[PhotoRef],
    window: _Window,
    max_megapixels: float,
    pool: ProcessPoolExecutor | None,
) -> dict[int, Baseline]:
    jobs = [
        EarlyJob(ref=ref, max_megapixels=max_megapixels)
        for ref in in_time
        if any(window.holds(ref, bag) for bag in bags.values())
    ]
    seen: dict[int, list[tuple[str, BagView]]] = {}
    for early in run_in_order(pool, locate_early, jobs):
        for view in early.views:
            bag = bags.get(view.tag)
            if (
                bag is not None
                and window.holds(early.ref, bag)
                and len(seen.get(view.tag, ())) < window.most_photos
            ):
                seen.setdefault(view.tag, []).append((early.ref.sha256, view))
    late = window.after_hours > 0
    made = {tag: _make(found, late) for tag, found in seen.items()}
    return {tag: baseline for tag, baseline in made.items() if baseline is not None}


def _make(found: Iterable[tuple[str, BagView]], late: bool) -> Baseline | None:
    photos, views = zip(*found, strict=True)
    return make_baseline(views, photos=photos, late=late)


def locate_early(job: EarlyJob) -> EarlyViews:
    """The bags in an early photo; none when it can't be read, which measuring it will say."""
    try:
        rgb = load_rgb(job.ref.path, max_megapixels=job.max_megapixels)
    except PhotoError:
        return EarlyViews(ref=job.ref, views=())
    return EarlyViews(ref=job.ref, views=share_reference(locate_bags(rgb).views))
