"""Jobs done by the processes of a Dask cluster: bytes go out, results come back, nothing is written there.

Dask does a job again whose worker has died. What a photo says depends on its bytes and on the baselines
alone, so it doesn't matter where it is looked at or how often; its result is taken once, in order.
"""

from __future__ import annotations

import asyncio
import io
import logging
import pickle
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, Generic, TypeVar, cast

from colscan.app.batch.jobs import FileJob, Pending
from colscan.app.batch.means import Means, own_means, tell_differences
from colscan.errors import ClusterError, ClusterLostError
from colscan.locate import MappedShelf
from colscan.photo.threads import use_one_core
from colscan.score.model import Baseline

if TYPE_CHECKING:
    from distributed import Client
    from distributed import Future as ClusterFuture

J = TypeVar("J")
T = TypeVar("T")
_CONNECT_S = 10.0
_LOOK_S = 2.0
_NO_WORKER_S = 60.0
_AHEAD = 3
"""Jobs out for each of the cluster's threads: one is done, one is there, one is on its way."""
_COMMON = (Baseline, MappedShelf)
"""What all jobs of a scan have in common, and most of their size but for the photo."""
_PRINTED = "dask scheduler prints it when it starts, as tcp://192.168.1.20:8786."
_CERTIFICATES = "Name ca-file, client.cert and client.key under distributed.comm.tls in ~/.config/dask/."
_AGAIN = "Photos recorded before stay: scan again when that is mended, and the others follow."


@contextmanager
def cluster_pool(address: str) -> Iterator[Cluster]:
    """The cluster of a scheduler, whose every worker measures as this process does.

    Parameters
    ----------
    address : str
        The scheduler's, as `tcp://192.168.1.20:8786`.

    Raises
    ------
    ClusterError
        When `distributed` isn't installed, nobody answers there, no worker is connected, or one of them
        would measure otherwise.
    """
    client = _connect(address)
    try:
        cluster = Cluster(client, address)
        cluster.check_workers()
        yield cluster
    finally:
        # The scheduler drops jobs whose results nobody waits for; what is being done there is done in vain.
        client.close(timeout=_LOOK_S)


def _connect(address: str) -> Client:
    try:
        import dask
        from distributed import Client
        from distributed.versions import VersionMismatchWarning
    except ModuleNotFoundError as error:
        msg = f"--cluster {address} needs the library distributed, which isn't installed."
        raise ClusterError(msg, 'Install it with: pip install "colscan[cluster]"') from error
    _silence()
    _check_address(address)
    # A photo is "large"; that it travels with its job is meant.
    dask.config.set({"distributed.admin.large-graph-warning-threshold": "1 TB"})
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", VersionMismatchWarning)  # ours are checked by `check_workers`
            return Client(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, ImportError, RuntimeError) as error:
        msg = f"--cluster {address}: no scheduler answers there ({_first_line(error)})."
        raise ClusterError(msg, f"Is it running, and is this its address? {_PRINTED}") from error


def _check_address(address: str) -> None:
    """Refuse what the client would stumble over: no address, or TLS without certificates."""
    from distributed import Security
    from distributed.comm.addressing import parse_address, parse_host_port
    from distributed.comm.registry import get_backend

    try:
        scheme, host_and_port = parse_address(address)
        get_backend(scheme)
        parse_host_port(host_and_port)
    except (ValueError, TypeError) as error:
        msg = f"--cluster {address!r} is no scheduler's address ({error})."
        raise ClusterError(msg, _PRINTED) from error
    try:
        encrypted = Security().get_connection_args("client")["ssl_context"] is not None
    except OSError as error:
        msg = f"--cluster {address}: Dask's certificates can't be read ({error})."
        raise ClusterError(msg, _CERTIFICATES) from error
    if scheme in ("tls", "wss") and not encrypted:
        raise ClusterError(f"--cluster {address}: Dask's settings name no certificates.", _CERTIFICATES)  # noqa: EM102


def _silence() -> None:
    """What is wrong is told by us, once."""
    for name in list(logging.root.manager.loggerDict):
        if name.split(".")[0] == "distributed":
            logging.getLogger(name).handlers = [logging.NullHandler()]
    logging.getLogger("distributed").propagate = False


def _first_line(error: BaseException) -> str:
    """Without the connection's own description, which is long and says nothing to a grower."""
    return (str(error).splitlines() or [type(error).__name__])[0].rpartition(">: ")[2]


class Cluster:
    """A cluster that jobs are given to."""

    def __init__(self, client: Client, address: str) -> None:
        self._client = client
        self._address = address
        self._common: list[object] = []
        self._sent: ClusterFuture | None = None
        self._no_worker_since: float | None = None
        self.width = _AHEAD

    def check_workers(self) -> None:
        """Refuse (`ClusterError`) a cluster without workers, or with one that would measure otherwise."""
        try:
            self._client.wait_for_workers(1, timeout=_CONNECT_S)
            said = self._client.run(tell_means, on_error="return")
        except TimeoutError as error:
            msg = f"--cluster {self._address}: the scheduler has no worker."
            raise ClusterError(msg, f"Start some, on any machine: dask worker {self._address}") from error
        except (OSError, CancelledError) as error:
            raise self.lost() from error
        here = own_means()
        odd = {worker: told for worker, means in said.items() if (told := _tell_odd(means, here))}
        if odd:
            listed = "".join(f"\n  {worker}: {told}" for worker, told in odd.items())
            msg = f"--cluster {self._address}: not every worker measures as this machine does.{listed}"
            raise ClusterError(msg, _ALIKE)
        self.width = _AHEAD * max(1, self._threads())

    def submit(self, work: Callable[[J], T], job: J) -> Pending[T]:
        """Begin a job."""
        try:
            carried = _carrying(job)
        except OSError:
            return _Here(work, job)  # it says itself what is wrong with its file
        packed = self._pack((work, carried))
        future = self._client.submit(do_job, packed, self._sent, own_means(), pure=False)
        return Out(self, future, _names(job))

    def _pack(self, what: object) -> bytes:
        data = io.BytesIO()
        known = len(self._common)
        _Packer(data, self._common).dump(what)
        if self._sent is None or len(self._common) > known:
            # The result of a job, not sent data: Dask makes it anew should the workers that have it die.
            self._sent = self._client.submit(pickle.loads, pickle.dumps(self._common), pure=False)
        return data.getvalue()

    def check_alive(self) -> None:
        """Raise `ClusterLostError` when the scheduler is gone, or its last worker for a minute."""
        if self._client.status != "running":
            raise self.lost()
        try:
            threads = self._threads()
        except (OSError, CancelledError, RuntimeError) as error:
            raise self.lost() from error
        if threads:
            self._no_worker_since = None
            self.width = _AHEAD * threads
            return
        self._no_worker_since = self._no_worker_since or time.monotonic()
        if time.monotonic() - self._no_worker_since > _NO_WORKER_S:
            msg = f"--cluster {self._address}: its workers are gone."
            raise ClusterLostError(msg, _AGAIN)

    def lost(self) -> ClusterLostError:
        """What to say when the scheduler doesn't answer any more."""
        return ClusterLostError(f"--cluster {self._address}: the connection to it was lost.", _AGAIN)

    def _threads(self) -> int:
        return sum(self._client.nthreads().values())


_ALIKE = (
    "Install the same versions there. Last digits are the same on processors of one kind, with"
    " OPENBLAS_NUM_THREADS=1 in the environment of every worker."
)


class _Here(Generic[T]):
    """A job that is done in this process, once its result is wanted."""

    def __init__(self, work: Callable[[J], T], job: J) -> None:
        self._do = partial(work, job)

    def result(self) -> T:
        return self._do()


class Out(Generic[T]):
    """A job that is done somewhere in the cluster."""

    def __init__(self, cluster: Cluster, future: ClusterFuture, names: str) -> None:
        self._cluster = cluster
        self._future = future
        self._names = names

    def result(self) -> T:
        """Wait for what comes back; `ClusterLostError` when nothing will."""
        from distributed import KilledWorker

        while True:
            try:
                answer = self._future.result(timeout=_LOOK_S)
            except TimeoutError:
                self._cluster.check_alive()
            except (OSError, CancelledError) as error:
                raise self._cluster.lost() from error
            except KilledWorker as error:
                msg = f"{self._names}: every worker that measured it was ended, perhaps for want of memory."
                hint = "Give the workers more memory, or scan it without --cluster. " + _AGAIN
                raise ClusterLostError(msg, hint) from error
            else:
                return self._taken(answer)

    def _taken(self, answer: bytes | str) -> T:
        if isinstance(answer, str):
            msg = f"A worker joined that doesn't measure as this machine does: {answer}."
            raise ClusterLostError(msg, f"{_ALIKE} {_AGAIN}")
        return cast(T, pickle.loads(answer))


class _Packer(pickle.Pickler):
    """Pickles jobs without what they have in common, of which it keeps a list."""

    def __init__(self, file: io.BytesIO, common: list[object]) -> None:
        super().__init__(file, protocol=pickle.HIGHEST_PROTOCOL)
        self._common = common

    def persistent_id(self, obj: object) -> int | None:
        if not isinstance(obj, _COMMON):
            return None
        for place, known in enumerate(self._common):
            if known is obj:
                return place
        self._common.append(obj)
        return len(self._common) - 1


class _Unpacker(pickle.Unpickler):
    def __init__(self, file: io.BytesIO, common: Sequence[object]) -> None:
        super().__init__(file)
        self._common = common

    def persistent_load(self, pid: int) -> object:
        return self._common[pid]


def _carrying(job: J) -> J:
    """A job with its photos' bytes."""
    if isinstance(job, tuple):
        return cast(J, tuple(map(_carrying, job)))
    if isinstance(job, FileJob):
        return replace(job, raw=job.file.read_bytes())
    return job


def _names(job: object) -> str:
    jobs = job if isinstance(job, tuple) else (job,)
    return ", ".join(one.file.name for one in jobs if isinstance(one, FileJob))


def _tell_odd(said: Means | BaseException, here: Means) -> str:
    if isinstance(said, ModuleNotFoundError):
        return f"{said.name} isn't installed there"
    if isinstance(said, BaseException):
        return f"can't say by what it measures ({type(said).__name__}: {_first_line(said)})"
    return tell_differences(said, here)


# ---- what workers run


async def tell_means() -> Means:
    """By what a worker measures; found out beside its event loop."""
    return await asyncio.to_thread(own_means)


def do_job(packed: bytes, common: Sequence[object], expected: Means) -> bytes | str:
    """A job's pickled result; or, as text, by what this worker would measure otherwise."""
    use_one_core()
    odd = tell_differences(own_means(), expected)
    if odd:
        return odd
    work, job = cast(tuple[Callable[[Any], object], Any], _Unpacker(io.BytesIO(packed), common).load())
    return pickle.dumps(work(job), protocol=pickle.HIGHEST_PROTOCOL)
