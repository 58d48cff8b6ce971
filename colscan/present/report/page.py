"""A report's page as one HTML file that needs nothing beside it."""

from __future__ import annotations

import re
from base64 import b64encode
from dataclasses import replace
from importlib.resources import files
from typing import TYPE_CHECKING

from colscan.present.report.blocks import Drawing, Page, Table
from colscan.present.report.inline_svg import inline_svg
from colscan.present.table import Cell

if TYPE_CHECKING:
    from markupsafe import Markup

_FIGURE = re.compile(r"[-+]?\d+(\.\d+)?( %)?( \(.*\))?\Z")
_HERE = "colscan.present.report"


def render_page(page: Page) -> bytes:
    """Return a report as a self-contained HTML file, UTF-8.

    Every text is escaped. The file names no address outside itself, and its own policy lets a browser load
    nothing but the pictures in it.

    Parameters
    ----------
    page : Page
        What it says.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader(_HERE, ""), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    names: list[str] = []

    def draw(drawing: Drawing) -> Markup:
        """The drawing's elements; each one's ids differ from all others on the page."""
        names.append(f"drawing{len(names) + 1}")
        return Markup(inline_svg(drawing.svg, prefix=f"{names[-1]}-", alt=drawing.alt))

    environment.filters.update(
        draw=draw, base64=_base64, cell=_say_cell, numbers=_number_columns, filled=_without_empty
    )
    # Ours, not the user's: CSS must stand in the page as it is.
    css = Markup(files(_HERE).joinpath("page.css").read_text(encoding="utf-8"))
    return environment.get_template("page.html").render(page=page, css=css).encode()


def _base64(data: bytes) -> str:
    return b64encode(data).decode()


def _say_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    return f"{cell:g}" if isinstance(cell, float) else str(cell)


def _without_empty(table: Table) -> Table:
    """The table without columns in which nothing is known; one without rows as it is."""
    kept = [
        i for i in range(len(table.header)) if not table.rows or any(_say_cell(row[i]) for row in table.rows)
    ]
    return replace(
        table,
        header=tuple(table.header[i] for i in kept),
        rows=tuple(tuple(row[i] for i in kept) for row in table.rows),
    )


def _number_columns(table: Table) -> list[bool]:
    """Whether each column holds numbers, or figures with a unit or an interval: they stand to the right."""
    return [
        bool(cells) and all(_FIGURE.match(_say_cell(cell)) for cell in cells)
        for cells in ([row[i] for row in table.rows if _say_cell(row[i])] for i in range(len(table.header)))
    ]
