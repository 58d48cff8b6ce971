"""One photo measured: the unit of work that crosses processes, a picklable job in, a picklable result out."""

from __future__ import annotations

import os
import signal
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from multiprocessing import active_children, get_context, parent_process
from pathlib import Path
from threading import Thread
from typing import Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from colscan.app.batch.shelves import Looking
from colscan.app.batch.standing import doubted, identities
from colscan.errors import ColscanError, PhotoError
from colscan.locate import locate_bags, turned_points
from colscan.locate.model import Sighting, Standing
from colscan.photo import PhotoRef, colour_error, load_rgb
from colscan.photo.model import ImageRGB
from colscan.photo.threads import use_one_core
from colscan.score import measure_views
from colscan.score.identity import Identity
from colscan.score.model import Baseline, Evidence

J = TypeVar("J")
T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)
_AHEAD = 4
"""Jobs out for each process: enough that none waits while the first in line takes long."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FileJob(ABC):
    """Work on a photo's file; its bytes come along where it is done on a machine that hasn't the file."""

    raw: bytes | None = None

    @property
    @abstractmethod
    def file(self) -> Path:
        """The photo's file."""

    def pixels(self, max_megapixels: float) -> ImageRGB:
        """The photo's upright sRGB pixels; `PhotoError` where it has none."""
        return load_rgb(self.file, max_megapixels=max_megapixels, raw=self.raw)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """A photo's size and the bags in it, with their pixels."""

    shape: tuple[int, int]
    sighting: Sighting


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LookJob(FileJob):
    """A photo to look for bags in."""

    ref: PhotoRef
    how: Looking

    @property
    def file(self) -> Path:
        """The photo's file."""
        return self.ref.path

    def look(self) -> Seen:
        """The bags in the photo; `PhotoError` where it can't be read."""
        rgb = self.pixels(self.how.max_megapixels)
        sighting = locate_bags(rgb, self.how.shelves)
        error = colour_error(self.file, max_megapixels=self.how.max_megapixels, raw=self.raw)
        views = tuple(replace(view, colour_error=error) for view in sighting.views)
        return Seen(shape=rgb.shape[:2], sighting=replace(sighting, views=views))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhotoJob(LookJob):
    """A photo to measure against its bags' baselines (by key); `seen` where it was looked at already."""

    baselines: Mapping[int, Baseline]
    seen: Seen | None = None

    def look(self) -> Seen:
        """As seen already, or anew."""
        return self.seen or LookJob.look(self)


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
    seen = job.look()
    sighting = seen.sighting
    evidence = measure_views(sighting.views, job.baselines)
    coverage = {one.key: one.coverage for one in evidence if one.coverage is not None}
    told = identities(sighting.views, job.baselines, coverage=coverage)
    evidence = tuple(doubted(one, told.get(one.key)) for one in evidence)
    return PhotoResult(
        ref=job.ref,
        width_px=seen.shape[1],
        height_px=seen.shape[0],
        evidence=tuple(turned_back(one, sighting.turns, seen.shape) for one in evidence),
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


class Pending(Protocol[T_co]):
    """A job that is being done elsewhere."""

    def result(self) -> T_co:
        """Wait for its result."""


class Pool(Protocol):
    """Where jobs are done beside this process."""

    @property
    def width(self) -> int:
        """How many jobs may be out at once."""

    def submit(self, work: Callable[[J], T], job: J) -> Pending[T]:
        """Begin a job."""


@contextmanager
def worker_pool(jobs: int, cluster: str | None = None) -> Iterator[Pool | None]:
    """Processes of this machine or of a cluster; None for a single job, which needs no process.

    Parameters
    ----------
    jobs : int
        How many processes of this machine.
    cluster : str, optional
        The address of a cluster's scheduler, whose processes do the work instead.

    Raises
    ------
    ClusterError
        When the cluster can't be used.
    """
    if cluster is not None:
        from colscan.app.batch.cluster import cluster_pool

        with cluster_pool(cluster) as pool:
            yield pool
    elif jobs <= 1:
        yield None
    else:
        with _processes(jobs) as pool:
            yield pool


@contextmanager
def _processes(jobs: int) -> Iterator[Pool]:
    """Processes that leave ctrl-C to the parent."""
    pool = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_serve_parent)
    try:
        yield _Processes(pool, jobs)
    except BaseException:
        # Nobody waits for photos whose results nobody takes any more.
        for child in active_children():
            child.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


class _Processes:
    def __init__(self, pool: ProcessPoolExecutor, jobs: int) -> None:
        self._pool = pool
        self.width = jobs * _AHEAD

    def submit(self, work: Callable[[J], T], job: J) -> Pending[T]:
        try:
            with _ctrl_c_later():
                return _InProcess(self._pool.submit(work, job))
        except BrokenProcessPool as error:
            raise _ended() from error


@contextmanager
def _ctrl_c_later() -> Iterator[None]:
    """Ctrl-C waits meanwhile, and a process that is begun meanwhile never hears it, not even while it starts.

    Where signals can't wait (Windows) a process that is just starting may say that it was interrupted.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _InProcess(Generic[T]):
    def __init__(self, future: Future[T]) -> None:
        self._future = future

    def result(self) -> T:
        try:
            return self._future.result()
        except BrokenProcessPool as error:
            raise _ended() from error


def _ended() -> PhotoError:
    msg = "A process that measured photos was ended from outside, perhaps for want of memory."
    return PhotoError(msg, "Scan again with --jobs 1; photos recorded before are passed over.")


def run_in_order(pool: Pool | None, work: Callable[[J], T], jobs: Iterable[J]) -> Iterator[T]:
    """Results in the order of their jobs, each as soon as it and those before it are there.

    Raises
    ------
    PhotoError
        When a process was ended from outside.
    ClusterLostError
        When the cluster was lost.
    """
    if pool is None:
        yield from map(work, jobs)
        return
    out: deque[Pending[T]] = deque()
    for job in jobs:
        out.append(pool.submit(work, job))
        if len(out) >= pool.width:
            yield out.popleft().result()
    while out:
        yield out.popleft().result()


def _serve_parent() -> None:
    """Keep to one core; leave ctrl-C to the parent, and end when it ends, however it does."""
    use_one_core()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
