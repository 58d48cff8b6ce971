"""How long the review page's first page takes with a large ledger, against the framework's empty page.

    python tests/bench/first_page.py [--bags 200] [--photos 60]

Both are asked for over HTTP from one process that serves them with the same server, in turn, so that both
meet the same machine. Exit code 1 when the first page takes more than 15 times as long.
"""

from __future__ import annotations

import argparse
import http.client
import math
import socket
import statistics
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from flask import Flask

from colscan.app.web import make_app, serve_app
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.tables import format_header, format_rows

MOST_TIMES = 15.0
START = datetime(2026, 3, 2, 8, tzinfo=UTC)
FACE = ((100.0, 100.0), (300.0, 100.0), (300.0, 400.0), (100.0, 400.0))
METHOD = "bench-1"


def write_trial(folder: Path, *, bags: int, photos: int) -> None:
    """Write a trial whose bags grow over a photo a day; every eighth shows a patch that nobody judged."""
    folder.mkdir(parents=True)
    treatments = "".join(
        f'[[treatment]]\nsupplement = "{name}"\nsupplement_pct = {level}\n'
        for name, level in (("none", 0), ("bran", 5), ("bran", 10), ("bran", 20))
    )
    plan = (
        'name = "hornbeam"\ntime_zone = "UTC"\n[[strain]]\ncode = "PO-3"\nspecies = "Pleurotus ostreatus"\n'
        f"{treatments}"
    )
    (folder / "trial.toml").write_text(plan, encoding="utf-8")
    lines = ["bag,tag,strain,supplement,supplement_pct,heat_run,inoculated_at"]
    levels = (("none", 0), ("bran", 5), ("bran", 10), ("bran", 20))
    for number in range(bags):
        name, level = levels[number % 4]
        lines.append(f"B{number:03d},{number},PO-3,{name},{level},H{number % 8},{START.isoformat()}")
    (folder / "bags.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    rows = [_photo(day, bags) for day in range(photos)]
    scores = [_score(bag, day) for day in range(photos) for bag in range(bags)]
    suspects = [_suspect(bag, day) for day in range(5, photos) for bag in range(0, bags, 8)]
    for kind, written in ((PhotoRow, rows), (ScoreRow, scores), (SuspectRow, suspects)):
        (folder / kind.FILE).write_bytes(format_header(kind) + format_rows(written))


def _photo(day: int, bags: int) -> PhotoRow:
    at = START + timedelta(days=day)
    return PhotoRow(
        photo=f"d{day:03d}.jpg",
        photo_sha256=f"{day:064x}",
        taken_at=at,
        taken_at_from="exif-offset",
        width_px=4000,
        height_px=3000,
        bags_found=bags,
        method=METHOD,
        scanned_at=at,
    )


def _score(bag: int, day: int) -> ScoreRow:
    at = START + timedelta(days=day)
    pct = 100.0 / (1.0 + math.exp(-(day - 12 - bag % 7) / 2.5))
    return ScoreRow(
        photo=f"d{day:03d}.jpg",
        photo_sha256=f"{day:064x}",
        taken_at=at,
        bag=f"B{bag:03d}",
        segment=0,
        coverage_pct=round(pct, 1),
        coverage_low_pct=round(max(0.0, pct - 3), 1),
        coverage_high_pct=round(min(100.0, pct + 3), 1),
        density_pct=round(pct * 0.8, 1),
        unseen_pct=2.0,
        suspects=int(bag % 8 == 0 and day >= 5),
        suspect_area_pct=0.0,
        mm_per_px=0.5,
        outline=FACE,
        identified_by="card",
        method=METHOD,
        scanned_at=at,
    )


def _suspect(bag: int, day: int) -> SuspectRow:
    at = START + timedelta(days=day)
    return SuspectRow(
        photo=f"d{day:03d}.jpg",
        photo_sha256=f"{day:064x}",
        taken_at=at,
        bag=f"B{bag:03d}",
        patch="p1",
        kind="green",
        area_mm2=20.0 + 10 * day,
        area_pct=1.0,
        x_px=200.0,
        y_px=200.0,
        x_mm=0.0,
        y_mm=0.0,
        outline=((190.0, 190.0), (210.0, 190.0), (200.0, 210.0)),
        strength=0.9,
        first_seen_at=START + timedelta(days=5),
        growth_mm2_per_day=10.0,
        method=METHOD,
    )


def serve(app: Flask, listening: socket.socket) -> None:
    """Serve an application in a thread of its own."""
    threading.Thread(target=serve_app, args=(app, [listening]), daemon=True).start()


def empty_app() -> Flask:
    """The framework with a page that says nothing."""
    app = Flask("empty", static_folder=None)
    app.add_url_rule("/", "empty", lambda: "")
    return app


def get(port: int) -> float:
    """Return the seconds until a page is there whole."""
    begun = time.perf_counter()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    connection.request("GET", "/")
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    taken = time.perf_counter() - begun
    if answer.status != 200:
        raise SystemExit(body.decode())
    return taken


def main() -> int:
    """Print both times and their ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bags", type=int, default=200)
    parser.add_argument("--photos", type=int, default=60)
    parser.add_argument("--times", type=int, default=60)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "hornbeam"
        write_trial(folder, bags=asked.bags, photos=asked.photos)
        ours, empty = socket.create_server(("127.0.0.1", 0)), socket.create_server(("127.0.0.1", 0))
        ports = [listening.getsockname()[1] for listening in (ours, empty)]
        serve(make_app(folder, port=ports[0]), ours)
        serve(empty_app(), empty)
        first = get(ports[0])
        get(ports[1])
        pairs = [(get(ports[0]), get(ports[1])) for _ in range(asked.times)]
    page, nothing = (statistics.median(times) for times in zip(*pairs, strict=True))
    print(f"{asked.bags} bags x {asked.photos} photos, medians of {asked.times}")
    print(f"  the very first time   {1e3 * first:8.1f} ms")
    print(f"  the first page        {1e3 * page:8.2f} ms")
    print(f"  an empty page         {1e3 * nothing:8.2f} ms")
    print(f"  ratio                 {page / nothing:8.1f} (at most {MOST_TIMES:.0f})")
    return int(page / nothing > MOST_TIMES)


if __name__ == "__main__":
    sys.exit(main())
