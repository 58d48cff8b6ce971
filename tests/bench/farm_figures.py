"""What a photo costs: seconds of one core, bytes of disk; docs/farm.md has the figures and what follows.

    python tests/bench/farm_figures.py [--cluster ADDRESS] [SERIES...]

Scans each series' first day, then all later days with one process; what starting takes, found by scanning
them once more, is taken off. With a cluster the later days are scanned by that too, into a copy of the trial,
and the seconds are those of the process that gives the work out, which no cluster takes off it.

Seconds are of processor time (user and system), so that other work on the machine counts little. The photos
are looked for in COLSCAN_BENCH, by default ../shared/bench.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

BENCH = Path(os.environ.get("COLSCAN_BENCH", Path(__file__).parents[2].parent / "shared" / "bench"))
COLSCAN = [sys.executable, "-c", "from colscan.app.cli.main import run; run()"]
PARTS = ("photos", "photos.csv", "scores.csv", "suspects.csv", "cache")
HERE = ("--jobs", "1")


def run(*arguments: object) -> float:
    """Seconds of processor time that a command of colscan and its processes took."""
    return took([*COLSCAN, *map(str, arguments)])


def took(command: list[str]) -> float:
    """Seconds of processor time that a command and its processes took."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def size(path: Path) -> int:
    """Bytes of a file, or of all files in a folder."""
    files = path.rglob("*") if path.is_dir() else [path]
    return sum(file.stat().st_size for file in files if file.is_file())


def begin(series: str, folder: Path) -> list[Path]:
    """A trial of a series with its first day scanned; its later photos."""
    bag_list = folder.parent / f"{series}.csv"
    subprocess.run([sys.executable, BENCH / "bags.py", BENCH / "dev", series, bag_list], check=True)
    first, *later = sorted((BENCH / "dev").glob(f"{series}-*/*.jpg"))
    run("new", folder, "--bags", bag_list)
    run("scan", folder, first, *HERE)
    return later


def seconds(folder: Path, photos: list[Path], *how: str) -> float:
    """Seconds of processor time a photo, without those of starting."""
    whole = run("scan", folder, *photos, *how)
    return (whole - run("scan", folder, *photos, *HERE)) / len(photos)


def connecting(cluster: str) -> float:
    """Seconds of processor time that it takes to connect to a cluster and to compare digits, once a scan."""
    imports = (
        "import os; os.environ['OPENBLAS_NUM_THREADS'] = '1'  # as the command line has it\n"
        "import colscan.app.batch.scan\nfrom colscan.app.batch.jobs import worker_pool\n"
    )
    plain, connected = (f"{imports}worker_pool(1, {one!r}).__enter__()" for one in (None, cluster))
    return took([sys.executable, "-c", connected]) - took([sys.executable, "-c", plain])


def figures(series: str, out: Path, cluster: str | None) -> str:
    """A series' line."""
    folder = out / series
    photos = begin(series, folder)
    copy = Path(shutil.copytree(folder, out / f"{series}-cluster"))
    before = {part: size(folder / part) for part in PARTS}
    cells = [f"{series} ({len(photos)})", f"{seconds(folder, photos, *HERE):.2f}"]
    if cluster:
        here = seconds(copy, photos, "--cluster", cluster) - connecting(cluster) / len(photos)
    cells.append(f"{here:.2f}" if cluster else "")
    cells += [f"{(size(folder / part) - before[part]) / len(photos) / 1000:.1f}" for part in PARTS]
    return "".join(
        f"{cell:>16}" for cell in (*cells, f"{size(folder / 'cache' / 'baselines.bin') / 1000:.0f}")
    )


def main() -> None:
    """Print a line a series."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("series", nargs="*", default=["oakrack", "bigrack"])
    parser.add_argument("--cluster")
    asked = parser.parse_args()
    heads = ("series", "s a photo", "s here, cluster", *(f"{part} kB" for part in PARTS), "baselines kB")
    print("".join(f"{head:>16}" for head in heads))
    with tempfile.TemporaryDirectory() as out:
        for series in asked.series:
            print(figures(series, Path(out), asked.cluster), flush=True)


if __name__ == "__main__":
    main()
