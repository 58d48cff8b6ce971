"""What a report tells, as the stages before found it; the sections put it into words and tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from colscan.growth.compare import Comparison
from colscan.growth.crop import Yields
from colscan.growth.curve import BagFit
from colscan.growth.deviations import Deviation
from colscan.growth.model import BagStatus
from colscan.growth.next_run import NextRun
from colscan.growth.outcomes import Outcome
from colscan.growth.risk import RiskReport
from colscan.present.report.blocks import Picture, Strip
from colscan.trial.model import Trial


@dataclass(frozen=True, slots=True, kw_only=True)
class BagPictures:
    """The pictures of one bag over time, and how many photos of it aren't shown."""

    pictures: tuple[Picture, ...]
    not_shown: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Versions:
    """What the numbers were made from and with.

    Parameters
    ----------
    programs : mapping of str to str
        Versions by name of program or library.
    methods : mapping of str to int
        How many scores each version of the scoring method made.
    files : mapping of str to str
        SHA-256 of each of the trial's files.
    """

    programs: Mapping[str, str]
    methods: Mapping[str, int]
    files: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReportContent:
    """All that a report tells.

    Parameters
    ----------
    trial : Trial
        The plan.
    now : datetime
        As of when, aware.
    interim : bool
        Whether the trial is still running.
    statuses, outcomes : tuple
        Where the bags stand, and what became of them.
    pictures : mapping of str to BagPictures
        By bag.
    photos_gone : tuple of str
        Photos that could not be shown: their kept files are gone or damaged.
    by_level : tuple of Strip
        Bags of one age side by side, a strip a strain; empty without a photo.
    charts : mapping of str to bytes
        SVG files by what they show, as `colscan chart --kind` names it; those that the data carry.
    fits : tuple of BagFit
        The bags' curves.
    comparison, risk, yields
        The treatments held against each other, what was lost, what was harvested; or a sentence why there
        is no such answer.
    deviations, unsaid, next_run
        What was otherwise than planned, what can't be said, and what to run next.
    versions : Versions
        Of the data, the method and the programs.
    """

    trial: Trial
    now: datetime
    interim: bool
    statuses: tuple[BagStatus, ...]
    outcomes: tuple[Outcome, ...]
    pictures: Mapping[str, BagPictures]
    photos_gone: tuple[str, ...]
    by_level: tuple[Strip, ...]
    charts: Mapping[str, bytes]
    fits: tuple[BagFit, ...]
    comparison: Comparison | str
    risk: RiskReport | str
    yields: Yields | str
    deviations: tuple[Deviation, ...]
    unsaid: tuple[str, ...]
    next_run: NextRun
    versions: Versions
