"""A scanned trial with suspect patches that were made up, and what has been said of them."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from colscan.ledger import read_ledger
from colscan.ledger.columns import SuspectRow
from colscan.tables import format_header, format_rows

PRETENDED_LAN = "127.0.0.2"
"""Another address of this machine alone."""


def add_patch(folder: Path, bag: str, patch: str, *, photo: int = -1) -> None:
    """Write a made-up patch into a scanned ledger, in the middle of a bag's face; in its newest photo."""
    score = [row for row in read_ledger(folder).scores if row.bag == bag][photo]
    x, y = np.array(score.outline).mean(axis=0)
    row = SuspectRow(
        photo=score.photo,
        photo_sha256=score.photo_sha256,
        taken_at=score.taken_at,
        bag=bag,
        patch=patch,
        kind="green",
        area_mm2=150.0,
        area_pct=0.5,
        x_px=x,
        y_px=y,
        x_mm=0.0,
        y_mm=0.0,
        outline=((x - 9, y - 9), (x + 9, y - 9), (x, y + 9)),
        strength=0.9,
        method=score.method,
    )
    path = folder / SuspectRow.FILE
    head = path.read_bytes() if path.exists() else format_header(SuspectRow)
    path.write_bytes(head + format_rows([row]))


@contextmanager
def reviewing(
    folder: Path, *, phones: bool = False, port: int = 0
) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command in a process of its own, and its address; for phones too, but on no real network."""
    words = ["review", str(folder), "--port", str(port), "--no-browser"]
    start = "from colscan.app.cli.main import run; run()"
    if phones:
        words.append("--lan")
        start = f"from colscan.app import web; web.lan_address = lambda *, https: '{PRETENDED_LAN}'; {start}"
    process = subprocess.Popen(
        [sys.executable, "-c", start, *words],
        stdin=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
        text=True,
    )
    assert process.stderr
    try:
        # A folder without a trial is told first.
        line = next(line for line in process.stderr if "http" in line)
        yield process, next(word for word in line.split() if word.startswith("http"))
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        process.stderr.close()
