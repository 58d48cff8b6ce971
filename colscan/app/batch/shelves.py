"""How a trial's photos are looked at: how large they may be, and the maps of its shelves."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np

from colscan.app.batch.originals import find_by_hash
from colscan.errors import TrialError
from colscan.locate import MappedShelf, map_shelf
from colscan.photo import load_rgb
from colscan.trial.model import Trial
from colscan.trial.shelfmap import MAP_FILE, ShelfMap, read_shelfmaps


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looking:
    """How a trial's photos are looked at.

    Parameters
    ----------
    max_megapixels : float
        Larger photos are refused.
    shelves : tuple of MappedShelf
        Of the bags without a card.
    made_of : str
        What the shelves depend on, as a hash; empty without a map.
    """

    max_megapixels: float
    shelves: tuple[MappedShelf, ...] = ()
    made_of: str = ""


def look_of(folder: Path, trial: Trial) -> Looking:
    """How the photos of a trial are looked at.

    Raises
    ------
    TrialError
        When shelfmap.toml is wrong, or a mapped photo is gone from the trial's photos/.
    """
    limit = trial.limits.max_photo_megapixels
    maps = read_shelfmaps(folder, bags={bag.bag for bag in trial.bags})
    if not maps:
        return Looking(max_megapixels=limit)
    shelves = tuple(_ready(folder, trial, one) for one in maps)
    return Looking(max_megapixels=limit, shelves=shelves, made_of=_hash(maps))


def _hash(maps: Iterable[ShelfMap]) -> str:
    return hashlib.sha256(repr(tuple(maps)).encode()).hexdigest()


def _ready(folder: Path, trial: Trial, one: ShelfMap) -> MappedShelf:
    path = find_by_hash(folder, one.photo_sha256)
    if path is None:
        msg = f"{folder / MAP_FILE}: the mapped photo of {one.shelf} ({one.photo}) is gone from photos/."
        raise TrialError(msg, "Put it back, or make the map again with: colscan map")
    codes = {bag.bag: bag.key for bag in trial.bags if bag.tag is None}
    places = tuple((codes.get(place.bag), place.outline_px) for place in one.places)
    return _map(_Mapped(sha256=one.photo_sha256, places=places, path=path))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mapped:
    """A mapped photo, wherever it lies, and the places in it by `Bag.key`, None for one of no planned bag."""

    sha256: str
    places: tuple[tuple[int | None, tuple[tuple[float, float], ...]], ...]
    path: Path = field(compare=False)


# Pages and a watched folder scan photo by photo: a map is made ready once, not again for each.
@lru_cache(maxsize=8)
def _map(one: _Mapped) -> MappedShelf:
    outlines = [(key, np.array(outline, np.float64)) for key, outline in one.places]
    return map_shelf(
        load_rgb(one.path, max_megapixels=np.inf),
        [(key, outline) for key, outline in outlines if key is not None],
        [outline for key, outline in outlines if key is None],
    )
