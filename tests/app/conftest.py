"""Trials to run commands on, made from the bundled demo."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from demo_trial import begin, contents, scan_two

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


@pytest.fixture
def unchanged() -> Callable[[Path], Callable[[], bool]]:
    """Remember a trial's files; the answer tells whether they are still the same."""

    def remember(folder: Path) -> Callable[[], bool]:
        before = contents(folder)
        return lambda: contents(folder) == before

    return remember
