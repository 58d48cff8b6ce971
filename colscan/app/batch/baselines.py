"""Each bag's baseline: from its photos of the first 36 hours, by `taken_at`, not by order of scanning.

A bag without such a photo has its earliest one, however late, with what had grown by then taken off.
"""

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
from colscan.score import make_baseline, make_late_baselines, share_reference
from colscan.score.model import Baseline
from colscan.trial.model import Bag
from colscan.units import BASELINE_HOURS, HOURS_PER_DAY, days_between


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


def is_early(taken_at: datetime, bag: Bag) -> bool:
    """Whether a photo was taken soon enough after a bag's spawning to be part of its baseline."""
    return 0.0 <= days_between(bag.inoculated_at, taken_at) <= BASELINE_HOURS / HOURS_PER_DAY


def make_baselines(
    bags: Mapping[int, Bag],
    photos: Sequence[PhotoRef],
    *,
    max_megapixels: float,
    pool: ProcessPoolExecutor | None,
) -> dict[int, Baseline]:
    """Baselines by tag: from a bag's first 36 hours, else from its earliest photo with growth taken off.

    Parameters
    ----------
    bags : mapping of int to Bag
        The trial's bags that have a card, by tag.
    photos : sequence of PhotoRef
        Those that may be a bag's first, scanned before or about to be.
    max_megapixels : float
        Larger photos are left out.
    pool : ProcessPoolExecutor or None
        Where photos are located.
    """
    in_time = sorted(photos, key=lambda ref: (ref.taken_at, ref.sha256))
    jobs = [
        EarlyJob(ref=ref, max_megapixels=max_megapixels)
        for ref in in_time
        if any(is_early(ref.taken_at, bag) for bag in bags.values())
    ]
    made = _from_early(bags, run_in_order(pool, locate_early, jobs))
    for ref in in_time:
        days = {
            tag: days_between(bag.inoculated_at, ref.taken_at)
            for tag, bag in bags.items()
            if tag not in made and not is_early(ref.taken_at, bag) and bag.inoculated_at <= ref.taken_at
        }
        if days:
            views = locate_early(EarlyJob(ref=ref, max_megapixels=max_megapixels)).views
            made |= make_late_baselines(views, days, photo=ref.sha256, baselines=made)
    return made


def _from_early(bags: Mapping[int, Bag], looks: Iterable[EarlyViews]) -> dict[int, Baseline]:
    seen: dict[int, list[tuple[str, BagView]]] = {}
    for early in looks:
        for view in early.views:
            bag = bags.get(view.tag)
            if bag is not None and is_early(early.ref.taken_at, bag):
                seen.setdefault(view.tag, []).append((early.ref.sha256, view))
    made = {tag: _make(found) for tag, found in seen.items()}
    return {tag: baseline for tag, baseline in made.items() if baseline is not None}


def _make(found: Iterable[tuple[str, BagView]]) -> Baseline | None:
    photos, views = zip(*found, strict=True)
    return make_baseline(views, photos=photos, late=False)


def locate_early(job: EarlyJob) -> EarlyViews:
    """The bags in an early photo; none when it can't be read, which measuring it will say."""
    try:
        rgb = load_rgb(job.ref.path, max_megapixels=job.max_megapixels)
    except PhotoError:
        return EarlyViews(ref=job.ref, views=())
    return EarlyViews(ref=job.ref, views=share_reference(locate_bags(rgb).views))
