"""What all tests share."""

import os
from pathlib import Path

# As `run` of the command line has it: read by numpy when it is imported.
os.environ["OPENBLAS_NUM_THREADS"] = "1"
if "PYTEST_XDIST_WORKER" in os.environ:
    # A process a core: threads beside would only wait for each other.
    os.environ["OMP_NUM_THREADS"] = "1"

import pytest
from hypothesis import settings

# A machine that has other work, or stands still for a while, fails no test.
settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")

ROOT = Path(__file__).parent.parent


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
