"""Bytes onto the disk: in one go, and a whole file or none."""

from __future__ import annotations

import errno
import os
import shutil
import threading
from contextlib import suppress
from pathlib import Path


def write_bytes(path: Path, data: bytes, how: int, *, lasting: bool = True) -> None:
    """Write bytes in one go, opened with `os.O_APPEND` or `os.O_TRUNC`, and see them on the disk.

    Parameters
    ----------
    path : Path
        The file, made if need be.
    data : bytes
        What to write.
    how : int
        The flag.
    lasting : bool
        Whether to wait until the disk has them: a power cut takes no more than what can be made again.

    Raises
    ------
    OSError
        When not all of them could be written.
    """
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | getattr(os, "O_BINARY", 0) | how, 0o666)
    try:
        if os.write(descriptor, data) < len(data):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
        if lasting:
            os.fsync(descriptor)
    except OSError as error:
        error.filename = error.filename or str(path)
        raise
    finally:
        os.close(descriptor)


def sync_folder(folder: Path) -> None:
    """Make a new name last through a power cut; systems that can't open folders do without."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def replace_file(path: Path, data: bytes, *, lasting: bool = True) -> None:
    """Put new bytes in a file's place: a reader sees the old ones or the new ones, never a part.

    Parameters
    ----------
    path : Path
        Where; what was there is replaced, and its permissions stay.
    data : bytes
        Its content.
    lasting : bool
        As `write_bytes` has it.

    Raises
    ------
    OSError
        When they can't be written; the file is as before, or still missing.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}-{threading.get_ident()}.part")
    try:
        write_bytes(part, data, os.O_TRUNC, lasting=lasting)
        if path.exists():
            shutil.copymode(path, part)
        part.replace(path)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    if lasting:
        sync_folder(path.parent)
