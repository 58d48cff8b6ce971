"""What is held against each input: which errors may come out, where is written, how much memory it takes."""

from __future__ import annotations

import logging
import os
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from colscan.errors import ColscanError

MOST_MB = 1500
"""What a process may take at its peak, interpreter and libraries included."""
_MEMORY = re.compile(r"^Vm(HWM|RSS):\s+(\d+) kB$", re.MULTILINE)
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_CHANGING = frozenset(
    ("os.mkdir", "os.rename", "os.link", "os.symlink", "os.remove", "os.rmdir", "os.truncate", "os.chmod")
)


class Fault(Exception):
    """What an input must never do."""


class Watch(logging.Handler):
    """Sees every file that this process writes, and every fault that a thread logs.

    Parameters
    ----------
    allowed : tuple of Path
        The folders in which may be written.
    outside : Path
        The folder that the trial is in: its names must stay the same.
    """

    def __init__(self, allowed: tuple[Path, ...], outside: Path) -> None:
        super().__init__(logging.ERROR)
        self._allowed = tuple(os.path.realpath(folder) + os.sep for folder in allowed)
        self._outside, self._names = outside, sorted(path.name for path in outside.iterdir())
        self._faults: list[str] = []
        # Opened before files are watched.
        self._forget_peak = os.open("/proc/self/clear_refs", os.O_WRONLY)
        self._at_first_mb = _memory_mb()["RSS"]
        self._grown_mb = 0
        sys.addaudithook(self._see)
        logging.getLogger("colscan").addHandler(self)

    def emit(self, record: logging.LogRecord) -> None:
        """Note what was logged as a fault of ours."""
        self._faults.append(self.format(record))

    def begin(self) -> None:
        """Count memory from here on: what the fuzzer itself has come to hold is no input's."""
        os.write(self._forget_peak, b"5")
        self._grown_mb = _memory_mb()["RSS"] - self._at_first_mb

    def check(self) -> None:
        """Raise what was done wrong since the last time."""
        if (names := sorted(path.name for path in self._outside.iterdir())) != self._names:
            self._faults.append(f"{self._outside} holds {names}, not {self._names}")
        if (peak := _memory_mb()["HWM"] - self._grown_mb) > MOST_MB:
            self._faults.append(f"{peak} MB of memory, more than {MOST_MB}")
        if self._faults:
            raise Fault("\n".join(self._faults))

    def _see(self, event: str, arguments: tuple[Any, ...]) -> None:
        if event == "open":
            path, _, flags = arguments
            paths = [path] if isinstance(flags, int) and flags & _WRITING else []
        else:
            paths = [one for one in arguments if event in _CHANGING]
        for path in paths:
            if isinstance(path, str | bytes):
                one = Path(os.fsdecode(path))
                self._judge(event, str(Path(os.path.realpath(one.parent)) / one.name))

    def _judge(self, event: str, path: str) -> None:
        if not (path + os.sep).startswith(self._allowed) and path != os.devnull:
            self._faults.append(f"{event} {path}")


def _memory_mb() -> dict[str, int]:
    """What this process holds (RSS), and held at most since that was last forgotten (HWM)."""
    found = _MEMORY.findall(Path("/proc/self/status").read_text(encoding="utf-8"))
    return {what: int(kb) // 1024 for what, kb in found}


def watched(target: Callable[[bytes], None], watch: Watch) -> Callable[[bytes], None]:
    """Return a target that raises what an input must never do, and nothing else.

    Parameters
    ----------
    target : callable
        Takes an input.
    watch : Watch
        Asked after each.
    """

    def test_one(data: bytes) -> None:
        watch.begin()
        try:
            target(data)
        except ColscanError as error:
            str(error)
        watch.check()

    return test_one
