"""How what is wrong with a plan is put together into one error."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from colscan.errors import Problem, TrialError

MOST_SHOWN = 5


def raise_problems(problems: Sequence[Problem]) -> None:
    """Raise what is wrong as one error that shows the first few; without problems do nothing.

    Raises
    ------
    TrialError
        When there are problems.
    """
    if not problems:
        return
    if len(problems) == 1:
        msg = f"{problems[0].source}: {problems[0].message}"
        raise TrialError(msg, problems[0].hint)
    shown = problems[:MOST_SHOWN]
    listed = "\n".join(f"  {p.source}: {p.message}\n    {p.hint}" for p in shown)
    rest = len(problems) - len(shown)
    hint = f"There are {rest} more; correct these first." if rest else "Correct these lines and try again."
    msg = f"{len(problems)} things are wrong:\n{listed}"
    raise TrialError(msg, hint)


def read_plan_file(path: Path) -> bytes:
    """Return the bytes of a file of the plan.

    Raises
    ------
    TrialError
        When it can't be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError:
        msg = f"{path}: there is no such file"
        raise TrialError(msg, "Look at the name, or put the file there.") from None
    except OSError as error:
        msg = f"{path}: can't be read ({error.strerror})"
        raise TrialError(msg, "Check its permissions, or close the program that holds it.") from error


def decode_plan_file(raw: bytes, source: str) -> str:
    """Return the text of a file of the plan, without byte order mark.

    Raises
    ------
    TrialError
        When it isn't UTF-8.
    """
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        msg = f"{source}:{line}: is not UTF-8 text"
        raise TrialError(msg, "Save the file as UTF-8 (CSV UTF-8 in a spreadsheet).") from None
