"""Sizes of a chart in inches: how many panels side by side, how high, what margin each text needs."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from colscan.growth.model import BagCurve

WIDTH_INCHES = 12.0
LABEL_POINTS = 9.0
"""Smallest letters: 12 px high where the chart is shown 1200 px wide."""
LINE_INCHES = 1.35 * LABEL_POINTS / 72
LETTER_INCHES = 0.62 * LABEL_POINTS / 72
TITLE_POINTS = 15.0
QUESTION_POINTS = 11.0
_PANEL_INCHES = 3.9
_LEFT_INCHES = 0.75
_AXIS_INCHES = 0.62
"""Below the panels: numbers and name of the x axis."""
_ROW_GAP_INCHES = 0.55
_CONTAMINATED_MARK = " \N{HEAVY MULTIPLICATION X}"
_SUSPECT_MARK = " \N{WHITE DOWN-POINTING TRIANGLE}"
_LEADER_INCHES = 0.38
"""From a panel's edge to its labels: room for the line between a bag's last score and its code."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Where the panels stand, in inches.

    Parameters
    ----------
    rows, columns : int
        Grid of panels.
    panel_width, panel_height : float
        Size of one panel's axes.
    gutter : float
        Right of each panel, for the bags' codes.
    lanes : int
        Lines of event labels above each panel.
    left, top, bottom, row_gap : float
        Margins, and what lies between two rows of panels.
    height : float
        Of the whole figure.
    last_day : float
        Right end of the x axis.
    """

    rows: int
    columns: int
    panel_width: float
    panel_height: float
    gutter: float
    lanes: int
    left: float
    top: float
    bottom: float
    row_gap: float
    height: float
    last_day: float

    @property
    def leader(self) -> float:
        """Width of the strip in which lines lead from the scores to the codes."""
        return _LEADER_INCHES

    def bounds(self, index: int) -> tuple[float, float, float, float]:
        """Left, bottom, width, height of a panel's axes, as fractions of the figure."""
        row, column = divmod(index, self.columns)
        left = self.left + column * (self.panel_width + self.gutter)
        top = self.height - self.top - row * (self.panel_height + self.row_gap)
        bottom = top - self.panel_height
        return (
            left / WIDTH_INCHES,
            bottom / self.height,
            self.panel_width / WIDTH_INCHES,
            self.panel_height / self.height,
        )


def plan_columns(panels: int) -> int:
    """Return how many panels stand side by side: three at most, or their letters would have to shrink."""
    return {1: 1, 2: 2, 4: 2}.get(panels, 3)


def plan_frame(panels: list[tuple[BagCurve, ...]], *, question: str, lanes: int, foot_inches: float) -> Frame:
    """Return the sizes that a chart of these panels needs.

    Parameters
    ----------
    panels : list of tuple of BagCurve
        The bags of each panel.
    question : str
        The trial's question, wrapped under its name.
    lanes : int
        Lines of event labels above each panel.
    foot_inches : float
        Height of legend and footnote.
    """
    columns = plan_columns(len(panels))
    rows = -(-len(panels) // columns)
    longest = max(len(label_of(curve)) for panel in panels for curve in panel)
    gutter = _LEADER_INCHES + LETTER_INCHES * longest + 0.25
    panel_height = max(_PANEL_INCHES, LINE_INCHES * max(map(len, panels)))
    row_gap = _ROW_GAP_INCHES + LINE_INCHES * lanes
    top = 0.7 + QUESTION_POINTS * 1.35 / 72 * len(wrap_question(question)) + LINE_INCHES * lanes + 0.25
    bottom = _AXIS_INCHES + foot_inches
    return Frame(
        rows=rows,
        columns=columns,
        panel_width=(WIDTH_INCHES - _LEFT_INCHES) / columns - gutter,
        panel_height=panel_height,
        gutter=gutter,
        lanes=lanes,
        left=_LEFT_INCHES,
        top=top,
        bottom=bottom,
        row_gap=row_gap,
        height=top + bottom + rows * panel_height + (rows - 1) * row_gap,
        last_day=last_day_of(panels),
    )


def last_day_of(panels: list[tuple[BagCurve, ...]]) -> float:
    """Return the right end of the x axis: the last photo's day, one at least."""
    return max(1.0, *(float(curve.series.days[-1]) for panel in panels for curve in panel))


def label_of(curve: BagCurve) -> str:
    """Return what stands at the end of a bag's line: its code, and the mark it carries."""
    calls = {onset.call for onset in curve.onsets} | ({"contaminated"} if curve.contaminated else set())
    mark = ""
    if calls:
        mark = _CONTAMINATED_MARK if "contaminated" in calls else _SUSPECT_MARK
    return f"{curve.bag.bag}{' (blank)' if curve.bag.role == 'blank' else ''}{mark}"


def wrap_question(question: str, width_inches: float = WIDTH_INCHES) -> list[str]:
    """Return the lines of the question at a chart's width."""
    return textwrap.wrap(question, int((width_inches - 1) / (0.56 * QUESTION_POINTS / 72)))


def wrap_foot(text: str) -> list[str]:
    """Return the lines of a footnote at the width of a wide chart."""
    return textwrap.wrap(text, int((WIDTH_INCHES - 1) / (0.52 * LABEL_POINTS / 72)))
