"""Trials to run commands on, made from the bundled demo."""

import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from demo_trial import begin, begin_pair, contents, corner, scan_two

from colscan.app.cli.main import main
from colscan.app.demo import NAME


@pytest.fixture
def trial(tmp_path: Path) -> Path:
    """A trial of the demo's bags, without photos."""
    return begin(tmp_path / NAME)


@pytest.fixture(scope="session")
def _scanned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return scan_two(tmp_path_factory.mktemp("scanned") / NAME)


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
def _scanned_pair(tmp_path_factory: pytest.TempPathFactory, corners: Callable[[int], Path]) -> Path:
    folder = begin_pair(tmp_path_factory.mktemp("scanned-pair") / NAME)
    assert main(["scan", str(folder), str(corners(0)), str(corners(3)), "--jobs", "1"]) == 0
    return folder


@pytest.fixture
def scanned_pair(_scanned_pair: Path, tmp_path: Path) -> Path:
    """The same with the corners of day 0 and 3 scanned; each test has its own copy."""
    return Path(shutil.copytree(_scanned_pair, tmp_path / NAME))


@pytest.fixture
def unchanged() -> Callable[[Path], Callable[[], bool]]:
    """Remember a trial's files; the answer tells whether they are still the same."""

    def remember(folder: Path) -> Callable[[], bool]:
        before = contents(folder)
        return lambda: contents(folder) == before

    return remember
