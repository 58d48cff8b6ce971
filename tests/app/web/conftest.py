"""What all tests of pages share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from pages import compiled_once


@pytest.fixture(scope="session", autouse=True)
def _compiled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with compiled_once(tmp_path_factory.mktemp("templates")):
        yield
