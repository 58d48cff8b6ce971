"""How long a large ledger takes: status, history and chart, each as a process of its own, an append, a scan.

    python tests/bench/ledger_scale.py [--bags 5000] [--photos 200] [--bags-a-photo 50] [--plot FILE]

Prints seconds on the clock, seconds of processor time and peak memory: without the cache first, then the
least of three with it. Commands find colscan's bytecode as an installed one does, whatever
PYTHONDONTWRITEBYTECODE says. Of a scan only what it takes beyond measuring its photo; without the rendered
photos of COLSCAN_BENCH it is left out.
With --plot an append is timed in ledgers of 1,000 to 1,000,000 rows, too, and drawn against their size.
Exit code 1 when a limit is passed: 50 ms an append, 2 s of processor time and 700 MB a command.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from large_trial import START, STEP, Size, code_of, photo_rows, write_large_trial
from PIL import ExifTags, Image

from colscan.app.batch import scan as scanning
from colscan.ledger import append_photo, read_ledger
from colscan.trial import load_trial

BENCH = Path(os.environ.get("COLSCAN_BENCH", Path(__file__).parents[2].parent / "shared" / "bench"))
MOST_S, MOST_MB, MOST_APPEND_MS = 2.0, 700.0, 50.0
APPENDS = 30
ROWS = (1_000, 10_000, 100_000, 300_000, 1_000_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What a process took."""

    clock_s: float
    processor_s: float
    peak_mb: float


def cost_of(arguments: list[str]) -> Cost:
    """Run a command as a process of its own, its output thrown away."""
    begun = time.perf_counter()
    child = os.fork()
    if child == 0:
        for stream in (1, 2):
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream)
        line = "from colscan.app.start import run; run()"
        here = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        os.execve(sys.executable, [sys.executable, "-c", line, *arguments], here)
    _, status, usage = os.wait4(child, 0)
    if status:
        msg = f"colscan {' '.join(arguments)} ended with {status}"
        raise SystemExit(msg)
    return Cost(
        clock_s=time.perf_counter() - begun,
        processor_s=usage.ru_utime + usage.ru_stime,
        peak_mb=usage.ru_maxrss / 1024,
    )


def append_times_ms(folder: Path, size: Size) -> list[tuple[float, float]]:
    """Append photos one by one: clock and processor time of each but the first, which looks for torn rows."""
    number, times = size.photos * size.groups, []
    for more in range(APPENDS + 1):
        rows = photo_rows(number + more, size)
        begun = time.perf_counter(), time.process_time()
        assert append_photo(folder, *rows)
        times.append((1e3 * (time.perf_counter() - begun[0]), 1e3 * (time.process_time() - begun[1])))
    return times[1:]


def dated(photo: Path, number: int, size: Size, out: Path) -> Path:
    """A photo saved again with a date of its own, minutes after the trial's last ones."""
    at = START + size.photos * STEP + number * timedelta(minutes=7)
    with Image.open(photo) as image:
        exif = image.getexif()
        details = exif.get_ifd(ExifTags.IFD.Exif)
        details[ExifTags.Base.DateTimeOriginal] = f"{at:%Y:%m:%d %H:%M:%S}"
        details[ExifTags.Base.OffsetTimeOriginal] = "+00:00"
        image.save(out, quality=90, exif=exif)
    return out


def scan_beyond_measuring_s(folder: Path, photo: Path) -> float:
    """Processor time of the scan of one photo in this process, without that in which it is measured."""
    measured, measure_together = [], scanning.measure_together

    def watched(jobs: tuple[scanning.PhotoJob, ...]) -> object:
        begun = time.process_time()
        try:
            return measure_together(jobs)
        finally:
            measured.append(time.process_time() - begun)

    scanning.measure_together = watched
    begun = time.process_time()
    (outcome,) = scanning.scan_photos(folder, load_trial(folder), [photo], scanning.ScanOptions())
    assert isinstance(outcome, scanning.Recorded), outcome
    scanning.measure_together = measure_together
    return time.process_time() - begun - sum(measured)


def measure(folder: Path, size: Size) -> bool:
    """Print what each command takes; whether all are within the limits."""
    commands = {
        "status": ["status", str(folder)],
        "history": ["history", str(folder), code_of(3)],
        "chart": ["chart", str(folder), "-o", str(folder / "chart")],
    }
    first = cost_of(commands["status"])
    _tell("status, cache deleted", first)
    good = first.peak_mb <= MOST_MB
    for name, command in commands.items():
        cost = min((cost_of(command) for _ in range(3)), key=lambda one: one.processor_s)
        _tell(name, cost)
        good &= cost.processor_s <= MOST_S and cost.peak_mb <= MOST_MB
    times = append_times_ms(folder, size)
    clock, processor = (statistics.median(some) for some in zip(*times, strict=True))
    print(f"  append of a photo       {clock:8.1f} ms {processor:7.1f} ms processor")
    after = cost_of(commands["status"])
    _tell("status after appends", after)
    for photo in sorted((BENCH / "dev").glob("bigrack-d08/*.jpg")):
        photos = [dated(photo, number, size, folder.with_name(f"{number}.jpg")) for number in range(4)]
        times_s = [scan_beyond_measuring_s(folder, one) for one in photos]
        middle_s = statistics.median(times_s[1:])
        print(f"  scan, beyond measuring  {middle_s:8.2f} s processor (first {times_s[0]:.2f} s)")
    return good and processor <= MOST_APPEND_MS and after.processor_s <= MOST_S


def _tell(name: str, cost: Cost) -> None:
    print(
        f"  {name:24}{cost.clock_s:8.2f} s {cost.processor_s:8.2f} s processor {cost.peak_mb:6.0f} MB",
        flush=True,
    )


def draw(path: Path, points: list[tuple[int, float]]) -> None:
    """Draw an append's time against the rows before it."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7, 4), layout="constrained")
    axes = figure.subplots()
    axes.plot(*zip(*points, strict=True), marker="o")
    axes.set_xscale("log")
    axes.set_ylim(0, max(MOST_APPEND_MS, *(ms for _, ms in points)) * 1.1)
    axes.axhline(MOST_APPEND_MS, color="#888888", linestyle=":")
    axes.set_xlabel("score rows in the ledger")
    axes.set_ylabel("append of one photo, ms of processor time (median)")
    figure.savefig(path, dpi=120)


def append_at(rows: int, within: Path) -> float:
    """Return an append's median processor time in a ledger of so many rows, milliseconds."""
    bags = max(50, rows // 200)
    size = Size(bags=bags, photos=rows // bags, bags_a_photo=50)
    folder = within / f"rows{rows}"
    write_large_trial(folder, size)
    read_ledger(folder)
    clock, processor = map(statistics.median, zip(*append_times_ms(folder, size), strict=True))
    shutil.rmtree(folder)
    print(f"  {rows:10,} rows: {clock:6.1f} ms {processor:6.1f} ms processor", flush=True)
    return processor


def main() -> int:
    """Print the figures; 1 when a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bags", type=int, default=5000)
    parser.add_argument("--photos", type=int, default=200)
    parser.add_argument("--bags-a-photo", type=int, default=50)
    parser.add_argument("--plot", type=Path)
    asked = parser.parse_args()
    size = Size(bags=asked.bags, photos=asked.photos, bags_a_photo=asked.bags_a_photo)
    with tempfile.TemporaryDirectory() as temporary:
        os.environ["PYTHONPYCACHEPREFIX"] = str(Path(temporary) / "bytecode")
        folder = Path(temporary) / "hornbeam"
        write_large_trial(folder, size)
        print(f"{asked.bags} bags x {asked.photos} photos, {asked.bags_a_photo} bags a photo")
        good = measure(folder, size)
        shutil.rmtree(folder)
        if asked.plot:
            draw(asked.plot, [(rows, append_at(rows, Path(temporary))) for rows in ROWS])
    return int(not good)


if __name__ == "__main__":
    sys.exit(main())
