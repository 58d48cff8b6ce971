"""Trials to run commands on, made from the bundled demo."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from demo_trial import begin, contents, photo

from colscan.app.cli.main import main
from colscan.app.demo import NAME, PLAN


@pytest.fixture
def trial(tmp_path: Path) -> Path:
    """A trial of the demo's bags, without photos."""
    return begin(tmp_path / NAME)


@pytest.fixture(scope="session")
def _scanned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = begin(tmp_path_factory.mktemp("scanned") / NAME)
    assert main(["scan", str(folder), str(photo(0)), str(photo(3)), "--jobs", "1"]) == 0
    known = (folder / "photos.csv").read_text(encoding="utf-8")
    head, *estimates = PLAN[2].read_text(encoding="utf-8").splitlines(keepends=True)
    own = [line for line in estimates if line.split(",")[2] in known]
    (folder / "estimates.csv").write_text(head + "".join(own), encoding="utf-8")
    return folder


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
