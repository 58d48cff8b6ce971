"""The trial's page: how far it is, where each bag stands, its charts, and what can be printed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from flask import Flask, Response, render_template, request

from colscan.app.charts import Kind, Subject, make_chart, need_data
from colscan.app.web.drawings import Drawings
from colscan.app.web.marks import SIGNS
from colscan.app.web.site import Site, Standing
from colscan.errors import AnalysisError, TrialError
from colscan.growth.model import Advice
from colscan.units import days_between, show_interval, to_pct

STATES = (
    ("to look at", (Advice.LOOK,)),
    ("to turn and look all round", (Advice.TURN,)),
    ("ready", (Advice.READY,)),
    ("stalled", (Advice.STALLED,)),
    ("running", (Advice.WAIT,)),
    ("opened or fruiting", (Advice.OPENED, Advice.FRUITING)),
    ("called contaminated", (Advice.CONTAMINATED,)),
    ("discarded", (Advice.DISCARDED,)),
    ("missing", (Advice.MISSING,)),
    ("retired", (Advice.RETIRED,)),
    ("blank", (Advice.BLANK,)),
)
"""What a trial's bags are counted by."""
CHARTS = (
    (Kind.CURVES, "Curves by treatment", "colonized % of each bag over days, by strain and treatment"),
    (Kind.FULL, "Time to full", "share of the bags that are full over days, by treatment"),
    (Kind.RISK, "Contamination by level", "share of the bags that were lost, by level"),
    (Kind.YIELD, "Yield by level", "fresh weight that the bags gave, by level"),
)
"""Charts that the page offers: their headings and what each shows, for who doesn't see it."""
SOON_DRAWN = 60
"""Bags: of so many the curves take a second to draw, and are open from the start."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferedChart:
    """A chart that can be opened; `trouble` says why there is nothing in it yet.

    One that is open from the start has its size, so that the page doesn't move when it comes.
    """

    kind: Kind
    heading: str
    alt: str
    trouble: AnalysisError | None
    open_size_px: tuple[int, int] | None


def add_trial_page(app: Flask, site: Site, drawings: Drawings) -> None:
    """Give an application the trial's page and its charts.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    drawings : Drawings
        Where charts are kept.
    """
    app.add_url_rule("/trial", "trial", lambda: _show(site.open()))
    app.add_url_rule("/chart", "chart", lambda: _send_chart(site.open(), drawings))


def _show(here: Standing) -> str:
    counts = [
        (words, sum(status.advice in own for status in here.statuses.values())) for words, own in STATES
    ]
    return render_template(
        "trial.html",
        here=here,
        began_at=min((bag.inoculated_at for bag in here.trial.bags), default=None),
        until=_until(here),
        interim=here.trial.is_interim(here.now),
        counts=[(words, count) for words, count in counts if count],
        charts=[] if here.blind else list(_offer_charts(here)),
        signs=SIGNS,
        show_interval=show_interval,
        days_between=days_between,
        to_pct=to_pct,
    )


def _until(here: Standing) -> datetime:
    """The time up to which the trial's days are counted: now, or when it ended."""
    ended = here.trial.ended_at
    return here.now if ended is None or ended > here.now else ended


def _offer_charts(here: Standing) -> Iterator[OfferedChart]:
    from colscan.growth import curves_of
    from colscan.present.chart import size_of

    for kind, heading, alt in CHARTS:
        trouble = open_size_px = None
        try:
            need_data(kind, _subject(here))
        except AnalysisError as error:
            trouble = error
        else:
            if kind is Kind.CURVES and len(here.statuses) <= SOON_DRAWN:
                open_size_px = size_of(here.trial, curves_of(here.trial, here.ledger))
        yield OfferedChart(kind=kind, heading=heading, alt=alt, trouble=trouble, open_size_px=open_size_px)


def _subject(here: Standing) -> Subject:
    return Subject(trial_dir=here.folder, trial=here.trial, ledger=here.ledger, now=here.now)


def _send_chart(here: Standing, drawings: Drawings) -> Response:
    asked = request.args.get("kind", "")
    kind = next((kind for kind, *_ in CHARTS if kind == asked), None)
    if kind is None:
        msg = f"There is no chart {asked!r} here."
        raise TrialError(msg, f"Charts: {', '.join(kind for kind, *_ in CHARTS)}.")
    if here.blind:
        msg = "The trial is judged blind: charts by treatment are not shown here."
        raise TrialError(msg, "They are there again when its bags are no longer judged blind.")
    svg = drawings.get(here, kind, lambda: make_chart(kind, _subject(here)).svg)
    return Response(svg, mimetype="image/svg+xml")
