"""A `Trial` to the text of a commented trial.toml, and both files into a folder, wholly or not at all."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
import textwrap
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from colscan import disk
from colscan.errors import LedgerError
from colscan.trial.keys import LIMITS, RECIPE, SHELF, STRAIN, TOP, TREATMENT, Section
from colscan.trial.model import RecipePlan, Trial

_WIDTH = 88
_ABOUT = """\
The plan of this trial; bags.csv beside it lists the bags. What follows a # is a
remark. A key that is not known here is refused with its line, so a slip of the
pen can't go unnoticed. Times look like 2026-03-02T06:00:00-05:00; without the
offset at the end they are in the trial's time zone."""
_EXAMPLE = """\
THE STRAINS, LEVELS AND BAGS ARE AN EXAMPLE. Change them to yours: the codes under
[[strain]], the levels under [[treatment]], then the rows of bags.csv (a bag's
strain and level must stand here). Take out the rows of bags that you don't have."""


def format_plan(trial: Trial, *, example: bool) -> str:
    """Return the text of a trial.toml that says this plan, each key with its meaning.

    Parameters
    ----------
    trial : Trial
        The plan; its bags are not part of this file.
    example : bool
        Whether to say that strains and bags are made up and must be changed.
    """
    blocks = [_remark(_ABOUT)]
    blocks += [_remark(_EXAMPLE)] if example else []
    blocks.append(_format_table(TOP, trial, commented=True))
    blocks.append(_remark("The limits: change what doesn't suit you. A line taken out means the default."))
    blocks.append(_format_table(LIMITS, trial.limits, commented=True))
    blocks += [] if trial.recipe is None else [format_recipe(trial.recipe)]
    repeated: tuple[tuple[Section, Sequence[Any]], ...] = (
        (STRAIN, trial.strains),
        (TREATMENT, trial.treatments),
        (SHELF, trial.shelves),
    )
    for section, values in repeated:
        blocks += [_format_table(section, value, commented=i == 0) for i, value in enumerate(values)]
    return "\n\n".join(blocks) + "\n"


def format_recipe(plan: RecipePlan) -> str:
    """Return a recipe as it stands in trial.toml, each key with its meaning."""
    return _format_table(RECIPE, plan, commented=True)


def _remark(text: str) -> str:
    return "\n".join(f"# {line}" for line in text.split("\n"))


def _format_table(section: Section, values: Any, *, commented: bool) -> str:
    lines = [section.header] if section.name else []
    for name, key in section.keys.items():
        value = getattr(values, name)
        if commented:
            remark = key.meaning + _say_default(values, name)
            lines += [f"# {line}" for line in textwrap.wrap(remark, _WIDTH - 2)]
        lines.append(f"# {name} = {key.example}" if value is None else f"{name} = {format_value(value)}")
    return "\n".join(lines)


def _say_default(values: Any, name: str) -> str:
    default = next(f.default for f in dataclasses.fields(values) if f.name == name)
    is_said = default is not dataclasses.MISSING and default not in (None, "", ())
    return f" Default: {format_value(default)}." if is_said else ""


def format_value(value: Any) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, str):
        # JSON's text in quotes is TOML's, but for the one control character that JSON lets stand.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, tuple):
        return f"[{', '.join(format_value(item) for item in value)}]"
    return str(int(value)) if value == int(value) else repr(value)


def write_files(folder: Path, files: dict[str, bytes]) -> None:
    """Write new files into a folder, which is made if need be; a failure leaves nothing behind.

    Parameters
    ----------
    folder : Path
        Where they go.
    files : dict of bytes
        Content by name below the folder; the last one appears last. None of them may exist.

    Raises
    ------
    LedgerError
        When the folder can't be written to.
    """
    try:
        with contextlib.ExitStack() as undo:
            for parent in dict.fromkeys((folder / name).parent for name in files):
                _make_folder(parent, undo)
            temporary = [
                (_write_temporary(folder / name, raw, undo), folder / name) for name, raw in files.items()
            ]
            for source, target in temporary:
                undo.callback(target.unlink, missing_ok=True)
                source.replace(target)
            undo.pop_all()
    except OSError as error:
        msg = f"{folder}: can't be written ({error.strerror})"
        raise LedgerError(
            msg, "Nothing was made. Check its permissions and the space on the disk."
        ) from error


def _make_folder(folder: Path, undo: contextlib.ExitStack) -> None:
    missing = list(_missing_folders(folder))
    for path in reversed(missing):
        path.mkdir()
        undo.callback(path.rmdir)


def _missing_folders(folder: Path) -> Iterator[Path]:
    while not folder.exists():
        yield folder
        folder = folder.parent


def _write_temporary(target: Path, raw: bytes, undo: contextlib.ExitStack) -> Path:
    path = target.with_name(f".{target.name}.{os.getpid()}.tmp")
    undo.callback(path.unlink, missing_ok=True)
    with path.open("xb") as file:
        file.write(raw)
        file.flush()
        os.fsync(file.fileno())
    return path


def replace_file(path: Path, data: bytes) -> None:
    """Put a file in place whole or not at all; what was there is replaced, with its permissions.

    Raises
    ------
    LedgerError
        When it can't be written; what was there is as before.
    """
    try:
        disk.replace_file(path, data)
    except OSError as error:
        msg = f"{path}: can't be written ({error.strerror})"
        raise LedgerError(msg, "Nothing was changed. Check its permissions and the disk's space.") from error
