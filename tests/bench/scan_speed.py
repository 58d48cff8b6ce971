"""How long the scan of one photo takes, from its file to appended rows, against decoding its bytes alone.

    python tests/bench/scan_speed.py [--series bigrack] [--rounds 5] [--jobs-check 200]

A trial is begun with the series' first photo; then its last one is scanned into copies of that trial, in one
warm process and as whole commands, in turn with `cv2.imdecode` of the same bytes on one thread, so that all
meet the same machine. Medians are printed: of wall-clock time, and of processor time, which says more on a
machine that has other work. Exit code 1 when the scan takes more than 5 times as long as decoding (by
processor time), or needs over 450 MB.

With `--jobs-check N` instead: N photos of oakrack, mixed and bigrack, re-encoded so that each has bytes and a
time of its own, are scanned with one process and with two; exit code 1 when two are less than 1.8 times as
quick as one on one thread. As it comes, one process lets OpenCV use all cores for a part of its work; that is
printed too.

The rendered photos are looked for in COLSCAN_BENCH, by default ../shared/bench.
"""

from __future__ import annotations

import argparse
import importlib
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import wraps
from pathlib import Path

# As the command does, before numpy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np
from PIL import ExifTags, Image

from colscan.app.batch.scan import Recorded, ScanOptions, scan_photos
from colscan.trial import load_trial

BENCH = Path(os.environ.get("COLSCAN_BENCH", Path(__file__).parents[2].parent / "shared" / "bench"))
MOST_TIMES, MOST_MB, LEAST_SPEED_UP = 5.0, 450.0, 1.8
# The stages of a scan: what to call them, and the functions (module, name, where they are called from).
STAGES = {
    "read (hash, date)": ("colscan.app.batch.place", "read_ref", ("colscan.app.batch.place",)),
    "copies": ("colscan.app.batch.copies", "find_copies", ("colscan.app.batch.scan",)),
    "decode": ("colscan.photo.load", "load_rgb", ("colscan.app.batch.jobs",)),
    "tags": ("colscan.locate.cards", "find_cards", ("colscan.locate.sight",)),
    "outline, what hides": ("colscan.locate.bags", "carded_views", ("colscan.locate.sight",)),
    "register": ("colscan.score.measure", "prepare_photo", ("colscan.score.measure",)),
    "score: light, patches": ("colscan.score.measure", "fit_bags", ("colscan.score.measure",)),
    "score: unmixing": ("colscan.score.coverage", "look_at", ("colscan.score.measure",)),
    "score: network": ("colscan.score.judged", "judge_face", ("colscan.score.measure",)),
    "remember": ("colscan.score.remember", "remember", ("colscan.app.batch.scan", "colscan.app.batch.chain")),
    "write (photo)": ("colscan.app.batch.originals", "keep_original", ("colscan.app.batch.scan",)),
    "write (evidence)": ("colscan.app.batch.evidence_cache", "keep_evidence", ("colscan.app.batch.chain",)),
    "write (rows)": ("colscan.ledger", "append_photo", ("colscan.app.batch.scan",)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Took:
    """Seconds that something took."""

    wall: float
    processor: float


def timed(work: Callable[[], object]) -> Took:
    """How long some work of this process takes."""
    wall, processor = time.perf_counter(), time.process_time()
    work()
    return Took(wall=time.perf_counter() - wall, processor=time.process_time() - processor)


def command_timed(arguments: list[str], **environment: str) -> Took:
    """How long a whole command takes, from nothing to its end."""
    wall, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-c", "from colscan.app.cli.main import run; run()", *arguments],
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=os.environ | environment,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Took(wall=time.perf_counter() - wall, processor=processor)


@contextmanager
def stages_timed(took: dict[str, float]) -> Iterator[None]:
    """Add the processor time of each stage to `took` while the context lasts."""
    undo = []
    for stage, (module, name, users) in STAGES.items():
        work = getattr(importlib.import_module(module), name)

        def watched(*args: object, _work=work, _stage=stage, **named: object) -> object:
            start = time.process_time()
            try:
                return _work(*args, **named)
            finally:
                took[_stage] += time.process_time() - start

        for user in users:
            undo.append((importlib.import_module(user), name, work))
            setattr(importlib.import_module(user), name, wraps(work)(watched))
    try:
        yield
    finally:
        for module, name, work in undo:
            setattr(module, name, work)


def begin(folder: Path, series: str, photos: list[Path]) -> Path:
    """A trial of a series with some photos scanned."""
    bags, trial = folder / f"{series}.csv", folder / series
    subprocess.run([sys.executable, BENCH / "bags.py", BENCH / "dev", series, bags], check=True)
    command_timed(["new", str(trial), "--bags", str(bags)])
    if photos:
        command_timed(["scan", str(trial), *map(str, photos)])
    return trial


def fresh(trial: Path) -> Path:
    """A copy of a trial, in place of the last one."""
    copy = trial.with_name(f"{trial.name}-copy")
    shutil.rmtree(copy, ignore_errors=True)
    return shutil.copytree(trial, copy)


def scan(trial: Path, photo: Path) -> None:
    """Scan one photo in this process."""
    for outcome in scan_photos(trial, load_trial(trial), [photo], ScanOptions()):
        assert isinstance(outcome, Recorded), outcome


def one_photo(folder: Path, series: str, rounds: int) -> bool:
    """Print how one photo fares; whether it is quick and small enough."""
    first, *_, last = sorted((BENCH / "dev").glob(f"{series}-*/*.jpg"))
    trial = begin(folder, series, [first])
    raw = np.frombuffer(last.read_bytes(), np.uint8)
    scan(fresh(trial), last)
    threads = cv2.getNumThreads()
    decodes, scans, commands, stages = [], [], [], []
    for _ in range(rounds):
        cv2.setNumThreads(1)
        decodes.append(min((timed(lambda: cv2.imdecode(raw, cv2.IMREAD_COLOR)) for _ in range(3)), key=_wall))
        took: dict[str, float] = defaultdict(float)
        copy = fresh(trial)
        with stages_timed(took):
            scans.append(timed(lambda copy=copy: scan(copy, last)))
        cv2.setNumThreads(threads)
        stages.append(took)
        commands.append(command_timed(["scan", str(fresh(trial)), str(last), "--jobs", "1"]))
    peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    decode, warm, command = (_medians(took) for took in (decodes, scans, commands))
    print(f"{last.name}: {rounds} rounds, medians          wall s   processor s")
    for name, one in (("decode, one thread", decode), ("scan, warm", warm), ("scan, command", command)):
        print(f"  {name:24} {one.wall:20.3f} {one.processor:13.3f}")
    ratios = [scan.processor / decode.processor for scan, decode in zip(scans, decodes, strict=True)]
    ratio = statistics.median(ratios)
    print(f"  ratio, warm              {warm.wall / decode.wall:20.1f} {ratio:13.1f}")
    print(f"  peak memory, command: {peak_mb:.0f} MB")
    print("  stage                      ms    share")
    known = {stage: statistics.median(took[stage] for took in stages) for stage in STAGES}
    known["all else"] = warm.processor - sum(known.values())
    for stage, seconds in known.items():
        print(f"  {stage:22} {seconds * 1000:7.1f} {seconds / warm.processor:7.1%}")
    return ratio <= MOST_TIMES and peak_mb <= MOST_MB


def _wall(took: Took) -> float:
    return took.wall


def _medians(took: list[Took]) -> Took:
    return Took(
        wall=statistics.median(one.wall for one in took),
        processor=statistics.median(one.processor for one in took),
    )


def reencoded(folder: Path, series: str, count: int) -> list[Path]:
    """The series' later photos again and again, at steps of quality, by more than a burst apart."""
    photos, made = sorted((BENCH / "dev").glob(f"{series}-*/*.jpg")), []
    folder.mkdir()
    for k in range(count):
        source, again = photos[k % len(photos)], k // len(photos)
        with Image.open(source) as image:
            exif = image.getexif()
            details = exif.get_ifd(ExifTags.IFD.Exif)
            said = details[ExifTags.Base.DateTimeOriginal]
            at = datetime.strptime(said, "%Y:%m:%d %H:%M:%S") + timedelta(minutes=7 * again)
            details[ExifTags.Base.DateTimeOriginal] = f"{at:%Y:%m:%d %H:%M:%S}"
            made.append(folder / f"{source.stem}-{again:03}.jpg")
            image.save(made[-1], quality=94 - again % 4, exif=exif)
    return made


def two_jobs(folder: Path, count: int) -> bool:
    """Print how much quicker two processes are; whether it is enough."""
    one_thread = {"OPENCV_FOR_THREADS_NUM": "1"}
    ways = {"one job, one thread": ("1", one_thread), "one job": ("1", {}), "two jobs": ("2", {})}
    took = dict.fromkeys(ways, 0.0)
    shares = {"oakrack": 0.45, "mixed": 0.45, "bigrack": 0.1}
    for series, share in shares.items():
        photos = reencoded(folder / f"{series}-photos", series, round(count * share))
        trial = begin(folder, series, [])
        for way, (jobs, environment) in ways.items():
            arguments = ["scan", str(fresh(trial)), *map(str, photos), "--jobs", jobs]
            took[way] += command_timed(arguments, **environment).wall
            print(f"  {series}: {len(photos)} photos, {way}: {took[way]:.1f} s so far", flush=True)
    for way in ("one job, one thread", "one job"):
        speed_up = took[way] / took["two jobs"]
        print(f"{count} photos, {way}: {took[way]:.1f} s; two jobs are {speed_up:.2f} x as quick")
    return took["one job, one thread"] / took["two jobs"] >= LEAST_SPEED_UP


def main() -> int:
    """Print what was asked for; 1 when it is too slow or too large."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--series", default="bigrack")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--jobs-check", type=int, metavar="N")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        if asked.jobs_check:
            good = two_jobs(Path(name), asked.jobs_check)
        else:
            good = one_photo(Path(name), asked.series, asked.rounds)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
