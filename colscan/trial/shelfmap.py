"""shelfmap.toml: on one photo of each shelf, where the bags without a card stand."""

from __future__ import annotations

import json
import os
import tomllib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from colscan.errors import TrialError

FILE = "shelfmap.toml"
_HEAD = """\
# Where the bags without a card stand: for each shelf one photo, and each bag's outline in it
# (x y x y ..., px of the photo held upright). Made by `colscan map`; later photos are laid onto it.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a bag stands.

    Parameters
    ----------
    bag : str
        Its code.
    outline_px : tuple of (float, float)
        Its face's polygon in the mapped photo.
    """

    bag: str
    outline_px: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfMap:
    """The map of one shelf.

    Parameters
    ----------
    shelf : str
        Its name.
    photo, photo_sha256 : str
        The mapped photo.
    width_px, height_px : int
        Its size.
    places : tuple of Place
        The bags on it.
    """

    shelf: str
    photo: str
    photo_sha256: str
    width_px: int
    height_px: int
    places: tuple[Place, ...]


def read_shelfmaps(folder: Path) -> tuple[ShelfMap, ...]:
    """The maps of a trial's shelves; none when there is no shelfmap.toml.

    Raises
    ------
    TrialError
        When the file can't be read or a map in it is wrong.
    """
    path = folder / FILE
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return ()
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise _wrong(path, str(error)) from error
    maps = tuple(_read_map(path, entry) for entry in _list(document, "map", path))
    shelves = [one.shelf for one in maps]
    placed = [(one.shelf, place.bag) for one in maps for place in one.places]
    for what, names in (("shelf", shelves), ("bag", [bag for _, bag in placed])):
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise _wrong(path, f"{what} {twice[0]!r} stands in it twice")
    return maps


def write_shelfmap(folder: Path, made: ShelfMap) -> None:
    """Keep a map in place of its shelf's earlier one; its bags leave the maps of other shelves.

    Raises
    ------
    TrialError
        When shelfmap.toml is wrong or can't be written.
    """
    here = {place.bag for place in made.places}
    maps = [one for one in read_shelfmaps(folder) if one.shelf != made.shelf]
    text = _HEAD + "".join(_shown(one, without=here) for one in maps) + _shown(made, without=set())
    path = folder / FILE
    part = path.with_name(f".{FILE}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        msg = f"{path}: can't be written ({error.strerror})."
        raise TrialError(msg, "Make room on the disk, or make the trial's folder writable.") from error


def _shown(one: ShelfMap, *, without: set[str]) -> str:
    places = [place for place in one.places if place.bag not in without]
    lines = [
        "\n[[map]]",
        # A JSON string is a TOML string.
        *(f"{name} = {json.dumps(getattr(one, name))}" for name in ("shelf", "photo", "photo_sha256")),
        f"width_px = {one.width_px}",
        f"height_px = {one.height_px}",
    ]
    for place in places:
        corners = ", ".join(f"{x:.1f}, {y:.1f}" for x, y in place.outline_px)
        lines += ["", "[[map.place]]", f"bag = {json.dumps(place.bag)}", f"outline_px = [{corners}]"]
    return "\n".join(lines) + "\n"


def _read_map(path: Path, entry: dict[str, object]) -> ShelfMap:
    known = {"shelf", "photo", "photo_sha256", "width_px", "height_px", "place"}
    for key in entry.keys() - known:
        raise _wrong(path, f"the key {key!r} is not known in a map")
    return ShelfMap(
        shelf=_text(path, entry, "shelf"),
        photo=_text(path, entry, "photo"),
        photo_sha256=_text(path, entry, "photo_sha256"),
        width_px=_size(path, entry, "width_px"),
        height_px=_size(path, entry, "height_px"),
        places=tuple(_read_place(path, place) for place in _list(entry, "place", path)),
    )


def _read_place(path: Path, entry: dict[str, object]) -> Place:
    bag, numbers = _text(path, entry, "bag"), entry.get("outline_px")
    fine = isinstance(numbers, list) and all(type(x) in (int, float) for x in numbers)
    if not (fine and isinstance(numbers, list) and len(numbers) >= 6 and len(numbers) % 2 == 0):
        raise _wrong(path, f"bag {bag!r}: outline_px is no polygon x, y, x, y, ... of three corners or more")
    return Place(bag=bag, outline_px=tuple(zip(numbers[::2], numbers[1::2], strict=True)))


def _list(entry: dict[str, object], key: str, path: Path) -> list[dict[str, object]]:
    found = entry.get(key, [])
    if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
        raise _wrong(path, f"{key} is no list of tables ([[{key}]])")
    return found


def _text(path: Path, entry: dict[str, object], key: str) -> str:
    found = entry.get(key)
    if not isinstance(found, str) or not found:
        raise _wrong(path, f"a map or place has no {key}")
    return found


def _size(path: Path, entry: dict[str, object], key: str) -> int:
    found = entry.get(key)
    if type(found) is not int or found <= 0:
        raise _wrong(path, f"{key} is no size in px: {found!r}")
    return found


def _wrong(path: Path, what: str) -> TrialError:
    return TrialError(f"{path}: {what}.", "Correct it, or make the map again with: colscan map")
