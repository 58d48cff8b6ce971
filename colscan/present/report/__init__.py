"""A trial's report: one HTML file to read on a screen, to print, and to keep.

Takes what the stages before found, as a `ReportContent`; does no arithmetic on it. Gives the bytes of a page
that needs nothing beside it: charts and pictures are within, no address is named, all text is escaped.
Flags nothing.
"""

from colscan.present.report.content import ReportContent
from colscan.present.report.whole import make_report

__all__ = ["ReportContent", "make_report"]
