"""What can go wrong, and the exit code it ends with.

::

    ColscanError
    ├── TrialError      2   trial.toml, bags.csv or an option is wrong
    │   └── ClusterError    the cluster that measures can't be used
    │       └── ClusterLostError    5   it was lost half-way; what was recorded stays
    ├── PhotoError      3   a photo can't be read or placed in time
    │   └── UndatedError    its time is unknown or can't be right: who took it can say it
    ├── LedgerError     4   the ledger can't be read or written
    └── AnalysisError   6   the data don't carry the answer asked for

An error is raised when what was asked for can't be done. Doubtful data is no
error: it becomes a `Problem` (of a file) or a flag (of a score).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class ExitCode(IntEnum):
    """How the `colscan` command ends."""

    DONE = 0
    CRASH = 1
    TRIAL = 2
    PHOTO = 3
    LEDGER = 4
    SOME_PHOTOS_FAILED = 5
    ANALYSIS = 6
    INTERRUPTED = 130


class ColscanError(Exception):
    """Base of all errors that colscan raises on purpose.

    Parameters
    ----------
    message : str
        What is wrong and which value, in one sentence.
    hint : str
        What to do next.
    """

    exit_code = ExitCode.CRASH

    def __init__(self, message: str, hint: str) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message}\n  {self.hint}"

    def __reduce__(self) -> tuple[type[ColscanError], tuple[str, str]]:
        # Exceptions cross process borders; the default would pass one argument.
        return type(self), (self.message, self.hint)


class TrialError(ColscanError):
    """A trial's plan (trial.toml, bags.csv) or an option is wrong."""

    exit_code = ExitCode.TRIAL


class ClusterError(TrialError):
    """The cluster that an option names can't be used."""


class ClusterLostError(ClusterError):
    """The cluster was lost half-way; photos recorded before stay."""

    exit_code = ExitCode.SOME_PHOTOS_FAILED


class PhotoError(ColscanError):
    """A photo can't be read, or not placed in time."""

    exit_code = ExitCode.PHOTO


class UndatedError(PhotoError):
    """A photo's time is unknown or can't be right; it can be used once somebody says when it was taken."""


class LedgerError(ColscanError):
    """The ledger can't be read or written."""

    exit_code = ExitCode.LEDGER


class AnalysisError(ColscanError):
    """The data don't carry the answer that was asked for."""

    exit_code = ExitCode.ANALYSIS


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing that is wrong in a file, as data.

    Parameters
    ----------
    source : str
        Where: ``file:line``, or the file alone.
    message : str
        What is wrong and which value.
    hint : str
        What to do next.
    """

    source: str
    message: str
    hint: str

    def __str__(self) -> str:
        return f"{self.source}: {self.message}\n  {self.hint}"
