"""What the current method says of photos that never change, kept in `fixtures/golden.csv`.

    python tests/golden.py

makes that file anew, from the bundled photos and the rendered ones in COLSCAN_BENCH (by default
../shared/bench). It refuses when numbers moved and `METHOD` did not, or `METHOD` changed and no number moved.
"""

from __future__ import annotations

import csv
import json
import os
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from colscan.app.batch.outcomes import Recorded
from colscan.app.batch.scan import ScanOptions, scan_photos
from colscan.app.demo import PHOTOS, PLAN
from colscan.ledger.columns import ScoreRow
from colscan.score import METHOD
from colscan.trial import create_trial, load_trial

GOLDEN = Path(__file__).parent / "fixtures" / "golden.csv"
BENCH = Path(os.environ.get("COLSCAN_BENCH", Path(__file__).parents[1].parent / "shared" / "bench"))
DEMO, SENT = "demo", "sent"
MESSENGER = Path(__file__).parent / "fixtures" / "messenger"
"""Two of the bundled photos at quality 70, as a messenger makes them."""
RENDERED = {"oakrack": ("d00", "d06", "d15"), "outbreak": ("d00", "d10")}
"""Days of rendered photos: bags of all strains, thin and white, with suspect patches and without."""
NUMBERS = (
    "coverage_pct", "coverage_low_pct", "coverage_high_pct", "density_pct", "unseen_pct", "suspect_area_pct",
)  # fmt: skip
COLUMNS = ("method", "set", "photo", "bag", *NUMBERS, "suspects", "flags")
TOLERANCE_PT = 0.01
"""What a number may differ by between machines and versions of libraries."""

Key = tuple[str, str, str]
"""Set, photo, bag."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What is said of one bag in one photo: its numbers in percent, `suspects` and flags."""

    numbers: tuple[float | None, ...]
    words: tuple[str, ...]


Rows = Mapping[Key, Measured]


def scan_set(name: str, bag_list: Path, photos: Sequence[Path], jobs: int = 1) -> dict[Key, Measured]:
    """What a scan of photos into a new trial says, numbers unrounded."""
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent) / name
        create_trial(folder, bag_list, time_zone="America/New_York")
        options = ScanOptions(jobs=jobs, dry_run=True)
        outcomes = list(scan_photos(folder, load_trial(folder), photos, options))
    scores = [row for outcome in outcomes if isinstance(outcome, Recorded) for row in outcome.scores]
    return {(name, row.photo, row.bag): _measured(row) for row in scores}


def _measured(row: ScoreRow) -> Measured:
    numbers = tuple(getattr(row, name) for name in NUMBERS)
    return Measured(numbers, (str(row.suspects), " ".join(row.flags)))


def scan_demo(jobs: int = 1) -> dict[Key, Measured]:
    """What a scan of the bundled photos says."""
    return scan_set(DEMO, PLAN[1], sorted(PHOTOS.glob("*.jpg")), jobs)


def scan_sent() -> dict[Key, Measured]:
    """What a scan of photos says that a messenger made small."""
    return scan_set(SENT, PLAN[1], sorted(MESSENGER.glob("*.jpg")))


def scan_rendered(series: str, bench: Path, jobs: int = 1) -> dict[Key, Measured]:
    """What a scan of a rendered series' photos says."""
    names = [f"{series}-{day}" for day in RENDERED[series]]
    bags = json.loads((bench / "dev" / names[0] / "truth.json").read_text(encoding="utf-8"))["bags"]
    with tempfile.TemporaryDirectory() as folder:
        bag_list = Path(folder) / "bags.csv"
        with bag_list.open("w", newline="", encoding="utf-8") as file:
            lines = csv.writer(file)
            lines.writerow(("bag", "tag", "strain", "supplement", "supplement_pct", "inoculated_at"))
            for bag in bags:
                level = bag["level"].split()[0]
                lines.writerow(
                    [bag["bag"], bag["tag"], bag["strain"], "bran", level, "2026-03-02T06:00:00-05:00"]
                )
        photos = [bench / "dev" / name / f"{name}.jpg" for name in names]
        return scan_set(series, bag_list, photos, jobs)


def read_golden() -> tuple[str, dict[Key, Measured]]:
    """The method that the file is of, and what it said; neither without a file."""
    if not GOLDEN.exists():
        return "", {}
    with GOLDEN.open(newline="", encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    rows = {
        (line["set"], line["photo"], line["bag"]): Measured(
            tuple(float(line[name]) if line[name] else None for name in NUMBERS),
            (line["suspects"], line["flags"]),
        )
        for line in lines
    }
    return lines[0]["method"], rows


def write_golden(rows: Rows) -> None:
    """Keep what the current method says, to 4 decimals."""
    with GOLDEN.open("w", newline="", encoding="utf-8") as file:
        lines = csv.writer(file, lineterminator="\n")
        lines.writerow(COLUMNS)
        for key, row in sorted(rows.items()):
            numbers = ("" if number is None else f"{number:.4f}" for number in row.numbers)
            lines.writerow([METHOD, *key, *numbers, *row.words])


def difference(one: Measured, other: Measured) -> float:
    """The largest difference of any number, in points; infinite where one has none, or words differ."""
    pairs = list(zip(one.numbers, other.numbers, strict=True))
    if one.words != other.words or any((a is None) != (b is None) for a, b in pairs):
        return float("inf")
    return max((abs(a - b) for a, b in pairs if a is not None and b is not None), default=0.0)


def moved(old: Rows, new: Rows) -> dict[Key, float]:
    """The bags and photos of both whose numbers differ by more than the tolerance, and by how much."""
    apart = {key: difference(old[key], new[key]) for key in old.keys() & new.keys()}
    rounding_pt = 0.5e-4
    return {key: off for key, off in sorted(apart.items()) if off > TOLERANCE_PT + rounding_pt}


def refusal(old_method: str, old: Rows, new_method: str, new: Rows) -> str | None:
    """Why the file must not be made anew: numbers move when, and only when, the method's name does."""
    if not old:
        return None
    off = moved(old, new) or {key: float("inf") for key in old.keys() ^ new.keys() if key in old}
    if old_method == new_method and off:
        largest = max(off, key=lambda key: off[key])
        return (
            f"{len(off)} of {len(old)} rows moved, {' '.join(largest)} by {off[largest]:.3f} points, and the"
            f" method is {old_method} as before: raise METHOD in colscan/score/__init__.py."
        )
    if old_method != new_method and not off:
        return (
            f"the method was {old_method} and is {new_method}, and no number moved: leave METHOD as it was."
        )
    return None


def main() -> int:
    """Make the file anew; 1 where that is refused."""
    if not BENCH.is_dir():
        print(f"{BENCH} isn't there: set COLSCAN_BENCH to the rendered photos")
        return 1
    rows = scan_demo(jobs=os.cpu_count() or 1) | scan_sent()
    for series in RENDERED:
        rows |= scan_rendered(series, BENCH, jobs=os.cpu_count() or 1)
    old_method, old = read_golden()
    why = refusal(old_method, old, METHOD, rows)
    if why:
        print(f"Not written: {why}")
        return 1
    write_golden(rows)
    print(
        f"{GOLDEN}: {len(rows)} rows of {METHOD}, {len(moved(old, rows))} moved since {old_method or 'never'}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
