"""What a report's page is made of: sections of texts, lists, tables, drawings and pictures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from colscan.present.table import Cell


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A paragraph; `strong` for one that must not be missed."""

    KIND: ClassVar[str] = "text"
    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """Sentences one under the other."""

    KIND: ClassVar[str] = "listing"
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table; the first cell of each row names it.

    Parameters
    ----------
    caption : str
        What it shows.
    header : tuple of str
        Names of the columns.
    rows : tuple of tuple of Cell
        Its cells; numbers stand to the right, None is empty.
    """

    KIND: ClassVar[str] = "table"
    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def __post_init__(self) -> None:
        if any(len(row) != len(self.header) for row in self.rows):
            msg = f"a row of the table {self.caption!r} has not one cell for each of its columns"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A chart.

    Parameters
    ----------
    svg : bytes
        An SVG file.
    alt : str
        What it shows, for those who don't see it.
    caption : str
        What stands under it.
    """

    KIND: ClassVar[str] = "drawing"
    svg: bytes
    alt: str
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One photo of a bag.

    Parameters
    ----------
    jpeg : bytes
        A small JPEG file.
    width_px, height_px : int
        Its size.
    alt : str
        What it shows, made from the data.
    caption : tuple of str
        The lines under it.
    """

    jpeg: bytes
    width_px: int
    height_px: int
    alt: str
    caption: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """Pictures side by side, under a heading of their own and a line of text, if any."""

    KIND: ClassVar[str] = "strip"
    heading: str
    text: str
    pictures: tuple[Picture, ...]


Block = Text | Listing | Table | Drawing | Strip


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of a report under its heading; `name` is what links within the page know it by."""

    name: str
    heading: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A whole report.

    Parameters
    ----------
    title : str
        The trial's name.
    subtitle : str
        What it is and as of when.
    sections : tuple of Section
        In the order of reading.
    """

    title: str
    subtitle: str
    sections: tuple[Section, ...]
