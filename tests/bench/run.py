"""Hold colscan against rendered shelf photos with exact truth, beside two plain baselines.

    python tests/bench/run.py OUT [SERIES...]

Begins a trial a series under OUT, scans its photos day by day as a grower would (annotated photos go to
OUT/SERIES/overlays), then prints for each series the figures of colscan and of two plain methods that are
kept here only, so that everyone sees what the method buys:

- otsu: the share of the seen face that is lighter than Otsu's threshold (doi:10.1109/TSMC.1979.4310076);
- mean lightness: a straight line from the face's mean lightness to coverage, fitted on the other series.

The photos and their evaluate.py are looked for in COLSCAN_BENCH, by default ../shared/bench.
"""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.app.cli.main import main
from colscan.locate import locate_bags
from colscan.locate.model import BagView
from colscan.photo import load_rgb

BENCH = Path(os.environ.get("COLSCAN_BENCH", Path(__file__).parents[2].parent / "shared" / "bench"))
SERIES = ("oakrack", "mixed", "bigrack", "outbreak")
FIGURES = {
    "missing": "missing",
    "MAE": "coverage_mae_pt",
    "RMSE": "coverage_rmse_pt",
    "bias": "coverage_bias_pt",
    "CCC": "coverage_ccc",
    "in 90 %": "truth_inside_interval_pct",
    "width": "interval_mean_width_pt",
    "density CCC": "density_ccc",
    "patches": "patches_asked",
    "found": "patches_found",
    "kind": "patches_kind_right",
    "clean": "clean_bag_photos",
    "alarmed": "clean_bag_photos_alarmed",
    "false": "false_marks",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainRow:
    """What the plain methods know of one bag in one photo."""

    series: str
    photo: str
    bag: str
    truth_pct: float
    otsu_pct: float
    lightness: float


def scan_series(series: str, out: Path) -> None:
    """Begin a series' trial under `out` and scan its photos."""
    scan_photos_of(series, out, sorted((BENCH / "dev").glob(f"{series}-*/*.jpg")))


def scan_photos_of(series: str, out: Path, photos: Sequence[Path]) -> None:
    """Begin a series' trial under `out` and scan photos of it."""
    bag_list, folder = out / f"{series}-bags.csv", out / series
    subprocess.run([sys.executable, BENCH / "bags.py", BENCH / "dev", series, bag_list], check=True)
    if main(["new", str(folder), "--bags", str(bag_list)]) or main(
        ["scan", str(folder), "--overlay", *map(str, photos)]
    ):
        sys.exit(f"{series} could not be scanned")


def plain_rows(series: str) -> list[PlainRow]:
    """What the plain methods see in a series' photos, on the faces that colscan finds."""
    found = []
    for path in sorted((BENCH / "dev").glob(f"{series}-*/truth.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        views = {
            v.key: v for v in locate_bags(load_rgb(path.parent / truth["photo"], max_megapixels=100)).views
        }
        for bag in truth["bags"]:
            otsu_pct, lightness = _lightness(views[bag["tag"]])
            row = PlainRow(
                series=series,
                photo=truth["photo"],
                bag=bag["bag"],
                truth_pct=bag["coverage_pct"],
                otsu_pct=otsu_pct,
                lightness=lightness,
            )
            found.append(row)
    return found


def _lightness(view: BagView) -> tuple[float, float]:
    lightness = cv2.cvtColor(view.rgb, cv2.COLOR_RGB2LAB)[..., 0][view.face & ~view.hidden]
    threshold, _ = cv2.threshold(lightness, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return 100.0 * float((lightness > threshold).mean()), float(lightness.mean())


def by_mean_lightness(rows: list[PlainRow], series: str) -> NDArray[np.float64]:
    """Coverage of a series' rows by a line through the other series' mean lightness."""
    learnt = [row for row in rows if row.series != series]
    slope, start = np.polyfit([row.lightness for row in learnt], [row.truth_pct for row in learnt], 1)
    return np.clip([start + slope * row.lightness for row in rows if row.series == series], 0, 100)


def evaluate(series: str, scores: Path, suspects: Path) -> dict[str, object]:
    """The figures that evaluate.py prints of a ledger."""
    command = [
        sys.executable,
        BENCH / "evaluate.py",
        BENCH / "dev",
        scores,
        suspects,
        "--series",
        series,
        "--json",
    ]
    return dict(json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout))


def write_plain(path: Path, rows: list[PlainRow], coverage_pct: NDArray[np.float64]) -> Path:
    """Write plain scores as a ledger that evaluate.py reads."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["photo", "bag", "coverage_pct"])
        writer.writerows((row.photo, row.bag, pct) for row, pct in zip(rows, coverage_pct, strict=True))
    return path


def print_table(figures: list[tuple[str, str, dict[str, object]]]) -> None:
    """Print a line a series and method."""
    print("series     method          " + " ".join(f"{name:>11}" for name in FIGURES))
    for series, method, got in figures:
        cells = ("" if got.get(key) is None else str(got[key]) for key in FIGURES.values())
        print(f"{series:10} {method:15} " + " ".join(f"{cell:>11}" for cell in cells))


def run(out: Path, names: list[str]) -> None:
    """Scan, compare and print."""
    out.mkdir(parents=True, exist_ok=True)
    empty = out / "no-suspects.csv"
    empty.write_text("photo,bag,kind,x_px,y_px,flags\n", encoding="utf-8")
    for series in names:
        if not (out / series).exists():
            scan_series(series, out)
    rows = [row for series in names for row in plain_rows(series)]
    figures = []
    for series in names:
        own = [row for row in rows if row.series == series]
        ledger = out / series
        figures.append((series, "colscan", evaluate(series, ledger / "scores.csv", ledger / "suspects.csv")))
        plain = {"otsu": np.array([row.otsu_pct for row in own])}
        if len(names) > 1:
            plain["mean lightness"] = by_mean_lightness(rows, series)
        for method, coverage_pct in plain.items():
            written = write_plain(out / f"{series}-{method.replace(' ', '-')}.csv", own, coverage_pct)
            figures.append((series, method, evaluate(series, written, empty)))
    print_table(figures)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    run(Path(sys.argv[1]), sys.argv[2:] or list(SERIES))
