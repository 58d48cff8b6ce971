"""What happened, by one tap: the page of shelves and the room, and the door for events."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from threading import Lock

from flask import Flask, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from colscan.app.happenings import record_events
from colscan.app.web.after import page_after
from colscan.app.web.said import read_event
from colscan.app.web.site import Site, Standing
from colscan.app.web.written import mark_written
from colscan.ledger import Ledger
from colscan.ledger.columns import HAPPENINGS, SEGMENT_ENDERS, EventRow

ASKED_ONCE = (*SEGMENT_ENDERS, "fruiting", "discarded", "missing", "retired")
"""What ends a bag's run or begins another segment: a wet finger must not say it by a slip."""
OF_BAGS = tuple(word for word in HAPPENINGS if word not in ("power-cut", "moved", "other"))
OF_MANY = ("shaken", "turned", "looked-round", "opened", "cold-shocked", "soaked", "fruiting")
"""What is said of a whole shelf or of the room, besides a power cut: each is asked once."""
DOUBLE_TAP = timedelta(seconds=10)


def add_events(app: Flask, site: Site) -> None:
    """Give an application the pages on which events are said, and the door for them.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """
    one_at_a_time = Lock()

    def record() -> AnyResponse:
        with one_at_a_time:  # so that the second of two taps knows of the first
            return _record(site)

    app.jinja_env.globals.update(of_bags=OF_BAGS, of_many=OF_MANY, asked_once=ASKED_ONCE)
    app.add_url_rule("/event", "event", lambda: _show_many(site.open()))
    app.add_url_rule("/event", "record_event", record, methods=["POST"])


def _show_many(here: Standing) -> str:
    shelves = {
        shelf: sum(record.shelf == shelf for record in here.records.values())
        for shelf in sorted(here.trial.shelf_names)
    }
    return render_template("event.html", here=here, shelves=shelves)


def _record(site: Site) -> AnyResponse:
    here = site.open()
    row = read_event(request.form, here.trial)
    told = _told_just_now(here.ledger, row)
    if told is None:
        record_events(here.folder, here.trial, here.ledger, [row])
    bag = row.name if row.scope == "bag" else None
    return page_after(request.form, bag=bag, **mark_written(here, "event", told or row))


def _told_just_now(ledger: Ledger, row: EventRow) -> EventRow | None:
    """The same event, said up to some seconds ago by the first of two taps."""
    for other in ledger.events:
        if replace(other, at=row.at) == row and timedelta(0) <= row.at - other.at < DOUBLE_TAP:
            return other
    return None
