"""One photo measured: the unit of work that crosses processes, a picklable job in, a picklable result out."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from multiprocessing import active_children, get_context, parent_process
from threading import Thread
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from colscan.app.batch.shelves import Looking
from colscan.app.batch.standing import doubted, identities
from colscan.errors import ColscanError, PhotoError
from colscan.locate import locate_bags, turned_points
from colscan.locate.model import Standing
from colscan.photo import PhotoRef, load_rgb
from colscan.score import measure_views
from colscan.score.identity import Identity
from colscan.score.model import Baseline, Evidence

J = TypeVar("J")
T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhotoJob:
    """A photo to measure against its bags' baselines (by key)."""

    ref: PhotoRef
    how: Looking
    baselines: Mapping[int, Baseline]


@dataclass(frozen=True, slots=True, kw_only=True)
class Elsewhere:
    """A bag (by key) that a photo shows and that is scored under another photo of the same minutes."""

    key: int
    mm_per_px: float
    smallest_spot_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhotoResult:
    """What one photo says, without pixels; `burst` is the SHA-256 of the first photo that was combined."""

    ref: PhotoRef
    width_px: int
    height_px: int
    evidence: tuple[Evidence, ...]
    repeated_tags: tuple[int, ...]
    elsewhere: tuple[Elsewhere, ...] = ()
    burst: str | None = None
    standing: Standing = Standing()
    told: tuple[Identity, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Failure:
    """A photo that could not be measured, and why."""

    name: str
    error: ColscanError


def measure_photo(job: PhotoJob) -> PhotoResult | Failure:
    """What a photo says of its bags, or why it says nothing; depends on the photo and the baselines alone."""
    return or_failure(job.ref.name, lambda: _measure(job))


def or_failure(name: str, work: Callable[[], T]) -> T | Failure:
    """What work on one photo gives, or why it gives nothing."""
    try:
        return work()
    except ColscanError as error:
        return Failure(name=name, error=error)
    except Exception as error:
        # One odd photo must not cost the others.
        if os.environ.get("COLSCAN_TRACEBACK"):
            raise
        msg = f"{name}: a fault in colscan itself ({type(error).__name__}: {error})."
        hint = "The other photos are not touched by it. Please report it with this photo."
        return Failure(name=name, error=PhotoError(msg, hint))


def _measure(job: PhotoJob) -> PhotoResult:
    rgb = load_rgb(job.ref.path, max_megapixels=job.how.max_megapixels)
    sighting = locate_bags(rgb, job.how.shelves)
    evidence = measure_views(sighting.views, job.baselines)
    coverage = {seen.key: seen.coverage for seen in evidence if seen.coverage is not None}
    told = identities(sighting.views, job.baselines, coverage=coverage)
    evidence = tuple(doubted(seen, told.get(seen.key)) for seen in evidence)
    return PhotoResult(
        ref=job.ref,
        width_px=rgb.shape[1],
        height_px=rgb.shape[0],
        evidence=tuple(turned_back(seen, sighting.turns, rgb.shape[:2]) for seen in evidence),
        repeated_tags=sighting.repeated_tags,
        standing=sighting.standing,
        told=tuple(told.values()),
    )


def turned_back(seen: Evidence, turns: int, shape: tuple[int, int]) -> Evidence:
    """Evidence with its px in the photo as loaded, where that had to be turned upright by its cards."""
    if not turns:
        return seen
    turned_shape = shape[::-1] if turns % 2 else shape

    def back(points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        return turned_points(points_px, -turns, turned_shape)

    patches = []
    for patch in seen.patches:
        ((x, y),) = back(np.array([patch.centre_px])).tolist()
        patches.append(replace(patch, centre_px=(x, y), outline_px=back(patch.outline_px)))
    start, across, down = back(np.array([(0, 0), (1, 0), (0, 1)]) @ seen.to_px[:, :2].T + seen.to_px[:, 2])
    to_px = np.column_stack([across - start, down - start, start])
    return replace(seen, outline_px=back(seen.outline_px), to_px=to_px, patches=tuple(patches))


@contextmanager
def worker_pool(jobs: int) -> Iterator[ProcessPoolExecutor | None]:
    """Worker processes that leave ctrl-C to the parent; None for a single job, which needs no process."""
    if jobs <= 1:
        yield None
        return
    pool = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_serve_parent)
    try:
        yield pool
    except BaseException:
        # Nobody waits for photos whose results nobody takes any more.
        for child in active_children():
            child.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def run_in_order(pool: ProcessPoolExecutor | None, work: Callable[[J], T], jobs: Sequence[J]) -> Iterator[T]:
    """Results in the order of their jobs, each as soon as it and those before it are there.

    Raises
    ------
    PhotoError
        When a process was ended from outside.
    """
    if pool is None:
        yield from map(work, jobs)
        return
    try:
        for future in [pool.submit(work, job) for job in jobs]:
            yield future.result()
    except BrokenProcessPool as error:
        msg = "A process that measured photos was ended from outside, perhaps for want of memory."
        raise PhotoError(msg, "Scan again with --jobs 1; photos recorded before are passed over.") from error


def _serve_parent() -> None:
    """Leave ctrl-C to the parent, and end when it ends, however it does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
