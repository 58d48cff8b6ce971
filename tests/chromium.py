"""The browser of this machine, for tests of pages: where it is, and flags that keep it quiet."""

from __future__ import annotations

import os
import shutil

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
CHROMEDRIVER = shutil.which("chromedriver")
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync",
)  # fmt: skip


def need(found: object, what: str) -> None:
    """Skip a test for what isn't installed; with COLSCAN_BROWSER=required it fails instead."""
    if found:
        return
    if os.environ.get("COLSCAN_BROWSER") == "required":
        pytest.fail(f"{what} isn't installed, and COLSCAN_BROWSER=required asks for it")
    pytest.skip(f"{what} isn't installed")
