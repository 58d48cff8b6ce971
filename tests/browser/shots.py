"""Photograph every page of the review site, for a person to look at: three widths, light and dark.

    python tests/browser/shots.py OUT_DIR

Scans two photos of the bundled trial, makes up suspect patches, and writes OUT_DIR/PAGE-WIDTH-SCHEME.png.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from demo_trial import scan_two
from reviewed import reviewing
from site_pages import PAGES, show_everything
from watched import SCHEMES, Watched

from colscan.app.demo import NAME

WIDTHS_PX = (360, 768, 1400)
HEIGHT_PX = 800
"""The least that is shown; longer pages are photographed whole."""


def take_all(browser: Watched, out_dir: Path, *, begun: bool) -> None:
    """Photograph each page of the site that the browser is on: one with a trial, or one without."""
    for page in PAGES:
        if page.begun != begun:
            continue
        for width_px in WIDTHS_PX:
            for scheme in SCHEMES:
                browser.set_screen(width_px, HEIGHT_PX, scheme)
                browser.open(page)
                browser.photograph(out_dir / f"{page}-{width_px}-{scheme}.png")


def main(out_dir: Path) -> None:
    """Photograph the pages into a folder, which is made if need be."""
    out_dir.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as kept:
        folder = show_everything(scan_two(Path(kept) / NAME))
        browser = Watched(Path(kept) / "profile")
        try:
            for site, begun in ((folder, True), (Path(kept) / "birch", False)):
                with reviewing(site, phones=begun) as (_, browser.home):
                    take_all(browser, out_dir, begun=begun)
        finally:
            browser.driver.quit()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("Usage: python tests/browser/shots.py OUT_DIR")
    main(Path(sys.argv[1]))
