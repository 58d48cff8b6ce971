"""A photo placed in a trial's time before its pixels are looked at, or refused."""

from __future__ import annotations

from datetime import datetime, tzinfo
from pathlib import Path

from colscan.errors import UndatedError
from colscan.photo import PhotoRef, read_ref
from colscan.trial.model import Trial


def place_photo(path: Path, trial: Trial, *, taken_at: datetime | None, name: str) -> PhotoRef:
    """Return which photo a file is; no earlier than the trial's first bag.

    Parameters
    ----------
    path : Path
        The file.
    trial : Trial
        The plan.
    taken_at : datetime or None
        When it was taken, if the user said so.
    name : str
        What the photo was called where it is from.

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
        path, max_megapixels=limit, zone=trial.zone, not_before=first, taken_at=taken_at, name=name
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
