"""Writing an export's folder, never over files that aren't an earlier export's."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from colscan.app.export.methods import METHODS_FILE, describe_methods
from colscan.app.export.rows import CodebookRow
from colscan.app.export.tables import make_tables
from colscan.app.put import put_file
from colscan.app.reporting.results import find_results
from colscan.app.reporting.versions import read_versions
from colscan.errors import LedgerError, TrialError
from colscan.ledger import read_ledger
from colscan.tables import format_header, format_rows
from colscan.trial import load_trial
from colscan.trial.model import PLAN_FILE

PLAN_COPY = "plan.toml"
"""The plan's name in an export: any folder that holds a trial.toml is a trial, whose cards hang somewhere."""


def export_trial(trial_dir: Path, folder: Path, now: datetime) -> tuple[Path, ...]:
    """Return the paths of a trial's export, all in one folder.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    folder : Path
        Where: a new or empty folder, or one that holds an earlier export and nothing else.
    now : datetime
        When, aware.

    Raises
    ------
    TrialError
        When the plan is wrong or the folder holds other files.
    LedgerError
        When the ledger can't be read or a file can't be written.
    """
    trial, ledger = load_trial(trial_dir), read_ledger(trial_dir)
    results = find_results(trial, ledger, now)
    files = {
        one.row_type.FILE: format_header(one.row_type) + format_rows(one.rows)
        for one in make_tables(trial, ledger, results)
    }
    versions = read_versions(trial_dir, ledger)
    files[PLAN_COPY] = (trial_dir / PLAN_FILE).read_bytes()
    files[METHODS_FILE] = describe_methods(trial, ledger, versions, results).encode()
    _check_free(folder, set(files))
    try:
        for name, data in files.items():
            put_file(folder / name, data)
    except OSError as error:
        msg = f"{folder}: the export can't be written ({error.strerror})."
        raise LedgerError(msg, "Free some space or allow writing there, or give another folder.") from error
    return tuple(folder / name for name in files)


def _check_free(folder: Path, own: set[str]) -> None:
    """Refuse a folder that holds anything but an earlier export, which its codebook tells."""
    if folder.exists() and not folder.is_dir():
        msg = f"{folder}: is a file, not a folder."
        raise TrialError(msg, "Give the name of a new folder.")
    there = {path.name for path in folder.iterdir()} if folder.is_dir() else set()
    strange = sorted(there - own)
    if not strange and there and CodebookRow.FILE not in there:
        strange = sorted(there)
    if strange:
        msg = f"{folder}: holds other files ({', '.join(strange[:3])}{', ...' if len(strange) > 3 else ''})."
        raise TrialError(msg, "Give the name of a new folder: nothing there is overwritten.")
