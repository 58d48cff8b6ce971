"""What all tests of pages share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from pages import compiled_once


@pytest.fixture(scope="session", autouse=True)
def _compiled(for_all: Path) -> Iterator[None]:
    with compiled_once(for_all / "templates"):
        yield
