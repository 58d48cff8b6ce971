"""A narrow chart that a phone shows too: head, rows, legend and footnote, laid out in inches."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from colscan.present.frame import QUESTION_POINTS, wrap_question
from colscan.present.heading import write_head
from colscan.present.saving import DOTS_PER_INCH, QUIET
from colscan.trial.model import Trial

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SHEET_INCHES = 7.0
SHEET_POINTS = 10.0
"""Letters: 8 px high where the sheet is shown 400 px wide, 13 px on a page 640 px wide."""
SHEET_LINE_INCHES = 1.35 * SHEET_POINTS / 72
SHEET_LETTER_INCHES = 0.6 * SHEET_POINTS / 72
EDGE_INCHES = 0.25
_HEAD_INCHES = 0.6
_LEGEND_LINE_INCHES = 0.24
_NAME_LETTERS = 16
"""Longer names of treatments are folded, so that the data keep half of the width."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A figure and where its body begins.

    Parameters
    ----------
    figure : Figure
        Head and foot are written.
    top : float
        Inches from the figure's top to the body.
    """

    figure: Figure
    top: float

    def axes(self, left: float, down: float, size: tuple[float, float]) -> Axes:
        """Add axes: inches from the left, from the body's top down to their upper edge; width, height."""
        width, height = self.figure.get_size_inches()
        bottom = height - self.top - down - size[1]
        return self.figure.add_axes((left / width, bottom / height, size[0] / width, size[1] / height))

    def write(self, left: float, down: float, text: str, **looks: Any) -> None:
        """Write text, its upper edge so many inches under the body's top."""
        width, height = self.figure.get_size_inches()
        given: dict[str, Any] = {"va": "top", "fontsize": SHEET_POINTS, **looks}
        self.figure.text(left / width, 1 - (self.top + down) / height, text, **given)


def begin_sheet(
    trial: Trial,
    *,
    body_inches: float,
    note: str,
    handles: Sequence[Artist] = (),
    interim: bool,
    width_inches: float = SHEET_INCHES,
) -> Sheet:
    """Return a sheet with its head, legend and footnote.

    Parameters
    ----------
    trial : Trial
        Name and question.
    body_inches : float
        Height of what is between head and legend.
    note : str
        The footnote; it is wrapped.
    handles : sequence of Artist
        What the legend explains.
    interim : bool
        Whether the trial goes on.
    width_inches : float
        Of the figure.
    """
    from matplotlib.figure import Figure

    letters = int((width_inches - 2 * EDGE_INCHES) / (0.52 * SHEET_POINTS / 72))
    lines = textwrap.wrap(note, letters)
    columns = _legend_columns(handles, width_inches)
    legend_inches = _LEGEND_LINE_INCHES * -(-len(handles) // columns) + 0.1 if handles else 0.0
    top = _HEAD_INCHES + QUESTION_POINTS * 1.35 / 72 * len(wrap_question(trial.question, width_inches))
    foot_inches = 0.15 + SHEET_LINE_INCHES * len(lines)
    height = top + body_inches + legend_inches + foot_inches
    figure = Figure(figsize=(width_inches, height), dpi=DOTS_PER_INCH, facecolor="white")
    write_head(figure, trial, interim=interim)
    left = EDGE_INCHES / width_inches
    figure.text(
        left, 0.1 / height, "\n".join(lines), color=QUIET, va="bottom", linespacing=1.25,
        fontsize=SHEET_POINTS, gid="note",
    )  # fmt: skip
    if handles:
        figure.legend(
            handles=handles, loc="lower left", bbox_to_anchor=(left, foot_inches / height),
            bbox_transform=figure.transFigure, borderaxespad=0, ncols=columns, frameon=False,
            alignment="left", borderpad=0, fontsize=SHEET_POINTS, columnspacing=1.2, handlelength=1.8,
        )  # fmt: skip
    return Sheet(figure=figure, top=top)


def _legend_columns(handles: Sequence[Artist], width_inches: float) -> int:
    """As many columns as the longest label allows."""
    longest = max((len(str(handle.get_label())) for handle in handles), default=1)
    return max(1, int((width_inches - 2 * EDGE_INCHES) / (SHEET_LETTER_INCHES * longest + 0.55)))


def fold_name(name: str, letters: int = _NAME_LETTERS) -> str:
    r"""Return a treatment's name in lines that leave room for the data, a number and its % on one.

    >>> fold_name("wheat bran pellets 12.5 %"), fold_name("dried hulls, 20 %", 15)
    ('wheat bran\npellets 12.5 %', 'dried hulls,\n20 %')
    """
    together = name.replace(" %", "\N{NO-BREAK SPACE}%")
    return "\n".join(textwrap.wrap(together, letters)).replace("\N{NO-BREAK SPACE}", " ")


def longest_line(names: Sequence[str]) -> int:
    """Return how many letters the longest line of these texts has."""
    return max((len(line) for name in names for line in name.splitlines()), default=0)
