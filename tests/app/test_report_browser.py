"""The report in a browser: whole without a network, on a desk's and a pocket's screen, on paper."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from chromium import CHROMIUM, QUIET, need
from PIL import Image

from colscan.app.cli.main import main

PAPER_POINTS = {(595, 842), (612, 792)}
"""A4 and letter."""
OPTIONS = (
    "--headless", *QUIET, "--hide-scrollbars",
    # Without a network, as in a cellar: what the browser asks for itself goes nowhere either.
    "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _chromium() -> None:
    need(CHROMIUM, "chromium")


@pytest.fixture(scope="module")
def _report(_scanned: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report")
    copy = Path(shutil.copytree(_scanned, folder / "hornbeam"))
    assert main(["report", str(copy), "-o", str(folder / "report.html")]) == 0
    shutil.rmtree(copy)
    return folder / "report.html"


@pytest.fixture
def report(_report: Path, tmp_path: Path) -> Path:
    """The report of the demo's first two photos, alone in a folder."""
    alone = tmp_path / "alone" / "report.html"
    alone.parent.mkdir()
    return Path(shutil.copy(_report, alone))


def browse(page: Path, *options: str) -> subprocess.CompletedProcess[str]:
    """Open a page in a browser with a profile of its own, which leaves what the options ask for."""
    profile = page.parent / "profile"
    command = [str(CHROMIUM), *OPTIONS, f"--user-data-dir={profile}", *options, page.as_uri()]
    return subprocess.run(command, check=True, capture_output=True, text=True, timeout=90)


def asked_by(page: Path, *options: str) -> set[str]:
    """The addresses that a page asks for, by the browser's log; not what that wants for itself."""
    log = page.parent / "requests.json"
    browse(page, f"--log-net-log={log}", *options)
    events = json.loads(log.read_text("utf-8"))["events"]
    asked = [event["params"] for event in events if "initiator" in event.get("params", {})]
    return {one["url"] for one in asked if one["initiator"] != "not an origin" and "url" in one}


def test_the_log_shows_what_a_page_asks_for(tmp_path: Path) -> None:
    """A page that loads a picture from elsewhere is found out."""
    page = tmp_path / "page.html"
    page.write_text('<!doctype html><img src="http://example.invalid/a.png">', encoding="utf-8")
    assert asked_by(page, f"--screenshot={tmp_path / 'shot.png'}") == {"http://example.invalid/a.png"}


def test_nothing_is_asked_for_and_nothing_overflows(report: Path) -> None:
    """The page asks for no address; at both widths nothing runs out at the side."""
    for width in (1200, 400):
        shot = report.parent / f"w{width}.png"
        assert asked_by(report, f"--window-size={width},4000", f"--screenshot={shot}") == set()
        picture = np.asarray(Image.open(shot).convert("L"))
        assert picture.shape[1] == width
        assert (picture < 128).any()
        assert (picture[:, -4:] > 230).all(), f"something stands at the very edge at {width} px"


def test_the_page_is_as_wide_as_the_screen(report: Path) -> None:
    """Only tables and charts scroll sideways, in frames of their own: measured by the browser, at 400 px."""
    probe = report.with_name("probe.html")
    # The page's own policy forbids scripts: a frame around it measures.
    probe.write_text(
        '<!doctype html><iframe id="page" width="400" height="800" src="report.html"></iframe><script>'
        "const page = document.getElementById('page');"
        "page.onload = () => { const root = page.contentDocument.documentElement;"
        "document.title = root.scrollWidth + ' of ' + root.clientWidth;"
        "document.body.dataset.alts = page.contentDocument.querySelectorAll('img:not([alt])').length; };"
        "</script>",
        encoding="utf-8",
    )
    dom = browse(probe, "--dump-dom", "--allow-file-access-from-files", "--virtual-time-budget=10000").stdout
    found = re.search(r"<title>(\d+) of (\d+)</title>", dom)
    assert found, "the page was not measured"
    assert int(found[1]) <= int(found[2])
    assert 'data-alts="0"' in dom


def test_paper(report: Path) -> None:
    """Pages of a paper's size, each with something on it, its margins white; every heading is printed."""
    pdf = report.parent / "print.pdf"
    browse(report, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    document = pypdfium2.PdfDocument(pdf)
    text = ""
    for page in document:
        assert tuple(round(side) for side in page.get_size()) in PAPER_POINTS
        image = page.render(scale=0.5).to_numpy()[:, :, :3].min(axis=2)
        assert (image < 200).any()
        assert (image[:, :10] > 230).all()
        assert (image[:, -10:] > 230).all()
        text += page.get_textpage().get_text_range()
    for heading in ("The question", "Each bag over time", "Comparison", "What can't be said", "Deviations"):
        assert heading in text
    document.close()
