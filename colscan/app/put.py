"""Writing what can be made again: pictures, charts, caches."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from colscan.errors import LedgerError, TrialError

if TYPE_CHECKING:
    from colscan.present.saving import ChartFiles

CHART_SUFFIXES = (".png", ".svg")


def put_file(path: Path, data: bytes) -> None:
    """Put a file in place whole or not at all; its folder is made if need be.

    Parameters
    ----------
    path : Path
        Where; what was there is replaced.
    data : bytes
        Its content.

    Raises
    ------
    OSError
        When it can't be written; what was there is as before.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(data)
        part.replace(path)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise


def put_chart(files: ChartFiles, stem: Path) -> tuple[Path, ...]:
    """Put a chart in place as PNG and SVG, and return their paths.

    Parameters
    ----------
    files : ChartFiles
        Its bytes.
    stem : Path
        Where, with or without the suffix.

    Raises
    ------
    TrialError
        When the folder isn't there.
    LedgerError
        When it can't be written.
    """
    stem = stem.with_suffix("") if stem.suffix.lower() in CHART_SUFFIXES else stem
    if not stem.parent.is_dir():
        msg = f"--output {stem}: there is no folder {stem.parent}."
        raise TrialError(msg, "Make it first, or give another path.")
    paths = tuple(stem.with_name(stem.name + suffix) for suffix in CHART_SUFFIXES)
    try:
        for path, data in zip(paths, (files.png, files.svg), strict=True):
            put_file(path, data)
    except OSError as error:
        msg = f"{stem}: the chart can't be written ({error.strerror})."
        raise LedgerError(msg, "Free some space or allow writing there, or give --output PATH.") from error
    return paths
