"""Hold the scores of several versions of the libraries, with 1 and with 2 threads, against each other.

    python tests/bench/same_answer.py FOLDER [SERIES...]

Makes a virtual environment a set of versions under FOLDER (those that are there are taken as they are), scans
the bundled photos in each, and the named rendered series of COLSCAN_BENCH, and prints the largest
difference of any score from the first environment's. The target is 0.01 point; 1 where it isn't met.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).parents[2]
OLDEST = (
    "click==8.1.3", "filelock==3.16.0", "flask==3.1.0", "jinja2==3.1.2", "matplotlib==3.9.0",
    "numpy==2.0.0", "opencv-python-headless==4.11.0.86", "pillow==11.1.0", "pillow-heif==0.22.0",
    "scipy==1.14.0", "segno==1.6.0",
)  # fmt: skip
"""The least versions that pyproject.toml names."""
NEWEST = tuple(word.partition("==")[0] for word in OLDEST)
VERSIONS = {
    "newest": (),
    "oldest": OLDEST,
    "opencv-4.11": ("opencv-python-headless==4.11.0.86",),
    "opencv-4": ("opencv-python-headless<5",),
    "opencv-4-numpy-2.0": ("opencv-python-headless<5", "numpy==2.0.0"),
    "opencv-5-numpy-2.0": ("opencv-python-headless>=5,<6", "numpy==2.0.0"),
    "scipy-1.14": ("scipy==1.14.0",),
    "pillow-11.1": ("pillow==11.1.0", "pillow-heif==0.22.0"),
}
MEASURE = """
import json, sys
from importlib.metadata import version
from pathlib import Path
import golden
rows = golden.scan_demo()
for series in sys.argv[2:]:
    rows |= golden.scan_rendered(series, golden.BENCH)
said = [[*key, row.numbers, row.words] for key, row in rows.items()]
versions = {name: version(name) for name in ("numpy", "opencv-python-headless", "scipy", "pillow")}
Path(sys.argv[1]).write_text(json.dumps({"versions": versions, "rows": said}))
"""


def make_environment(folder: Path, wanted: tuple[str, ...]) -> Path:
    """The Python of an environment with colscan's dependencies in these versions."""
    python = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    done = folder / "done"
    if not done.exists():
        venv.create(folder, with_pip=True, clear=True)
        names = [*wanted, *(name for name in NEWEST if not any(word.startswith(name) for word in wanted))]
        subprocess.run([python, "-m", "pip", "install", "-q", *names], check=True)
        done.touch()
    return python


def measure(python: Path, threads: int, series: list[str], out: Path) -> dict:
    """What a scan in an environment says, and of which versions it is."""
    limits = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM")
    path = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    environment = os.environ | {name: str(threads) for name in limits} | {"PYTHONPATH": path}
    subprocess.run([python, "-c", MEASURE, out, *series], check=True, env=environment)
    return json.loads(out.read_text(encoding="utf-8"))


def main(folder: Path, series: list[str]) -> int:
    """Print how far each environment is from the first; 1 where one is too far."""
    sys.path.insert(0, str(ROOT / "tests"))
    from golden import TOLERANCE_PT, Measured, difference

    first, worst = None, 0.0
    print(
        f"{'environment':20}{'threads':>8}  {'largest difference, points':28}{'where':34}versions", flush=True
    )
    for name, wanted in VERSIONS.items():
        python = make_environment(folder / name, wanted)
        for threads in (1, 2):
            said = measure(python, threads, series, folder / f"{name}-{threads}.json")
            rows = {(s, photo, bag): Measured(tuple(n), tuple(w)) for s, photo, bag, n, w in said["rows"]}
            first = first or rows
            missing = first.keys() ^ rows.keys()
            apart = {key: difference(first[key], rows[key]) for key in first.keys() & rows.keys()}
            apart |= dict.fromkeys(missing, float("inf"))
            where = max(apart, key=lambda key: apart[key])
            worst = max(worst, apart[where])
            versions = " ".join(said["versions"].values())
            print(f"{name:20}{threads:>8}  {apart[where]:<28.6f}{' '.join(where):34}{versions}", flush=True)
    print(f"largest difference: {worst:.6f} points; target {TOLERANCE_PT}")
    return int(worst > TOLERANCE_PT)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), sys.argv[2:]))
