"""Files that another program holds, as a spreadsheet does on Windows."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def holding(monkeypatch: pytest.MonkeyPatch, *names: str) -> Iterator[None]:
    """Within it, files of these names can be read, but not opened for writing, cut or replaced.

    The system refuses with a sharing violation, which Python gives as PermissionError. Simulated, as
    permissions don't bind root and POSIX knows no such hold.
    """

    def refuse(path: object) -> None:
        if Path(str(path)).name in names:
            text = "The process cannot access the file because it is being used by another process"
            raise PermissionError(errno.EACCES, text, str(path))

    opened, cut, replaced = os.open, os.truncate, os.replace

    def open_(path: object, flags: int, *rest: int, **options: int) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR):
            refuse(path)
        return opened(path, flags, *rest, **options)  # type: ignore[arg-type]

    def truncate(path: object, length: int) -> None:
        refuse(path)
        cut(path, length)  # type: ignore[arg-type]

    def replace(source: object, target: object, **options: int) -> None:
        refuse(target)
        replaced(source, target, **options)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", open_)
        patch.setattr(os, "truncate", truncate)
        patch.setattr(os, "replace", replace)
        yield
