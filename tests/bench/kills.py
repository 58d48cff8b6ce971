"""Kill a scan at random moments while others append, run it again, compare with an undisturbed one.

    python tests/bench/kills.py --kills 100 --seed 1 [--measure]

Every other kill comes after a random time, the others at a random call that writes: those take a thousandth
of the time, and are where a ledger could be torn. A second process says verdicts, events and harvests
meanwhile, and is killed too. What the photos say of their bags is measured once and given to all scans, as it
takes nearly all of their time; with --measure each measures anew. Prints what was not as it should be, and
where the kills fell.
"""

from __future__ import annotations

import argparse
import csv
import pickle
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))
from demo_trial import begin, corner

from colscan.app.batch import chain, scan
from colscan.app.batch.baselines import make_baselines
from colscan.app.batch.bursts import measure_together
from colscan.app.batch.jobs import PhotoJob
from colscan.app.cli.main import main
from colscan.ledger import read_ledger

SCANNED = ("suspects.csv", "scores.csv", "photos.csv")
SAID = ("verdicts.csv", "events.csv", "harvests.csv")
FOREVER = 10**9
SCAN = """
import atexit, os, pickle, sys

left = first = int(sys.argv.pop(1))
measured = sys.argv.pop(1)
atexit.register(lambda: print(first - left))


def wrap(name):
    real = getattr(os, name)

    def call(*arguments, **options):
        global left
        if left == 0:
            os._exit(9)  # as kill -9: nothing is flushed, undone or unlocked
        left -= 1
        return real(*arguments, **options)

    setattr(os, name, call)


for name in ("open", "write", "fsync", "ftruncate", "truncate", "close", "mkdir", "replace", "unlink"):
    wrap(name)
from colscan.app.cli.main import run

if measured:
    from colscan.app.batch import chain, scan

    with open(measured, "rb") as file:
        results, baselines = pickle.load(file)
    scan.measure_together = lambda jobs: results[tuple(job.ref.sha256 for job in jobs)]
    scan.make_baselines = lambda *arguments, **options: baselines
run()
"""
SAY = """
import sys, time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from colscan.ledger import append_row
from colscan.ledger.columns import EventRow, HarvestRow, VerdictRow

for i in range(1, 20_000):
    at = datetime(2026, 3, 20, tzinfo=UTC) + timedelta(minutes=i)
    append_row(Path(sys.argv[1]), VerdictRow(at=at, bag="B05", call="unsure", note=str(i)))
    append_row(Path(sys.argv[1]), EventRow(at=at, scope="room", what="other", detail=str(i)))
    append_row(Path(sys.argv[1]), HarvestRow(at=at, bag="B05", flush=1, fresh_g=1.0, note=str(i)))
    print(i, flush=True)
    time.sleep(0.01)
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A trial that was just begun, photos, and what a scan of them that nobody disturbs comes to.

    Parameters
    ----------
    begun : Path
        The trial, to be copied.
    photos : tuple of str
        Their files.
    rows : dict of str to list of dict
        By file, its rows but for the time they were written.
    duration_s : float
        How long the scan took.
    calls : int
        How often it opened, wrote, closed, replaced or took away a file, or made a folder.
    measured : str
        The file of what the photos say of their bags; empty where each scan measures anew.
    """

    begun: Path
    photos: tuple[str, ...]
    rows: dict[str, list[dict[str, str]]]
    duration_s: float
    calls: int
    measured: str


def set_up(folder: Path, *, days: Sequence[int], measure: bool) -> Bench:
    """Return the bench for photos of some days of the demo, each cut to two bags."""
    begun, photos = begin(folder / "hornbeam"), tuple(str(corner(day, folder)) for day in days)
    whole = Path(shutil.copytree(begun, folder / "undisturbed"))
    measured = "" if measure else _measure(Path(shutil.copytree(begun, folder / "measured")), photos)
    started = time.monotonic()
    undisturbed = start_scan(whole, photos, measured)
    told, _ = undisturbed.communicate()
    assert undisturbed.returncode == 0
    duration_s = time.monotonic() - started
    rows = {name: timeless(whole / name) for name in SCANNED}
    calls = int(told.split()[-1])
    return Bench(begun=begun, photos=photos, rows=rows, duration_s=duration_s, calls=calls, measured=measured)


def _measure(folder: Path, photos: Sequence[str]) -> str:
    """Scan photos, and keep what they say of their bags in a file."""
    results, made = {}, {}

    def measure(jobs: tuple[PhotoJob, ...]) -> object:
        return results.setdefault(tuple(job.ref.sha256 for job in jobs), measure_together(jobs))

    def make(*arguments: object, **options: object) -> object:
        made.update(make_baselines(*arguments, **options))
        return made

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(scan, "measure_together", measure)
        patch.setattr(scan, "make_baselines", make)
        assert main(["scan", str(folder), *photos, "--jobs", "1"]) == 0
    path = folder.with_suffix(".pickle")
    path.write_bytes(pickle.dumps((results, made)))
    return str(path)


def start_scan(
    folder: Path, photos: Sequence[str], measured: str, *, calls: int = FOREVER
) -> subprocess.Popen[str]:
    """Start a scan that dies at one of its writing calls."""
    words = [sys.executable, "-c", SCAN, str(calls), measured, "scan", str(folder), *photos, "--jobs", "1"]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)


def timeless(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file without the time they were written; none for a missing file."""
    if not path.exists():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        return [row | {"scanned_at": ""} for row in csv.DictReader(file)]


def kill_once(bench: Bench, folder: Path, lot: random.Random, *, by_call: bool) -> tuple[int, list[str]]:
    """Return how many photos a killed scan had recorded, and what is wrong after it was run again."""
    shutil.copytree(bench.begun, folder)
    say = subprocess.Popen([sys.executable, "-c", SAY, str(folder)], stdout=subprocess.PIPE, text=True)
    if by_call:
        killed = start_scan(folder, bench.photos, bench.measured, calls=lot.randrange(bench.calls))
    else:
        killed = start_scan(folder, bench.photos, bench.measured)
        time.sleep(lot.uniform(0, bench.duration_s))
        killed.kill()
    killed.communicate()
    time.sleep(lot.uniform(0, 0.05))
    say.kill()
    said, _ = say.communicate()
    recorded = len(read_ledger(folder).photos)
    scan_again(bench, folder)
    assert main(["event", str(folder), "power-cut", "--room"]) == 0  # takes away what was torn of events
    return recorded, [*differences(bench, folder), *_lost(folder, [int(word) for word in said.split()])]


def scan_again(bench: Bench, folder: Path, *photos: str) -> None:
    """Scan photos, all where none are named, in this process; it must end well."""
    with pytest.MonkeyPatch.context() as patch:
        if bench.measured:
            results, baselines = pickle.loads(Path(bench.measured).read_bytes())

            def known(jobs: tuple[PhotoJob, ...]) -> object:
                return results[tuple(job.ref.sha256 for job in jobs)]

            for module in (scan, chain):
                patch.setattr(module, "measure_together", known)
            patch.setattr(scan, "make_baselines", lambda *_, **__: baselines)
        assert main(["scan", str(folder), *(photos or bench.photos), "--jobs", "1"]) == 0


def differences(bench: Bench, folder: Path) -> list[str]:
    """Return what is otherwise than after a scan that nobody disturbed."""
    wrong = [f"{name} differs" for name in SCANNED if timeless(folder / name) != bench.rows[name]]
    if main(["check", str(folder)]) != 0:
        wrong.append("check finds problems")
    wrong += [f"{path.name} is left" for path in (folder / "photos").glob("*.part")]
    kept = {path.name for path in (folder / "photos").iterdir()}
    return wrong if len(kept) == len(bench.photos) else [*wrong, f"{len(kept)} originals"]


def _lost(folder: Path, acknowledged: Sequence[int]) -> list[str]:
    """What was told as said and isn't there once, or is there and was never begun."""
    last = max(acknowledged, default=0)
    wrong = []
    for name in SAID:
        notes = [row.get("note") or row.get("detail") for row in timeless(folder / name)]
        counts = Counter(int(note) for note in notes if note)
        if [counts.pop(i, 0) for i in range(1, last + 1)] != [1] * last:
            wrong.append(f"{name}: a row that was said is not there once")
        if counts and counts != {last + 1: 1}:
            wrong.append(f"{name}: rows that nobody said")
    return wrong


def _run(kills: int, seed: int, *, measure: bool) -> int:
    lot, fell, wrong = random.Random(seed), Counter[int](), 0
    with tempfile.TemporaryDirectory() as scratch:
        bench = set_up(Path(scratch), days=(0, 3, 6), measure=measure)
        print(f"undisturbed: {bench.duration_s:.1f} s, {bench.calls} calls, {len(bench.photos)} photos")
        for number in range(kills):
            folder = Path(scratch) / f"kill{number}"
            recorded, found = kill_once(bench, folder, lot, by_call=number % 2 == 1)
            fell[recorded] += 1
            wrong += bool(found)
            for what in found:
                print(f"kill {number}: {what}")
            shutil.rmtree(folder)
    where = ", ".join(f"{count} with {photos} photos recorded" for photos, count in sorted(fell.items()))
    print(f"{kills} kills ({where}): {wrong} ledgers differ from the undisturbed one")
    return 1 if wrong else 0


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--measure", action="store_true", help="measure in each scan anew")
    asked = parser.parse_args()
    sys.exit(_run(asked.kills, asked.seed, measure=asked.measure))
