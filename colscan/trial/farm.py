"""A farm: a folder that is no trial but holds some, each in a folder of its own."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from colscan.trial.model import Trial
from colscan.trial.reading import find_trials, load_trial


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmTrial:
    """One trial of a farm.

    Parameters
    ----------
    folder : Path
        Its folder.
    trial : Trial
        Its plan.
    """

    folder: Path
    trial: Trial

    @property
    def name(self) -> str:
        """What lines of a farm call it: its folder's name, which no other trial beside it has."""
        return self.folder.name


def load_farm(folder: Path) -> tuple[FarmTrial, ...]:
    """Return the trials in a folder's sub-folders, by name; none when it is a trial itself, or holds none.

    Ended trials are among them: a photo from before their end may come late.

    Parameters
    ----------
    folder : Path
        The farm's folder.

    Raises
    ------
    TrialError
        When the plan of one of them is wrong: with file, line and value.
    """
    return tuple(FarmTrial(folder=path, trial=load_trial(path)) for path in find_trials(folder))
