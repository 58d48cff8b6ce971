"""Harvests weighed in, bag after bag, on a number pad."""

from __future__ import annotations

from typing import Any

from flask import Flask, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from colscan.app.harvests import filled_g, record_harvest
from colscan.app.web.said import read_harvest
from colscan.app.web.site import Site, Standing
from colscan.app.web.written import mark_written
from colscan.growth.departure import gone_for_good
from colscan.growth.model import Advice
from colscan.ledger.columns import HarvestRow
from colscan.tables import columns_of

GONE = (Advice.DISCARDED, Advice.RETIRED, Advice.MISSING)
"""Bags that nobody is led to: what they gave before can still be said."""


def add_weights(app: Flask, site: Site) -> None:
    """Give an application the page on which harvests are weighed in, and the door for them.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """
    app.add_url_rule("/weigh", "weigh", lambda: _show(site.open()))
    app.add_url_rule("/harvest", "harvest", lambda: _record(site), methods=["POST"])


def _show(here: Standing) -> str:
    asked = request.args.get("bag", "").strip()
    if not asked:
        return render_template("weigh_which.html", here=here, bags=_weighable(here), flushes=_flushes(here))
    record = here.record(asked)
    bag, gone = record.bag, gone_for_good(record)
    flushes = _flushes(here).get(bag.bag, {})
    last = int(columns_of(HarvestRow)["flush"].high)
    return render_template(
        "weigh.html",
        here=here,
        bag=bag,
        flushes=flushes,
        last_flush=last,
        next_flush=min(max(flushes, default=0) + 1, last),
        following=_following(here, bag.bag),
        gone=gone,
        gone_at=gone.at.astimezone(here.trial.zone) if gone else None,
        filled_g=None if here.blind else filled_g(here.trial, bag),
    )


def _weighable(here: Standing) -> list[str]:
    """The bags that can give a harvest, in the plan's order."""
    return [
        code
        for code, record in here.records.items()
        if record.bag.role == "trial" and here.statuses[code].advice not in GONE
    ]


def _flushes(here: Standing) -> dict[str, dict[int, HarvestRow]]:
    """The weights that count, by bag and flush."""
    found: dict[str, dict[int, HarvestRow]] = {}
    for row in here.ledger.harvests:
        found.setdefault(row.bag, {})[row.flush] = row
    return found


def _following(here: Standing, bag: str) -> str | None:
    """The bag to weigh after one, in the plan's order; None after the last."""
    order = list(here.records)
    later, weighable = order[order.index(bag) + 1 :], set(_weighable(here))
    return next((code for code in later if code in weighable), None)


def _record(site: Site) -> AnyResponse:
    here = site.open()
    row = read_harvest(request.form, here.trial)
    record_harvest(here.folder, here.trial, here.ledger, row)
    said: dict[str, Any] = mark_written(here, "weight", row)
    return redirect(url_for("weigh", bag=_following(here, row.bag), **said), code=303)
