"""Ctrl-C in the command's first moments."""

from __future__ import annotations

import subprocess
import sys

import pytest

INTERRUPTED = """
import signal, sys


class Finder:
    @staticmethod
    def find_spec(name, path=None, target=None):
        if name == sys.argv[1]:
            sys.meta_path.remove(Finder)
            signal.raise_signal(signal.SIGINT)


sys.meta_path.insert(0, Finder)
sys.argv[2:] = ["--version"]
from colscan.app.start import run

run()
"""


@pytest.mark.parametrize("module", ["colscan.app.cli", "click", "colscan.errors", "colscan.app.cli.main"])
def test_ctrl_c_while_it_starts(module: str) -> None:
    """While any of its modules is imported: 130 in a line, no traceback."""
    words = [sys.executable, "-c", INTERRUPTED, module]
    ended = subprocess.run(words, capture_output=True, text=True, check=False)
    assert ended.returncode == 130
    assert ended.stderr == "colscan: stopped before it began\n"
    assert ended.stdout == ""


def test_the_command_runs() -> None:
    """Undisturbed it is the command."""
    words = [sys.executable, "-c", "from colscan.app.start import run; run()", "--version"]
    ended = subprocess.run(words, capture_output=True, text=True, check=True)
    assert ended.stdout.startswith("colscan, version ")
