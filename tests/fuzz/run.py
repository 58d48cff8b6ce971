"""Throw hostile input at every reader, guided by coverage: photos, EXIF, plan, ledger, cache, pages.

    python tests/fuzz/run.py [TARGET...] [--seconds 30] [--jobs 2] [--corpus FOLDER] [--input FILE]

Each target runs in a process of its own, starts from valid files, and fails on the first input that raises
anything but an error of colscan's own, takes more than 1.5 GB of memory or a minute, or writes anything
outside the trial's folder. Failing inputs are shown, and kept under --corpus, a folder that is also gone on
from; with --input one input alone is tried again. Needs atheris.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from demo_trial import begin, corner
from reviewed import add_patch

from colscan.app.cli.main import main as colscan

TARGETS = ("web", "ledger", "image", "exif", "plan", "cache")
# Memory is held against each input by what watches it; this ends what would take all of the machine.
LIMITS = ("-rss_limit_mb=6000", "-timeout=60", "-max_len=65536", "-print_final_stats=1", "-len_control=0")
_PROGRESS = re.compile(r"#(\d+)\s.*cov: (\d+) ft: (\d+) corp: (\d+)/.*rss: (\d+)Mb")


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What came of a target."""

    target: str
    failed: bool
    log: str
    inputs: tuple[Path, ...]

    def tell(self) -> str:
        """Its figures on a line; of a failure the traceback and the inputs."""
        seen = _PROGRESS.findall(self.log)
        figures = ("runs", "coverage", "features", "inputs kept", "MB")
        line = (
            ", ".join(f"{n} {what}" for n, what in zip(seen[-1], figures, strict=True))
            if seen
            else "nothing run"
        )
        if not self.failed:
            return f"{self.target}: {line}"
        shown = [f"{path}\n{path.read_bytes()[:2000]!r}" for path in self.inputs]
        return "\n".join((f"{self.target}: FAILED after {line}", self.log[-6000:], *shown))


def fuzz(target: str, scanned: Path, folder: Path, *, seconds: int, single: Path | None) -> Result:
    """Return what came of one target.

    Parameters
    ----------
    target : str
        Its name.
    scanned : Path
        A scanned trial.
    folder : Path
        Its inputs and failures are kept there.
    seconds : int
        How long.
    single : Path or None
        One input to be tried, nothing else.
    """
    corpus = folder / target
    corpus.mkdir(parents=True, exist_ok=True)
    before = set(folder.glob(f"{target}-*-*"))
    options = [f"-max_total_time={seconds}", f"-artifact_prefix={folder}/{target}-", *LIMITS]
    words = [sys.executable, Path(__file__).with_name("one.py"), target, scanned, corpus, *options]
    rooms = folder / "rooms"
    rooms.mkdir(exist_ok=True)
    done = subprocess.run(
        [*words, *([single.resolve()] if single else [])],
        env=os.environ | {"TMPDIR": str(rooms), "OMP_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        check=False,
    )
    lines = done.stdout.decode(errors="replace").splitlines()
    log = "\n".join(line for line in lines if not line.startswith("INFO: Instrumenting"))
    inputs = tuple(sorted(set(folder.glob(f"{target}-*-*")) - before))
    return Result(target=target, failed=done.returncode != 0, log=log, inputs=inputs)


def main() -> int:
    """Run the targets that were asked for; 1 when one failed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("targets", nargs="*", choices=[*TARGETS, []], default=[], metavar="TARGET")
    parser.add_argument("--seconds", type=int, default=30)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--corpus", type=Path)
    parser.add_argument("--input", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as temporary:
        scanned = _scan_two(Path(temporary))
        folder = asked.corpus.resolve() if asked.corpus else Path(temporary) / "inputs"
        with ThreadPoolExecutor(asked.jobs) as pool:
            results = [
                pool.submit(fuzz, name, scanned, folder, seconds=asked.seconds, single=asked.input)
                for name in asked.targets or TARGETS
            ]
            for result in results:
                print(result.result().tell(), flush=True)
        return int(any(result.result().failed for result in results))


def _scan_two(folder: Path) -> Path:
    """A trial with a suspect patch, and a corner of two of the demo's photos scanned."""
    trial = begin(folder / "trial")
    photos = [str(corner(day, folder)) for day in (0, 3)]
    assert colscan(["scan", str(trial), *photos, "--jobs", "1"]) == 0
    add_patch(trial, "B05", "p1")
    return trial


if __name__ == "__main__":
    sys.exit(main())
