"""Every error that the code raises on purpose, read off its source: what it says and what to do next."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from colscan import errors
from colscan.errors import ColscanError

CODE = Path(errors.__file__).parent
KINDS = {
    name: kind
    for name, kind in vars(errors).items()
    if isinstance(kind, type) and issubclass(kind, ColscanError)
}
VALUE = "…"
"""Stands where the error names a value."""


@dataclass(frozen=True, slots=True)
class Told:
    """An error: its class, its sentence and its hint, with `VALUE` for what differs."""

    kind: type[ColscanError]
    message: str
    hint: str


@cache
def all_errors() -> tuple[Told, ...]:
    """All errors, by exit code and then in the order of their words; each once."""
    found = {told for path in CODE.rglob("*.py") for told in _errors_in(ast.parse(path.read_text("utf-8")))}
    return tuple(sorted(found, key=lambda told: (told.kind.exit_code, told.message.lower(), told.hint)))


def _errors_in(module: ast.Module) -> Iterator[Told]:
    constants = _assigned(module.body)
    for function in (node for node in ast.walk(module) if isinstance(node, ast.FunctionDef)):
        known = constants | _assigned(function.body)
        # An error belongs to its innermost function alone, whose names it uses.
        for call in _calls(function):
            told = _told(call, known | _assigned_before(function, call))
            if told and told.message.strip(f"{VALUE}.: "):
                yield told


def _calls(function: ast.FunctionDef) -> Iterator[ast.Call]:
    within = [
        node for node in ast.walk(function) if isinstance(node, ast.FunctionDef) and node is not function
    ]
    inner = {id(one) for node in within for one in ast.walk(node)}
    for node in ast.walk(function):
        if id(node) not in inner and isinstance(node, ast.Call) and _is_error(node.func):
            yield node


def _is_error(called: ast.expr) -> bool:
    return isinstance(called, ast.Name) and called.id in KINDS


def _told(call: ast.Call, known: dict[str, ast.expr]) -> Told | None:
    assert isinstance(call.func, ast.Name)
    if len(call.args) != 2:
        return None
    message, hint = (" ".join(_words(argument, known).split()) for argument in call.args)
    return Told(KINDS[call.func.id], message, hint)


def _assigned(body: list[ast.stmt]) -> dict[str, ast.expr]:
    return {name: value for statement in body for name, value in _names(statement)}


def _assigned_before(function: ast.FunctionDef, call: ast.Call) -> dict[str, ast.expr]:
    """What names of a function hold at a line of it, by the assignment above that is nearest."""
    above = [node for node in ast.walk(function) if isinstance(node, ast.stmt) and node.lineno < call.lineno]
    return _assigned(sorted(above, key=lambda node: node.lineno))


def _names(statement: ast.stmt) -> Iterator[tuple[str, ast.expr]]:
    if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name):
        yield statement.targets[0].id, statement.value


def _words(node: ast.expr, known: dict[str, ast.expr], deep: int = 4) -> str:
    """The text that an expression makes, as far as its source tells."""
    if deep == 0:
        return VALUE
    match node:
        case ast.Constant(value=str(text)):
            return text
        case ast.JoinedStr(values=values):
            return "".join(_words(value, known, deep) for value in values)
        case ast.FormattedValue(value=ast.Name() as name) if name.id.isupper() or name.id in ("hint", "how"):
            return _words(name, known, deep - 1)
        case ast.BinOp(left=left, op=ast.Add(), right=right):
            return _words(left, known, deep) + _words(right, known, deep)
        case ast.Name(id=name) if name in known:
            return _words(known[name], known, deep - 1)
    return VALUE
