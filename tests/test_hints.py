"""What to do next, as it can be typed."""

from __future__ import annotations

import sys

import pytest

from colscan.hints import as_typed


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        (r"C:\grow\hornbeam", r"C:\grow\hornbeam"),
        (r"C:\my trials\hornbeam", r'"C:\my trials\hornbeam"'),
        ("B&B 04", '"B&B 04"'),
        ("B&B", '"B&B"'),
        ("", '""'),
    ],
)
def test_a_command_for_windows_has_double_quotes(
    monkeypatch: pytest.MonkeyPatch, name: str, typed: str
) -> None:
    """Its shells take single ones for part of a name."""
    monkeypatch.setattr(sys, "platform", "win32")
    assert as_typed(name) == typed


@pytest.mark.parametrize(("name", "typed"), [("a/b", "a/b"), ("my trial", "'my trial'"), ("", "''")])
def test_a_command_elsewhere_has_single_quotes(
    monkeypatch: pytest.MonkeyPatch, name: str, typed: str
) -> None:
    """As POSIX shells have it."""
    monkeypatch.setattr(sys, "platform", "linux")
    assert as_typed(name) == typed
