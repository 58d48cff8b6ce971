"""The sections of a report in their order."""

from __future__ import annotations

from colscan.present.report.bags import show_curves, show_pictures
from colscan.present.report.blocks import Page
from colscan.present.report.closing import show_deviations, show_next, show_unsaid, show_versions
from colscan.present.report.comparison import show_comparison
from colscan.present.report.content import ReportContent
from colscan.present.report.losses import show_losses
from colscan.present.report.numbers import show_numbers
from colscan.present.report.opening import show_question, show_setup
from colscan.present.report.page import render_page
from colscan.present.report.yields import show_yields

_SECTIONS = (
    show_question, show_setup, show_pictures, show_curves, show_comparison, show_losses, show_yields,
    show_unsaid, show_next, show_deviations, show_numbers, show_versions,
)  # fmt: skip


def make_report(content: ReportContent) -> bytes:
    """Return a trial's report as one HTML file, UTF-8.

    Parameters
    ----------
    content : ReportContent
        What it tells.
    """
    when = content.now.astimezone(content.trial.zone)
    page = Page(
        title=content.trial.name,
        subtitle=f"Report of {when:%Y-%m-%d %H:%M}, {content.trial.time_zone}",
        sections=tuple(show(content) for show in _SECTIONS),
    )
    return render_page(page)
