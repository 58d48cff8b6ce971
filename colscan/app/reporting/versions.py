"""What a trial's numbers were made from and with."""

from __future__ import annotations

import hashlib
import platform
from collections import Counter
from importlib.metadata import version
from pathlib import Path

from colscan import __version__
from colscan.ledger import Ledger
from colscan.ledger.columns import LEDGER_TABLES
from colscan.present.report.content import Versions
from colscan.trial.model import PLAN_FILE, Bag

_LIBRARIES = ("numpy", "scipy", "opencv-python-headless", "pillow", "matplotlib")


def read_versions(trial_dir: Path, ledger: Ledger) -> Versions:
    """Return the versions of programs, methods and files.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    ledger : Ledger
        Its rows.
    """
    names = (PLAN_FILE, Bag.FILE, *(table.FILE for table in LEDGER_TABLES))
    paths = [trial_dir / name for name in names]
    return Versions(
        programs={
            "colscan": __version__,
            "Python": platform.python_version(),
            **{name: version(name) for name in _LIBRARIES},
        },
        methods=dict(sorted(Counter(row.method for row in ledger.scores).items())),
        files={path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in paths if path.is_file()},
    )
