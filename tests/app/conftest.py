"""Trials to run commands on, made from the bundled demo."""

import shutil
from collections.abc import Callable
from contextlib import ExitStack
from functools import cache
from pathlib import Path

import click
import pytest
from demo_trial import begin, begin_pair, contents, corner, plain_shelf

from colscan.app.cli.main import main
from colscan.app.demo import NAME
from colscan.ledger import files, scan_locked


@pytest.fixture
def trial(tmp_path: Path) -> Path:
    """A trial of the demo's bags, without photos."""
    return begin(tmp_path / NAME)


@pytest.fixture
def scanned(_scanned: Path, tmp_path: Path) -> Path:
    """A trial with its photos of day 0 and 3 scanned; each test has its own copy."""
    return Path(shutil.copytree(_scanned, tmp_path / NAME))


@pytest.fixture(scope="session")
def corners(tmp_path_factory: pytest.TempPathFactory) -> Callable[[int], Path]:
    """By day, the part of the demo's photo that shows two bags: for what is not about bags."""
    folder = tmp_path_factory.mktemp("corners")
    return cache(lambda day: corner(day, folder))


@pytest.fixture
def pair(tmp_path: Path) -> Path:
    """A trial of the corners' two bags, without photos."""
    return begin_pair(tmp_path / NAME)


@pytest.fixture(scope="session")
def _scanned_pair(
    made_once: Callable[[str, Callable[[Path], object]], Path], corners: Callable[[int], Path]
) -> Path:
    def scan(folder: Path) -> None:
        begin_pair(folder / NAME)
        assert main(["scan", str(folder / NAME), str(corners(0)), str(corners(3)), "--jobs", "1"]) == 0

    return made_once("scanned-pair", scan) / NAME


@pytest.fixture
def scanned_pair(_scanned_pair: Path, tmp_path: Path) -> Path:
    """The same with the corners of day 0 and 3 scanned; each test has its own copy."""
    return Path(shutil.copytree(_scanned_pair, tmp_path / NAME))


@pytest.fixture(scope="session")
def plain_first(made_once: Callable[[str, Callable[[Path], object]], Path]) -> Path:
    """The upper shelf on day 0, its four bags without cards."""
    return made_once("plain", lambda folder: plain_shelf(0, folder / "first.png")) / "first.png"


@pytest.fixture
def unchanged() -> Callable[[Path], Callable[[], bool]]:
    """Remember a trial's files; the answer tells whether they are still the same."""

    def remember(folder: Path) -> Callable[[], bool]:
        before = contents(folder)
        return lambda: contents(folder) == before

    return remember


@pytest.fixture
def other_scan(monkeypatch: pytest.MonkeyPatch) -> Callable[[Path, Callable[[], object]], list[str]]:
    """Begin another scan, which does its work and ends once a command says that it waits; what was said."""

    def begin_other(folder: Path, work: Callable[[], object]) -> list[str]:
        told: list[str] = []
        held, echo = ExitStack(), click.echo
        held.enter_context(scan_locked(folder, lambda: None))

        def say(message: object = None, **options: bool) -> None:
            echo(message, **options)
            if "waiting for another scan" in str(message):
                told.append(str(message))
                work()
                held.close()

        monkeypatch.setattr(files, "SCAN_TRY_S", 0.05)
        monkeypatch.setattr(click, "echo", say)
        return told

    return begin_other
