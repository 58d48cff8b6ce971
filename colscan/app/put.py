"""Writing what can be made again: pictures, charts, caches."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colscan.disk import replace_file
from colscan.errors import LedgerError, TrialError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from colscan.present.saving import ChartFiles

# What is kept in many small arrays is read forty times as quickly so as from an archive of numpy's.
_ALIGNED_BYTES = 16
_DIGEST_BYTES = hashlib.sha256().digest_size
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
    path.parent.mkdir(parents=True, exist_ok=True)
    replace_file(path, data, lasting=False)


def keep_bytes(path: Path, data: bytes) -> bool:
    """Keep what can be made again; return False where that can't be done.

    Its hash stands behind its end, so that what is no longer what was written is told before it is read.
    """
    with suppress(OSError):
        put_file(path, data + hashlib.sha256(data).digest())
        return True
    return False


def kept_bytes(path: Path) -> bytes | None:
    """Return what was kept; None when there is nothing, or when it isn't what was written."""
    try:
        raw = path.read_bytes()
    except OSError:
        return None
    data, digest = raw[:-_DIGEST_BYTES], raw[-_DIGEST_BYTES:]
    return data if hashlib.sha256(data).digest() == digest else None


def keep_arrays(path: Path, arrays: Mapping[str, NDArray[Any]]) -> bool:
    """Keep named arrays of numbers or texts as `keep_bytes` does: a line that lists them, then values."""
    listed = [[name, array.dtype.str, array.shape] for name, array in arrays.items()]
    parts = [json.dumps(listed).encode() + b"\n", *(array.tobytes() for array in arrays.values())]
    return keep_bytes(path, b"".join(part + bytes(-len(part) % _ALIGNED_BYTES) for part in parts))


def kept_arrays(path: Path) -> dict[str, NDArray[Any]] | None:
    """Return the arrays that were kept, to be read only; None as `kept_bytes`."""
    import numpy as np

    data = kept_bytes(path)
    if data is None:
        return None
    at = data.index(b"\n") + 1
    arrays = {}
    for name, dtype, shape in json.loads(data[:at]):
        at += -at % _ALIGNED_BYTES
        arrays[name] = np.ndarray(shape, dtype, data, at)
        at += arrays[name].nbytes
    return arrays


def output_path(given: Path | None, default: Path) -> Path:
    """Return where a file goes: as --output says, else where it goes without it.

    Parameters
    ----------
    given : Path or None
        What --output says; of a chart it may lack the suffix.
    default : Path
        Where else, in a folder that is there.

    Raises
    ------
    TrialError
        When --output names a folder, or the folder it is in isn't there.
    """
    if given is None:
        return default
    if given.is_dir():
        msg = f"--output {given} is a folder."
        raise TrialError(msg, f"Give the path of a file, like {given / default.name}.")
    if not given.parent.is_dir():
        msg = f"--output {given}: there is no folder {given.parent}."
        raise TrialError(msg, "Make it first, or give another path.")
    return given


def chart_paths(path: Path) -> tuple[Path, Path]:
    """Return where a chart's PNG and SVG go, by their path with or without the suffix."""
    stem = path.with_suffix("") if path.suffix.lower() in CHART_SUFFIXES else path
    png, svg = (stem.with_name(stem.name + suffix) for suffix in CHART_SUFFIXES)
    return png, svg


def put_chart(files: ChartFiles, paths: tuple[Path, Path]) -> None:
    """Put a chart in place as PNG and SVG, each whole or not at all.

    Parameters
    ----------
    files : ChartFiles
        Its bytes.
    paths : tuple of Path
        Where, as `chart_paths` gives them.

    Raises
    ------
    LedgerError
        When it can't be written.
    """
    try:
        for path, data in zip(paths, (files.png, files.svg), strict=True):
            put_file(path, data)
    except OSError as error:
        msg = f"{paths[0].with_suffix('')}: the chart can't be written ({error.strerror})."
        raise LedgerError(msg, "Free some space or allow writing there, or give --output PATH.") from error
