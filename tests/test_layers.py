"""Imports flow one way: photo, locate, score, ledger, growth, present; app alone composes."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "colscan"
FLOW = ("trial", "photo", "locate", "score", "ledger", "growth", "present", "app")
# Where a third-party module may be imported; elsewhere it is a leak.
HOMES = {
    "click": ("app/cli",),
    "matplotlib": ("present",),
    "cv2": ("photo", "locate", "score", "present"),
    "PIL": ("photo", "present"),
    "filelock": ("ledger",),
    "flask": ("app/web",),
    "werkzeug": ("app/web",),
    "segno": ("app/web",),
    "dask": ("app/batch",),
    "distributed": ("app/batch",),
}
# Pixels never meet the ledger before app brings them together.
APART = {
    "photo": ("trial", "ledger"),
    "locate": ("ledger",),
    "score": ("ledger",),
    "growth": ("photo", "locate", "score"),
}


def violations(path: Path, source: str) -> list[str]:
    """What a module at a path (relative to the package) imports against the flow, a sentence each."""
    own = path.parts[0] if len(path.parts) > 1 else None
    found = []
    for name in imported_names(source):
        top, *rest = name.split(".")
        if top == "colscan" and rest and rest[0] in FLOW:
            if own not in FLOW:
                found.append(f"{path}: the root imports stage {rest[0]}")
            elif FLOW.index(rest[0]) > FLOW.index(own) or rest[0] in APART.get(own, ()):
                found.append(f"{path}: {own} imports {rest[0]}")
        elif top in HOMES and not path.as_posix().startswith(tuple(f"{home}/" for home in HOMES[top])):
            found.append(f"{path}: {top} is imported outside {', '.join(HOMES[top])}")
    return found


def imported_names(source: str) -> list[str]:
    """Every module that a source imports, at any depth, lazily or for types only."""
    names = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            names.append(node.module or "")
            names += [f"{node.module}.{alias.name}" for alias in node.names]
    return names


def test_imports_follow_the_flow() -> None:
    """No module of the package imports against the flow."""
    modules = list(PACKAGE.rglob("*.py"))
    assert len(modules) > 20
    found = [
        line
        for module in modules
        for line in violations(module.relative_to(PACKAGE), module.read_text("utf-8"))
    ]
    assert found == []


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("score/measure.py", "from colscan.ledger import read_ledger"),
        ("photo/load.py", "import colscan.locate"),
        ("growth/series.py", "def late():\n    from colscan.present import draw_chart"),
        ("units.py", "from colscan.trial import load_trial"),
        ("locate/cards.py", "import click"),
        ("growth/series.py", "import cv2"),
        ("ledger/files.py", "from matplotlib.figure import Figure"),
        ("score/measure.py", "from colscan import ledger"),
        ("app/cli/review.py", "def late():\n    from flask import Flask"),
    ],
)
def test_an_import_against_the_flow_is_seen(path: str, source: str) -> None:
    """The check can fail: each of these imports is against the flow."""
    assert violations(Path(path), source)


def test_no_drawer_modules() -> None:
    """No folder or module has a name under which anything could be filed."""
    names = {path.stem for path in PACKAGE.rglob("*") if "__pycache__" not in path.parts}
    assert not names & {"utils", "util", "helpers", "core", "common", "misc"}


def test_modules_stay_small() -> None:
    """No module has 400 lines or more."""
    long = {
        path.name: n
        for path in PACKAGE.rglob("*.py")
        if (n := len(path.read_text("utf-8").splitlines())) >= 400
    }
    assert long == {}
