"""What all tests of pages share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from flask import Flask
from jinja2 import FileSystemBytecodeCache


@pytest.fixture(scope="session", autouse=True)
def _compiled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Compile each template once: every application would do it again, which takes longer than most tests."""
    kept = FileSystemBytecodeCache(str(tmp_path_factory.mktemp("templates")))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Flask, "jinja_options", {"bytecode_cache": kept})
        yield
