"""The practice sheet read back: its drawn faces, photographed by a warp, against what is drawn on them.

    python tests/bench/practice_sheet.py [--photos N]

Both pages on Letter and on A4, N times each (3 by default: 126 faces), in light, cast, blur, noise and JPEG
of chance, as `photographed.photograph` draws them; the tests' own photos are others. Prints the mean and the
largest difference, their bias, and the share of intervals that hold what is drawn.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from photographed import photograph, practice_pages

from colscan.app.practice import FaceRead, read_practice

FIRST_SEED = 1000


def read_faces(photos: int) -> list[FaceRead]:
    """What is read of each face of so many photos of each page and paper."""
    found: list[FaceRead] = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "page.jpg"
        for paper in ("letter", "a4"):
            for number, page in enumerate(practice_pages(paper)[:2]):
                for photo in range(photos):
                    path.write_bytes(photograph(page, FIRST_SEED + 10 * photo + number))
                    found += read_practice(path)
    return found


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--photos", type=int, default=3)
    faces = read_faces(parser.parse_args().photos)
    read = [face for face in faces if face.read_pct is not None]
    off = np.array([face.difference for face in read])
    held = np.mean([face.low_pct <= face.drawn.coverage_pct <= face.high_pct for face in read])
    print(f"{len(faces)} faces, {len(faces) - len(read)} not read")
    print(f"points off: {np.abs(off).mean():.2f} in the mean, {np.abs(off).max():.2f} at most", end="; ")
    print(f"bias {off.mean():+.2f}; {100 * held:.0f} % of intervals hold what is drawn")


if __name__ == "__main__":
    main()
