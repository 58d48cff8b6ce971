"""A photo placed in a trial's time before its pixels are looked at, or refused."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path

from colscan.errors import UndatedError
from colscan.photo import PhotoRef, read_ref
from colscan.trial.model import Trial


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What is said of a photo beside its file: what it was called, and when it was taken if that was said."""

    name: str
    taken_at: datetime | None


def place_photo(path: Path, trial: Trial, said: Said) -> PhotoRef:
    """Return which photo a file is; no earlier than the trial's first bag.

    Parameters
    ----------
    path : Path
        The file.
    trial : Trial
        The plan.
    said : Said
        What is said of it.

    Raises
    ------
    PhotoError
        When it can't be read, is no photo, is too large or too small.
    UndatedError
        When its time is unknown, or from before the first inoculation.
    """
    first = min(bag.inoculated_at for bag in trial.bags)
    limit = trial.limits.max_photo_megapixels
    ref = read_ref(
        path,
        max_megapixels=limit,
        zone=trial.zone,
        not_before=first,
        taken_at=said.taken_at,
        name=said.name,
    )
    if ref.taken_at < first:
        raise too_early(ref, "the first bag", first, trial.zone)
    return ref


def too_early(ref: PhotoRef, bag: str, inoculated_at: datetime, zone: tzinfo) -> UndatedError:
    """Return the error of a photo from before a bag was inoculated.

    Parameters
    ----------
    ref : PhotoRef
        The photo.
    bag : str
        The bag, as the sentence names it.
    inoculated_at : datetime
        Its day 0.
    zone : tzinfo
        The trial's.
    """
    source = "as said" if ref.taken_at_from == "option" else f"from {ref.taken_at_from}"
    msg = (
        f"{ref.name}: was taken {ref.taken_at.astimezone(zone):%Y-%m-%d %H:%M} ({source}), "
        f"before {bag} was inoculated ({inoculated_at.astimezone(zone):%Y-%m-%d %H:%M})."
    )
    return UndatedError(msg, "Correct inoculated_at in bags.csv, or give the right time with --taken-at.")
