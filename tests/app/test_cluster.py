"""`--cluster`: photos measured by the workers of a Dask scheduler, rows written by the one process."""

from __future__ import annotations

import csv
import json
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import dask
import pytest
from demo_trial import begin, contents, corner
from distributed import Client, KilledWorker

from colscan.app.batch import cluster, means
from colscan.app.batch import scan as batch_scan
from colscan.app.batch.shelves import Looking
from colscan.app.cli.main import main
from colscan.errors import ClusterLostError

Unchanged = Callable[[Path], Callable[[], bool]]
Capture = pytest.CaptureFixture[str]
DAYS = (0, 3, 6)
COLSCAN = [sys.executable, "-c", "from colscan.app.cli.main import run; run()"]


@dataclass
class Running:
    """A scheduler and its workers, each a process of its own, that listen to this machine alone."""

    folder: Path
    processes: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    def start(self, name: str, module: str, *options: str) -> None:
        """Start a process; they begin side by side."""
        command = [sys.executable, "-m", f"distributed.cli.{module}", "--host", "127.0.0.1", "--no-dashboard"]
        command += ["--dashboard-address", "127.0.0.1:0", "--scheduler-file", str(self.folder / "address")]
        with (self.folder / f"{name}.log").open("wb") as log:
            self.processes[name] = subprocess.Popen(
                [*command, *options], cwd=self.folder, stdout=log, stderr=subprocess.STDOUT
            )

    def start_scheduler(self) -> None:
        """Start the scheduler."""
        self.start("scheduler", "dask_scheduler", "--port", "0")

    def start_worker(self, name: str, *, threads: int = 1) -> None:
        """Start a worker without the process that would start it again."""
        local = ("--local-directory", str(self.folder / name), "--memory-limit", "0")
        self.start(name, "dask_worker", "--no-nanny", "--name", name, "--nthreads", str(threads), *local)

    @property
    def address(self) -> str:
        """The scheduler's, once it has written it."""
        file = self.folder / "address"
        wait_until(lambda: file.exists() and file.read_text("utf-8").strip().endswith("}"))
        return str(json.loads(file.read_text("utf-8"))["address"])

    def kill(self, name: str) -> None:
        """End a process as the kernel does when memory is short."""
        self.processes[name].kill()
        self.processes.pop(name).wait()

    def kill_busy_worker(self) -> None:
        """End a worker that has a job."""
        with Client(self.address, set_as_default=False) as client:
            names = {at: one["name"] for at, one in client.scheduler_info(n_workers=-1)["workers"].items()}
            wait_until(lambda: any(client.processing().values()))
            self.kill(next(names[at] for at, jobs in client.processing().items() if jobs))

    def stop(self) -> None:
        """End all."""
        while self.processes:
            self.kill(next(iter(self.processes)))


def wait_until(is_so: Callable[[], bool], *, at_most_s: float = 60) -> None:
    """Wait for something that another process does."""
    deadline = time.monotonic() + at_most_s
    while not is_so():
        assert time.monotonic() < deadline, "it took too long"
        time.sleep(0.05)


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A scheduler with two workers, one of them with two threads; their folder isn't that of the photos."""
    cluster = Running(tmp_path_factory.mktemp("cluster"))
    cluster.start_scheduler()
    cluster.start_worker("one")
    cluster.start_worker("two", threads=2)
    yield cluster
    cluster.stop()


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the corners of three days' photos."""
    folder = tmp_path_factory.mktemp("photos")
    for day in DAYS:
        corner(day, folder)
    return folder


@pytest.fixture(scope="module")
def alone(photos: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial into which one process scanned them."""
    folder = begin(tmp_path_factory.mktemp("alone") / "trial")
    assert main(["scan", str(folder), str(photos), "--jobs", "1"]) == 0
    return folder


def timeless(folder: Path) -> dict[str, object]:
    """All of a trial but its cache; of its rows all cells but the time they were written."""
    found: dict[str, object] = dict(contents(folder))
    for name in ("photos.csv", "scores.csv", "suspects.csv"):
        with (folder / name).open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        found[name] = [{key: cell for key, cell in row.items() if key != "scanned_at"} for row in rows]
    return found


def evidence(folder: Path) -> dict[str, bytes]:
    """What is kept of what photos said, to the last digit."""
    return {path.name: path.read_bytes() for path in (folder / "cache" / "evidence").iterdir()}


def after_a_photo(monkeypatch: pytest.MonkeyPatch, happens: Callable[[], None]) -> None:
    """Have something happen once, when the first photo is recorded."""
    append, left = batch_scan.append_photo, [happens]

    def appended(*arguments: object) -> bool:
        done = append(*arguments)
        while left:
            left.pop()()
        return done

    monkeypatch.setattr(batch_scan, "append_photo", appended)


# ---- the same rows


def test_a_cluster_gives_the_rows_of_one_process(
    running: Running, alone: Path, trial: Path, photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows and evidence to the last bit; the workers can't see the photos, whose paths are relative."""
    monkeypatch.chdir(photos)
    names = sorted(path.name for path in photos.iterdir())
    assert main(["scan", str(trial), *names, "--cluster", running.address]) == 0
    assert timeless(trial) == timeless(alone)
    assert evidence(trial) == evidence(alone)


def test_a_killed_worker_costs_nothing(
    running: Running, alone: Path, trial: Path, photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A worker is ended while it has a photo: another one does it, and no row is lost or doubled."""
    submit, photos_out = cluster.Cluster.submit, []

    def submitted(self: object, work: object, job: object) -> object:
        pending = submit(self, work, job)
        if work is batch_scan.measure_together:
            photos_out.append(job)
            if len(photos_out) == len(DAYS):
                running.kill_busy_worker()
        return pending

    monkeypatch.setattr(cluster.Cluster, "submit", submitted)
    assert main(["scan", str(trial), str(photos), "--cluster", running.address]) == 0
    assert len(running.processes) == 2  # the scheduler and the other worker
    assert timeless(trial) == timeless(alone)
    assert evidence(trial) == evidence(alone)
    running.start_worker("three")


def test_a_farm_and_a_watched_folder(running: Running, trial: Path, photos: Path, capsys: Capture) -> None:
    """`watch` takes a cluster too, and a farm's photos are looked at there for their cards."""
    folder = trial.parent / "synced"
    folder.mkdir()
    (folder / "first.png").write_bytes((photos / "corner-d00.png").read_bytes())
    arguments = ["watch", str(trial.parent), str(folder), "--once", "--every", "0.1"]
    assert main([*arguments, "--cluster", running.address]) == 0
    assert "1 photo recorded, 2 scores" in capsys.readouterr().err


def test_a_photo_that_cannot_be_used(running: Running, trial: Path, photos: Path, capsys: Capture) -> None:
    """A half-copied photo is told as without a cluster."""
    whole = (photos / "corner-d00.png").read_bytes()
    half = trial.parent / "half.png"
    half.write_bytes(whole[: len(whole) // 2])
    said = {}
    for name, how in (("there", ["--cluster", running.address]), ("here", ["--jobs", "1"])):
        folder = begin(trial.parent / name)
        capsys.readouterr()
        assert main(["scan", str(folder), str(half), *how]) == 3
        said[name] = capsys.readouterr().err
    assert "half.png: is not a readable" in said["here"]
    assert said["there"] == said["here"]


def test_a_file_that_is_gone_when_its_turn_comes(tmp_path: Path) -> None:
    """It is looked at here, where the error that one process would have given says what is wrong."""
    job = batch_scan.PhotoJob(
        ref=batch_scan.PhotoRef(
            path=tmp_path / "gone.jpg",
            name="gone.jpg",
            sha256="0" * 64,
            taken_at=batch_scan.now(),
            taken_at_from="option",
            camera=None,
        ),
        how=Looking(max_megapixels=1),
        baselines={},
    )
    (failed,) = cluster.Cluster.__new__(cluster.Cluster).submit(batch_scan.measure_together, (job,)).result()
    assert "gone.jpg: can't be read" in str(failed.error)


# ---- what is refused before anything is written


def refused(trial: Path, photos: Path, address: str, unchanged: Unchanged, capsys: Capture) -> str:
    """What is said when a scan is refused: 2, nothing written."""
    same = unchanged(trial)
    assert main(["scan", str(trial), str(photos), "--cluster", address]) == 2
    assert same()
    return capsys.readouterr().err


@pytest.mark.parametrize("address", ["", "127.0.0.1", "127.0.0.1:x", "smoke://127.0.0.1:8786"])
def test_no_address(address: str, trial: Path, photos: Path, unchanged: Unchanged, capsys: Capture) -> None:
    """What is no address is said at once, with where to find it."""
    said = refused(trial, photos, address, unchanged, capsys)
    assert f"--cluster {address!r} is no scheduler's address" in said
    assert "dask scheduler prints it" in said


def test_encrypted_without_certificates(
    trial: Path, photos: Path, unchanged: Unchanged, capsys: Capture, tmp_path: Path
) -> None:
    """Certificates that Dask isn't told of, or that aren't there: where to name them."""
    address = "tls://127.0.0.1:8786"
    said = refused(trial, photos, address, unchanged, capsys)
    assert f"--cluster {address}: Dask's settings name no certificates" in said
    gone = str(tmp_path / "gone.pem")
    tls = {"distributed.comm.tls.ca-file": gone, "distributed.comm.tls.client.cert": gone}
    with dask.config.set(tls):
        said = refused(trial, photos, address, unchanged, capsys)
    assert f"--cluster {address}: Dask's certificates can't be read" in said


def test_nobody_answers(
    trial: Path, photos: Path, unchanged: Unchanged, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where nobody listens: the address, and what to look at."""
    monkeypatch.setattr(cluster, "_CONNECT_S", 0.5)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        said = refused(trial, photos, address, unchanged, capsys)
    assert f"--cluster {address}: no scheduler answers there" in said


def test_the_library_is_not_installed(
    trial: Path, photos: Path, unchanged: Unchanged, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the extra: how to install it."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert 'pip install "colscan[cluster]"' in refused(trial, photos, "127.0.0.1:1", unchanged, capsys)


def test_workers_that_measure_otherwise(
    running: Running,
    trial: Path,
    photos: Path,
    unchanged: Unchanged,
    capsys: Capture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Another version or other last digits: each worker, what differs, and what to do."""
    real = means.own_means()
    others = tuple((name, "0.1" if name == "numpy" else found) for name, found in real.versions)
    numpy = dict(real.versions)["numpy"]
    for odd, told in (
        (replace(real, versions=others), f"numpy {numpy} (here 0.1)"),
        (replace(real, digits=""), "the last digits of its numbers differ"),
    ):
        monkeypatch.setattr(cluster, "own_means", lambda odd=odd: odd)
        said = refused(trial, photos, running.address, unchanged, capsys)
        assert said.count(told) == 2
        assert "tcp://127.0.0.1:" in said
        assert "OPENBLAS_NUM_THREADS=1" in said


def test_jobs_beside_a_cluster(trial: Path, photos: Path, capsys: Capture) -> None:
    """Who asks for processes here and for a cluster, in whatever order, has to choose."""
    for options in (["--jobs", "2", "--cluster", "127.0.0.1:1"], ["--cluster", "127.0.0.1:1", "-j", "2"]):
        for command in ("scan", "watch"):
            assert main([command, str(trial), str(photos), *options]) == 2
            assert "Give one of the two" in capsys.readouterr().err


def test_help_is_quick() -> None:
    """Neither help nor a scan without a cluster loads the library."""
    loads = "import sys, colscan.app.cli.scan, colscan.app.batch.scan"
    code = f"{loads}; sys.exit('distributed' in sys.modules or 'dask' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# ---- what goes wrong half-way


def test_a_worker_that_joins_and_measures_otherwise(
    running: Running, trial: Path, photos: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is found out at its first job, whose result isn't taken: 5."""
    real = means.own_means()
    asked = iter([real])
    monkeypatch.setattr(cluster, "own_means", lambda: next(asked, replace(real, digits="")))
    assert main(["scan", str(trial), str(photos), "--cluster", running.address]) == 5
    assert "A worker joined that doesn't measure as this machine does" in capsys.readouterr().err
    assert not (trial / "photos.csv").exists()


def test_a_photo_that_ends_its_workers() -> None:
    """Dask gives a job up after some workers: which photo, and what to do."""

    class Deadly:
        def result(self, timeout: float) -> bytes:
            task = "job"
            raise KilledWorker(task, None, 3)

    out: cluster.Out[object] = cluster.Out(cluster.Cluster.__new__(cluster.Cluster), Deadly(), "huge.jpg")
    with pytest.raises(ClusterLostError, match=r"huge\.jpg: every worker .* ended"):
        out.result()


def test_a_cluster_that_is_lost(
    tmp_path: Path,
    alone: Path,
    trial: Path,
    photos: Path,
    capsys: Capture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The last worker ends, later the scheduler: 5, what was recorded stays, and a rerun goes on."""
    monkeypatch.setattr(cluster, "_LOOK_S", 0.2)
    monkeypatch.setattr(cluster, "_NO_WORKER_S", 0.5)
    own = Running(tmp_path)
    try:
        own.start_scheduler()
        for name, message in (
            ("worker", "its workers are gone"),
            ("scheduler", "the connection to it was lost"),
        ):
            own.start_worker("worker")
            with monkeypatch.context() as patched:
                after_a_photo(patched, lambda name=name: own.kill(name))
                assert main(["scan", str(trial), str(photos), "--cluster", own.address]) == 5
            said = capsys.readouterr().err
            assert f"--cluster {own.address}: {message}" in said
            assert "scan again" in said
    finally:
        own.stop()
    assert len(evidence(trial)) < len(DAYS)
    assert main(["scan", str(trial), str(photos), "--jobs", "1"]) == 0
    assert timeless(trial) == timeless(alone)


def test_ctrl_c_takes_the_work_back(running: Running, trial: Path, photos: Path) -> None:
    """130, whole photos only, and the cluster has nothing left to do."""
    command = [*COLSCAN, "scan", str(trial), str(photos), "--cluster", running.address]
    with subprocess.Popen(command, stderr=subprocess.PIPE) as scan:
        assert scan.stderr is not None
        assert scan.stderr.readline().startswith(b"[1/3]")
        scan.send_signal(signal.SIGINT)
        said = scan.stderr.read()
        assert scan.wait(timeout=30) == 130
    assert b"stopped; whole photos are kept" in said
    assert b"Traceback" not in said
    assert main(["check", str(trial)]) == 0
    with Client(running.address, set_as_default=False) as client:
        wait_until(lambda: not client.run_on_scheduler(lambda dask_scheduler: list(dask_scheduler.tasks)))
