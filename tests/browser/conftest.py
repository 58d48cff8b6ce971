"""The review site as a process, and a browser on it in which nothing may go amiss."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

import pytest
from chromium import CHROMEDRIVER, CHROMIUM, need
from pages import compiled_once
from reviewed import add_patch, reviewing
from site_pages import show_everything
from watched import Visit, Watched

from colscan.app.demo import NAME
from colscan.app.web import listen
from colscan.app.web.server import serve


@pytest.fixture(scope="session", autouse=True)
def _compiled(for_all: Path) -> Iterator[None]:
    with compiled_once(for_all / "templates"):
        yield


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Watched]:
    """The one browser of all tests."""
    need(CHROMIUM, "chromium")
    need(CHROMEDRIVER, "chromedriver")
    browser = Watched(tmp_path_factory.mktemp("profile"))
    yield browser
    browser.driver.quit()


@pytest.fixture(autouse=True)
def browser(chromium: Watched) -> Iterator[Watched]:
    """The browser for a test, after which its console has to be clean and no stranger been asked."""
    yield chromium
    chromium.set_own_screen()
    faults = chromium.faults()
    chromium.home, chromium.refused = "", set()
    assert not faults, "\n".join(faults)


@contextmanager
def _served(folder: Path, *, phones: bool = False) -> Iterator[str]:
    """The address of a trial's site; in the end what it wrote to the terminal is looked through."""
    with reviewing(folder, phones=phones) as (process, address):
        yield address
        process.kill()
        process.wait()
        assert process.stderr
        told = process.stderr.read()
        assert "Traceback" not in told, told


@pytest.fixture
def visit(
    _scanned: Path, tmp_path: Path, browser: Watched, caplog: pytest.LogCaptureFixture
) -> Iterator[Visit]:
    """A visit to a trial of its own, with a made-up patch on two bags, served by this process."""
    folder = Path(shutil.copytree(_scanned, tmp_path / NAME))
    add_patch(folder, "B01", "p1")
    add_patch(folder, "B02", "p1")
    listening = listen(0)
    Thread(target=serve, args=(folder, [listening]), daemon=True).start()
    browser.home = f"http://127.0.0.1:{listening.getsockname()[1]}/"
    yield Visit(folder, browser)
    browser.driver.get("about:blank")
    assert [record.getMessage() for record in caplog.get_records("call") if record.exc_info] == []


@pytest.fixture(scope="session")
def _shown(_scanned: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = Path(shutil.copytree(_scanned, tmp_path_factory.mktemp("shown") / NAME))
    with _served(show_everything(folder), phones=True) as address:
        yield address


@pytest.fixture(scope="session")
def _empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with _served(tmp_path_factory.mktemp("empty") / "birch") as address:
        yield address


@pytest.fixture
def looking(_shown: str, _empty: str, browser: Watched, request: pytest.FixtureRequest) -> Iterator[Watched]:
    """The browser on a site with something to see on every page, for tests that change nothing.

    For a page of those that begin a trial it is on a site without one.
    """
    page = getattr(request.node, "callspec", None) and request.node.callspec.params.get("page")
    browser.home = _shown if page is None or page.begun else _empty
    yield browser
    browser.driver.get("about:blank")
