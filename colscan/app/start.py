"""Where the `colscan` command begins: ctrl-C while the rest is still imported ends it like any other."""

from __future__ import annotations

import sys


def run() -> None:
    """Run the command line and end the process with its exit code."""
    try:
        from colscan.app.cli.main import run as run_commands
    except KeyboardInterrupt:
        sys.stderr.write("colscan: stopped before it began\n")
        sys.exit(130)  # ExitCode.INTERRUPTED, which may not be imported yet
    run_commands()
