"""The tags in use in the trials next to one: several trials in one folder are one farm."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from colscan import units
from colscan.tables import parse_table
from colscan.trial.keys import parse_time
from colscan.trial.model import PLAN_FILE, Bag
from colscan.trial.zones import check_zone


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveTag:
    """A tag in use on a bag of another trial.

    Parameters
    ----------
    tag : int
        AprilTag id.
    bag : str
        The code of the bag that carries it.
    inoculated_at : datetime
        That bag's day 0.
    trial : str
        The other trial's name.
    folder : Path
        The other trial's folder.
    """

    tag: int
    bag: str
    inoculated_at: datetime
    trial: str
    folder: Path

    def __str__(self) -> str:
        return f"bag {self.bag} of the trial {self.trial!r} in {self.folder}"


def sibling_tags(folder: Path) -> dict[int, LiveTag]:
    """Return the tags in use in the other trials of the parent folder, and where each is.

    A tag that several of them use is that of the first, by folder name.

    Parameters
    ----------
    folder : Path
        A trial's folder; it need not exist yet.
    """
    return {live.tag: live for live in reversed(find_live_tags(folder))}


def find_live_tags(folder: Path) -> tuple[LiveTag, ...]:
    """Return all tags in use in the other trials of the parent folder, by folder name.

    A trial whose `ended_at` hasn't come is running and its tags are live. A sibling whose plan has mistakes
    counts as running, with the bags that can be read in it: its cards hang on the shelf all the same.
    What can't be read at all holds no tags.

    Parameters
    ----------
    folder : Path
        A trial's folder; it need not exist yet.
    """
    own = folder.resolve()
    try:
        others = sorted(path for path in own.parent.iterdir() if not _is_same(path, own))
    except OSError:
        return ()
    return tuple(live for other in others for live in _live_tags(other))


def _is_same(path: Path, own: Path) -> bool:
    """Whether two names are one folder's: a link, or capitals where the file system tells none apart."""
    try:
        return path.samefile(own)
    except OSError:  # one of the two isn't there
        return path == own


def _live_tags(folder: Path) -> list[LiveTag]:
    plan = _read(folder / PLAN_FILE)
    if plan is None:
        return []
    try:
        values = tomllib.loads(plan.decode("utf-8-sig"))
    except (ValueError, RecursionError):  # a running trial with a mistake in its plan
        values = {}
    if _has_ended(values):
        return []
    name = values["name"] if isinstance(values.get("name"), str) else folder.name
    reading = parse_table(_read(folder / Bag.FILE) or b"", Bag, source=Bag.FILE)
    return [
        LiveTag(tag=b.tag, bag=b.bag, inoculated_at=b.inoculated_at, trial=name, folder=folder)
        for b in reading.rows
        if b.tag is not None
    ]


def _has_ended(plan: dict[str, Any]) -> bool:
    """Whether a plan, mistakes and all, says an end that has come."""
    try:
        zone = ZoneInfo(check_zone(str(plan.get("time_zone"))))
        return parse_time(plan.get("ended_at"), zone) <= units.now()
    except ValueError:
        return False


def _read(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None
