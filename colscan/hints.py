"""What to do next, in a sentence: about a wrong name or cell, or by a command."""

from __future__ import annotations

import difflib
import math
import re
import shlex
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from colscan.tables import Column

_PLAIN_ON_WINDOWS = re.compile(r"[\w.:\\/=+@-]+")


def as_typed(name: Path | str) -> str:
    """Return a path or code as it is typed in a command: in quotes where a shell would take it apart.

    Windows' shells know double quotes alone, and take a backslash for itself.

    Examples
    --------
    >>> f"colscan status {as_typed('my trial')}"
    "colscan status 'my trial'"
    """
    text = str(name)
    if sys.platform == "win32":
        return text if _PLAIN_ON_WINDOWS.fullmatch(text) else '"' + text.replace('"', '\\"') + '"'
    return shlex.quote(text)


def suggest_near(name: str, known: Iterable[str]) -> str:
    """Return ``Did you mean 'x'? `` for the nearest known name, or an empty text.

    Examples
    --------
    >>> suggest_near("horizn", ["horizon", "stalled_days"])
    "Did you mean 'horizon'? "
    """
    near = _find_near(name, known)
    return f"Did you mean {near!r}? " if near else ""


def _find_near(name: str, known: Iterable[str]) -> str | None:
    folded = {k.casefold(): k for k in known}
    near = difflib.get_close_matches(name.casefold(), folded, n=1)
    return folded[near[0]] if near else None


def say_how_to_write(declared: Column) -> str:
    """Return what a cell of this column looks like.

    Parameters
    ----------
    declared : Column
        The column whose cell is wrong.
    """
    if declared.kind == "time":
        return "Write a time with its offset, like 2026-03-02T06:00:00-05:00."
    if declared.kind == "sha256":
        return "Write its letters, 0 to 9 and a to f, as photos.csv has them."
    if declared.kind == "choice":
        return f"Write one of: {', '.join(declared.choices)}."
    if declared.kind == "words":
        return f"Write any of these, with blanks between: {', '.join(declared.choices)}."
    if declared.kind == "points":
        return "Write x y x y ..., numbers with a decimal point and blanks between."
    # A number may be well written and out of range: then what it means says why.
    return f"{_say_number(declared)} {declared.meaning}"


def _say_number(declared: Column) -> str:
    whole = declared.kind == "integer"
    what = "a whole number" if whole else "a number with a decimal point"
    if math.isfinite(declared.low) and math.isfinite(declared.high):
        return f"Write {what}, from {declared.low:g} to {declared.high:g}."
    least = f", {declared.low:g} or more" if math.isfinite(declared.low) else ""
    return f"Write {what}, like {'3' if whole else '12.5'}{least}."


def say_how_to_add(name: str, header: Iterable[str], declared: Mapping[str, Column]) -> str:
    """Return what to do about a column that a header lacks: rename the one that was meant, or add it.

    Parameters
    ----------
    name : str
        The missing column.
    header : iterable of str
        The columns that are there.
    declared : mapping of str to Column
        All columns that the file may have.
    """
    near = _find_near(name, [other for other in header if other not in declared])
    if near:
        return f"There is a column {near!r}: did you mean {name!r}? Then rename it."
    return f"Add it to the first line: {declared[name].meaning}"
