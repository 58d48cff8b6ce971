"""What all tests share."""

import gc
import os
import shutil
from collections.abc import Callable
from pathlib import Path

# As `run` of the command line has it: read by numpy when it is imported.
os.environ["OPENBLAS_NUM_THREADS"] = "1"
if "PYTEST_XDIST_WORKER" in os.environ:
    # A process a core: threads beside would only wait for each other.
    os.environ["OMP_NUM_THREADS"] = "1"

import pytest
from filelock import FileLock
from hypothesis import settings

# A machine that has other work, or stands still for a while, fails no test.
settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")

# Thousands of tests and all libraries are many objects to go through for those that are no longer used.
gc.set_threshold(20_000, 10, 10)

ROOT = Path(__file__).parent.parent


def pytest_collection_finish() -> None:
    """Tests and libraries stay: from here on they are passed over."""
    gc.freeze()


@pytest.fixture(scope="session")
def for_all(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that all processes of this run of the tests have in common."""
    own = tmp_path_factory.getbasetemp()
    folder = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "for-all"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def made_once(for_all: Path) -> Callable[[str, Callable[[Path], object]], Path]:
    """Return a function that has a folder of a name filled by the first process that asks, for all."""

    def make_once(name: str, fill: Callable[[Path], object]) -> Path:
        with FileLock(for_all / f"{name}.lock"):
            if not (for_all / name).exists():
                begun = for_all / f"{name}-begun"
                shutil.rmtree(begun, ignore_errors=True)
                begun.mkdir()
                fill(begun)
                begun.rename(for_all / name)
        return for_all / name

    return make_once


@pytest.fixture(scope="session")
def _scanned(made_once: Callable[[str, Callable[[Path], object]], Path]) -> Path:
    from demo_trial import NAME, scan_two  # heavy, and most tests do without

    return made_once("scanned", lambda folder: scan_two(folder / NAME)) / NAME


@pytest.fixture(scope="session")
def bench() -> Path:
    """The folder of rendered shelf photos with truth; skips when it isn't there."""
    return _outside("COLSCAN_BENCH", "bench")


@pytest.fixture(scope="session")
def real_photos() -> Path:
    """The folder of real photographs; skips when it isn't there."""
    return _outside("COLSCAN_REAL", "real")


def _outside(variable: str, name: str) -> Path:
    folder = Path(os.environ.get(variable, ROOT.parent / "shared" / name))
    if not folder.is_dir():
        pytest.skip(f"{folder} isn't there; set {variable}")
    return folder
