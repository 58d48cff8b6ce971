"""Writing what can be made again: pictures, charts, caches."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path


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
