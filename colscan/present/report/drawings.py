"""The charts of a section."""

from __future__ import annotations

from colscan.present.report.blocks import Block, Drawing
from colscan.present.report.content import ReportContent


def drawings(content: ReportContent, *wanted: tuple[str, str, str]) -> list[Block]:
    """Return those of the wanted charts that the data carry.

    Parameters
    ----------
    content : ReportContent
        What the report tells.
    *wanted : tuple of str
        What each shows (as `colscan chart --kind` names it), its alternative text, its caption.
    """
    return [
        Drawing(svg=content.charts[kind], alt=alt, caption=caption)
        for kind, alt, caption in wanted
        if kind in content.charts
    ]
