"""shelfmap.toml: where each bag without a card stands, per shelf, as the grower confirmed it on one photo."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from colscan.errors import Problem
from colscan.hints import suggest_near
from colscan.trial.lines import KeyPath, find_key_lines
from colscan.trial.problems import decode_plan_file, raise_problems, read_plan_file
from colscan.trial.reading import parse_toml
from colscan.trial.writing import format_value, replace_file
from colscan.units import parse_sha256

MAP_FILE = "shelfmap.toml"
DEFAULT_SHELF = "shelf"
"""What the map of a trial that names no shelf goes by."""
LEAST_CORNERS = 3
_ABOUT = """\
# Where each bag stands: per shelf the photo on which it was confirmed, and each bag's outline there
# (x, y in px from the top left of the upright photo). `colscan map` writes this file.
"""
_TEXTS, _SIZES = ("name", "photo", "photo_sha256"), ("width_px", "height_px")
SHELF_KEYS = {
    "name": "The shelf's name; empty where the trial has but one.",
    "photo": "Name of the mapped photo, as given.",
    "photo_sha256": "SHA-256 of its bytes, lower-case hex; it is kept under photos/.",
    "width_px": "Its width, upright, px.",
    "height_px": "Its height, upright, px.",
    "place": "The bags that stand there, in the grower's order: a table each.",
}
PLACE_KEYS = {
    "bag": "The bag's code, as in bags.csv.",
    "outline_px": f"Its face's outline in the mapped photo: [x, y] in px, {LEAST_CORNERS} corners or more.",
}
"""The keys of each table of the file, with what they mean."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A bag and the outline of its face in the mapped photo, x, y in px, three corners or more."""

    bag: str
    outline_px: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfMap:
    """The places on a shelf.

    Parameters
    ----------
    shelf : str
        The shelf's name; empty where the trial has but one.
    photo, photo_sha256 : str
        Name and hash of the mapped photo.
    width_px, height_px : int
        Its size, upright.
    places : tuple of Place
        In the grower's order.
    """

    shelf: str
    photo: str
    photo_sha256: str
    width_px: int
    height_px: int
    places: tuple[Place, ...]


def read_shelfmaps(folder: Path, *, bags: Collection[str] | None) -> tuple[ShelfMap, ...]:
    """Return the maps of a trial's shelves, in the file's order; none when there is no file.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    bags : collection of str or None
        Codes of the trial's bags: a place of any other is refused. None takes any.

    Raises
    ------
    TrialError
        When the file is not understood: with line, key and value.
    """
    path = folder / MAP_FILE
    if not path.exists():
        return ()
    text = decode_plan_file(read_plan_file(path), str(path))
    data = parse_toml(text, str(path))
    reading = _Reading(source=str(path), lines=find_key_lines(text))
    for name in data:
        if name != "shelf":
            reading.refuse(
                (name,), f"unknown key {name!r}", "Each shelf stands under [[shelf]], its places below."
            )
    tables = reading.tables(("shelf",), data.get("shelf", []))
    maps = [_read_map(reading, ("shelf", i), table, bags=bags) for i, table in enumerate(tables)]
    raise_problems(reading.found)
    read = tuple(one for one in maps if one is not None)
    _refuse_doubles(reading, read)
    raise_problems(reading.found)
    return read


def write_shelfmap(folder: Path, shelf_map: ShelfMap) -> None:
    """Put the map of one shelf into the file, whole or not at all; a map of the same shelf is replaced.

    A bag stands in one place: those of the new map are taken out of other shelves' maps.

    Raises
    ------
    TrialError
        When the file there is not understood.
    LedgerError
        When it can't be written; what was there is as before.
    """
    moved = {place.bag for place in shelf_map.places}
    others = [
        dataclasses.replace(one, places=tuple(place for place in one.places if place.bag not in moved))
        for one in read_shelfmaps(folder, bags=None)
        if one.shelf != shelf_map.shelf
    ]
    replace_file(folder / MAP_FILE, format_shelfmaps([*others, shelf_map]).encode())


def format_shelfmaps(maps: Sequence[ShelfMap]) -> str:
    """Return the text of a shelfmap.toml."""
    return _ABOUT + "".join(f"\n{_format_map(one)}" for one in maps)


def _format_map(one: ShelfMap) -> str:
    values = (one.shelf, one.photo, one.photo_sha256, one.width_px, one.height_px)
    lines = ["[[shelf]]"]
    lines += [f"{key} = {format_value(value)}" for key, value in zip(SHELF_KEYS, values, strict=False)]
    for place in one.places:
        corners = ", ".join(f"[{x:.1f}, {y:.1f}]" for x, y in place.outline_px)
        lines += ["", "[[shelf.place]]", f"bag = {format_value(place.bag)}", f"outline_px = [{corners}]"]
    return "\n".join(lines) + "\n"


@dataclass(kw_only=True)
class _Reading:
    """A shelfmap.toml while it is read: the lines of its keys, and what was found wrong."""

    source: str
    lines: dict[KeyPath, int]
    found: list[Problem] = field(default_factory=list)

    def refuse(self, path: KeyPath, message: str, hint: str) -> None:
        self.found.append(
            Problem(source=f"{self.source}:{self.lines.get(path, 1)}", message=message, hint=hint)
        )

    def check_keys(self, path: KeyPath, table: dict[str, Any], keys: Collection[str]) -> None:
        """Refuse keys that are unknown or missing."""
        listed = f"The keys there are: {', '.join(keys)}."
        for name in table:
            if name not in keys:
                self.refuse((*path, name), f"unknown key {name!r}", suggest_near(name, keys) + listed)
        for name in keys:
            if name not in table and name != "place":
                self.refuse(path, f"{name} is missing", f"{listed} `colscan map` writes them all.")

    def tables(self, path: KeyPath, value: Any) -> list[dict[str, Any]]:
        """Return the tables of an array of tables."""
        if isinstance(value, list) and all(isinstance(table, dict) for table in value):
            return value
        header = ".".join(str(part) for part in path if isinstance(part, str))
        self.refuse(
            path, f"{path[-1]} is not written as a section", f"Write [[{header}]] on a line of its own."
        )
        return []


def _read_map(
    reading: _Reading, path: KeyPath, table: dict[str, Any], *, bags: Collection[str] | None
) -> ShelfMap | None:
    before = len(reading.found)
    reading.check_keys(path, table, SHELF_KEYS)
    for name in _TEXTS:
        if name in table and not isinstance(table[name], str):
            reading.refuse((*path, name), f"{name}: {table[name]!r} is no text", "Write it in quotes.")
    if isinstance(sha256 := table.get("photo_sha256"), str):
        try:
            parse_sha256(sha256)
        except ValueError as error:
            reading.refuse((*path, "photo_sha256"), f"photo_sha256: {error}", "Make the map anew.")
    for name in _SIZES:
        if name in table and not (type(table[name]) is int and table[name] > 0):
            reading.refuse((*path, name), f"{name}: {table[name]!r} is no size in px", "Write it like 1680.")
    inner = (*path, "place")
    tables = reading.tables(inner, table.get("place", []))
    places = [_read_place(reading, (*inner, i), place, bags=bags) for i, place in enumerate(tables)]
    if len(reading.found) > before:
        return None
    return ShelfMap(
        shelf=table["name"],
        photo=table["photo"],
        photo_sha256=table["photo_sha256"],
        width_px=table["width_px"],
        height_px=table["height_px"],
        places=tuple(place for place in places if place is not None),
    )


def _read_place(
    reading: _Reading, path: KeyPath, table: dict[str, Any], *, bags: Collection[str] | None
) -> Place | None:
    before = len(reading.found)
    reading.check_keys(path, table, PLACE_KEYS)
    bag = table.get("bag")
    if bags is not None and "bag" in table and bag not in bags:
        hint = suggest_near(str(bag), sorted(bags)) + "Bags stand in bags.csv."
        reading.refuse((*path, "bag"), f"bag {bag!r} is no bag of this trial", hint)
    outline = table.get("outline_px", [])
    corners = outline if isinstance(outline, list) else []
    if "outline_px" in table and not (isinstance(outline, list) and all(_is_corner(c) for c in corners)):
        message = f"outline_px of bag {bag!r} is no list of corners"
        reading.refuse((*path, "outline_px"), message, "Write it like [[10, 20], [30, 20], [30, 60]].")
    elif "outline_px" in table and len(corners) < LEAST_CORNERS:
        message = (
            f"outline_px of bag {bag!r} has {len(corners)} corners, and a face has {LEAST_CORNERS} at least"
        )
        reading.refuse((*path, "outline_px"), message, "Draw it again with `colscan map`.")
    elif "outline_px" in table and not _encloses(corners):
        message = f"outline_px of bag {bag!r} encloses nothing: its corners lie on one line"
        reading.refuse((*path, "outline_px"), message, "Draw it again with `colscan map`.")
    if len(reading.found) > before:
        return None
    return Place(bag=str(bag), outline_px=tuple((float(x), float(y)) for x, y in corners))


def _is_corner(corner: Any) -> bool:
    if not (isinstance(corner, list) and len(corner) == 2):
        return False
    return all(type(value) in (int, float) and math.isfinite(value) for value in corner)


def _encloses(corners: Sequence[Any]) -> bool:
    """Whether a polygon has an area: half the sum of its neighbouring corners' cross products."""
    following = [*corners[1:], corners[0]]
    return bool(sum(x * v - u * y for (x, y), (u, v) in zip(corners, following, strict=True)))


def _refuse_doubles(reading: _Reading, maps: Sequence[ShelfMap]) -> None:
    """Refuse a shelf that stands twice, and a bag that does, on one shelf or two."""
    shelves: dict[str, int] = {}
    bags: dict[str, int] = {}
    for i, one in enumerate(maps):
        line = reading.lines[("shelf", i)]
        if one.shelf in shelves:
            message = f"shelf {one.shelf!r} stands twice (first on line {shelves[one.shelf]})"
            reading.refuse(("shelf", i), message, "Keep one of the two.")
        shelves.setdefault(one.shelf, line)
        for j, place in enumerate(one.places):
            path = ("shelf", i, "place", j, "bag")
            if place.bag in bags:
                message = f"bag {place.bag!r} stands twice (first on line {bags[place.bag]})"
                reading.refuse(path, message, "A bag stands in one place: take one of the two out.")
            bags.setdefault(place.bag, reading.lines[path])
