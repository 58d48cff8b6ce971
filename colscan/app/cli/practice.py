"""`colscan practice`: the tool's own reading of a photographed practice sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import format_option, screen_of_stdout

if TYPE_CHECKING:
    from colscan.app.practice import FaceRead
    from colscan.present.table import Cell

_HEADER = (
    "number", "drawn_pct", "colonies", "read_pct", "low_pct", "high_pct", "difference_points", "suspects",
    "flags", "photo",
)  # fmt: skip


@click.command()
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True, type=click.Path(path_type=Path))
@format_option
def practice(photos: tuple[Path, ...], output_format: str) -> None:
    """Let the tool read a practice sheet: drawn coverage beside its own.

    PHOTO shows a page of the sheet that `colscan cards --practice` makes,
    printed on matt paper. Lay it flat in daylight, without sun, shadows or
    reflections; fill the picture with it, all four corner squares in view.
    Each face is scored as a bag is, with the page's bare face for its first
    photo; difference is in points, read minus drawn.

    \b
    Example:
      colscan practice page1.jpg page2.jpg
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.practice import read_practice
    from colscan.present import render_rows

    reads = [(photo, read) for photo in photos for read in read_practice(photo)]
    rows = [_row(photo, read) for photo, read in reads]
    click.echo(render_rows(_HEADER, rows, output_format, screen=screen_of_stdout()), nl=False)
    click.echo(_summary([read for _, read in reads]), err=True)
    if any(read.suspects for _, read in reads):
        click.echo(
            "There are suspect patches, which don't count as covered: colours are off, by the printer or the "
            "light. Print it elsewhere, or photograph it by daylight.",
            err=True,
        )


def _row(photo: Path, read: FaceRead) -> list[Cell]:
    figures = (read.read_pct, read.low_pct, read.high_pct, read.difference)
    read_pct, low_pct, high_pct, difference = (None if x is None else round(x, 1) for x in figures)
    flags = " ".join(read.flags)
    face = read.drawn
    return [
        face.number, face.coverage_pct, face.colonies, read_pct, low_pct, high_pct, difference,
        read.suspects, flags, photo.name,
    ]  # fmt: skip


def _summary(reads: list[FaceRead]) -> str:
    off = [read.difference for read in reads if read.difference is not None]
    unread = f"; {len(reads) - len(off)} could not be measured" if len(off) < len(reads) else ""
    if not off:
        return f"None of {len(reads)} faces could be measured."
    mean_absolute, bias = sum(map(abs, off)) / len(off), sum(off) / len(off)
    return (
        f"{len(off)} faces: mean absolute difference {mean_absolute:.1f} points, bias {bias:+.1f}, "
        f"largest {max(off, key=abs):+.1f}{unread}."
    )
