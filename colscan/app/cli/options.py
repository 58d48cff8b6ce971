"""Arguments and options that several commands share."""

from __future__ import annotations

import math
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from colscan.errors import TrialError

if TYPE_CHECKING:
    from colscan.present import Screen
    from colscan.trial.model import Trial

F = TypeVar("F", bound=Callable[..., Any])
FORMATS = ("table", "csv", "json")
NARROWEST, WIDEST = 60, 110
"""Columns between which a table follows its terminal: less can't hold it, more is hard to read across."""


class _TrialDir(click.Path):
    """A folder; an empty text, which `Path` takes for the current one, is refused."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if value == "":
            msg = "TRIAL_DIR is empty, as a shell variable is that isn't set."
            raise TrialError(msg, "Give the trial's folder; the current one is called . (a full stop).")
        return super().convert(value, param, ctx)


class FiniteRange(click.FloatRange):
    """A number in a range; `nan`, which is neither below nor above it, is refused."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number that a text is."""
        _need_decimal(self, value, param, ctx)
        return super().convert(value, param, ctx)


class Number(click.types.FloatParamType):
    """A number, whose bounds are checked elsewhere; `nan` is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number that a text is."""
        _need_decimal(self, value, param, ctx)
        return super().convert(value, param, ctx)


class WholeRange(click.IntRange):
    """A whole number in a range."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number that a text is."""
        try:
            int(value)
        except ValueError:
            self.fail(f"{value!r} is not a whole number.", param, ctx)
        return super().convert(value, param, ctx)


def _need_decimal(
    kind: click.ParamType[Any], value: Any, param: click.Parameter | None, ctx: click.Context | None
) -> None:
    """Refuse in plain words, before click does in its own, what is no number, or none that ends."""
    try:
        is_number = math.isfinite(float(value))
    except ValueError:
        is_number = False
    if not is_number:
        kind.fail(f"{value!r} is not a number; decimals are written with a point.", param, ctx)


def trial_dir_argument(command: F) -> F:
    """Give a command its first argument, the trial's folder, as a `Path`."""
    return click.argument("trial_dir", metavar="TRIAL_DIR", type=_TrialDir(path_type=Path))(command)


def optional_trial_dir_argument(command: F) -> F:
    """Give a command a trial's folder as its first argument, that may be left out: `Path` or None."""
    folder = _TrialDir(path_type=Path)
    return click.argument("trial_dir", metavar="[TRIAL_DIR]", required=False, type=folder)(command)


def more_trial_dirs_argument(command: F) -> F:
    """Give a command further trials' folders after its first: `more`, a tuple of `Path`."""
    folder = _TrialDir(path_type=Path)
    return click.argument("more", metavar="[MORE...]", nargs=-1, type=folder)(command)


def format_option(command: F) -> F:
    """Give a command `--format`, how its rows are printed on stdout."""
    return click.option(
        "--format",
        "output_format",
        type=click.Choice(FORMATS),
        default="table",
        show_default=True,
        help="How rows are printed.",
    )(command)


def base_option(command: F) -> F:
    """Give a command `--base`, what a level is a percentage of; None when it isn't given."""

    def said(context: click.Context, parameter: click.Parameter, word: str | None) -> str | None:
        from colscan.trial.recipe import Base

        return None if word is None else Base[word.upper()].value

    return click.option(
        "--base",
        type=click.Choice(("main", "dry")),
        callback=said,
        help="What a level is a percentage of: the main substrate as weighed (main, the default), or all dry"
        " matter, oven-dry (dry).",
    )(command)


def screen_of_stdout() -> Screen:
    """Return what tables are shown on: a terminal of its width, or a plain pipe.

    NO_COLOR (no-color.org) and a terminal that calls itself dumb mean plain letters.
    """
    from colscan.present import Screen

    if not sys.stdout.isatty():
        return Screen()
    width = min(WIDEST, max(NARROWEST, shutil.get_terminal_size().columns))
    return Screen(width=width, bold=not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb")


def jobs_option(command: F) -> F:
    """Give a command ``--jobs``: how many processes measure photos."""
    return click.option(
        "-j",
        "--jobs",
        metavar="N",
        type=WholeRange(1, 64),
        default=lambda: os.cpu_count() or 1,
        show_default="one a core",
        help="How many processes measure photos.",
    )(command)


def cluster_option(command: F) -> F:
    """Give a command ``--cluster``: the address of a Dask scheduler."""
    told = "Let a Dask cluster measure: its scheduler's address."
    return click.option("--cluster", metavar="ADDRESS", help=told)(command)


def check_cluster(cluster: str | None) -> None:
    """Refuse (`TrialError`) `--cluster` where the command line has `--jobs` too."""
    source = click.get_current_context().get_parameter_source("jobs")
    if cluster is not None and source is click.core.ParameterSource.COMMANDLINE:
        msg = "--jobs is for processes of this machine, and --cluster has others measure."
        raise TrialError(msg, "Give one of the two; how many measure there, each dask worker was told.")


def has_shelf(trial: Trial, shelf: str | None) -> bool:
    """Whether photos may be of a shelf; a trial that names none takes any."""
    return shelf is None or not trial.shelf_names or shelf in trial.shelf_names


def check_shelf(trial: Trial, shelf: str | None) -> None:
    """Refuse (`TrialError`) a shelf that the trial does not have."""
    if not has_shelf(trial, shelf):
        msg = f"--shelf {shelf!r} is no shelf of the trial {trial.name}."
        raise TrialError(msg, f"Its shelves are: {', '.join(sorted(trial.shelf_names))}.")
