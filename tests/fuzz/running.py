"""Commands run in this process, their faults raised instead of told."""

from __future__ import annotations

import contextlib
import io
import os

from colscan.app.cli.main import main

os.environ["COLSCAN_TRACEBACK"] = "1"


def run(*words: str) -> str:
    """Return what a command prints on stdout; what it refuses it has told."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        main(list(words))
    return out.getvalue()
