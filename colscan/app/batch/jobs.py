"""One photo measured: the unit of work that crosses processes, a picklable job in, a picklable result out."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from multiprocessing import get_context
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from colscan.errors import ColscanError
from colscan.locate import locate_bags, turned_points
from colscan.photo import PhotoRef, load_rgb
from colscan.score import measure_views
from colscan.score.model import Baseline, Evidence

J = TypeVar("J")
T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhotoJob:
    """A photo to measure against its bags' baselines (by tag)."""

    ref: PhotoRef
    max_megapixels: float
    baselines: Mapping[int, Baseline]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhotoResult:
    """What one photo says, without pixels."""

    ref: PhotoRef
    width_px: int
    height_px: int
    evidence: tuple[Evidence, ...]
    repeated_tags: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Failure:
    """A photo that could not be measured, and why."""

    name: str
    error: ColscanError


def measure_photo(job: PhotoJob) -> PhotoResult | Failure:
    """What a photo says of its bags, or why it says nothing; depends on the photo and the baselines alone."""
    try:
        rgb = load_rgb(job.ref.path, max_megapixels=job.max_megapixels)
    except ColscanError as error:
        return Failure(name=job.ref.name, error=error)
    sighting = locate_bags(rgb)
    evidence = measure_views(sighting.views, job.baselines)
    return PhotoResult(
        ref=job.ref,
        width_px=rgb.shape[1],
        height_px=rgb.shape[0],
        evidence=tuple(_turned_back(seen, sighting.turns, rgb.shape[:2]) for seen in evidence),
        repeated_tags=sighting.repeated_tags,
    )


def _turned_back(seen: Evidence, turns: int, shape: tuple[int, int]) -> Evidence:
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
    return replace(seen, outline_px=back(seen.outline_px), patches=tuple(patches))


@contextmanager
def worker_pool(jobs: int) -> Iterator[ProcessPoolExecutor | None]:
    """Worker processes that leave ctrl-C to the parent; None for a single job, which needs no process."""
    if jobs <= 1:
        yield None
        return
    pool = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_ignore_interrupts)
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def run_in_order(pool: ProcessPoolExecutor | None, work: Callable[[J], T], jobs: Sequence[J]) -> Iterator[T]:
    """Results in the order of their jobs, each as soon as it and those before it are there."""
    if pool is None:
        yield from map(work, jobs)
        return
    pending: list[Future[T]] = [pool.submit(work, job) for job in jobs]
    yield from _each(pending)


def _each(pending: Iterable[Future[Any]]) -> Iterator[Any]:
    for future in pending:
        yield future.result()


def _ignore_interrupts() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
