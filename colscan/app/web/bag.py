"""A bag's page: its faces over time, its curve, its scores, and all that was said of it."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from flask import Flask, Response, abort, render_template, request

from colscan.app.bag_history import What, list_entries
from colscan.app.film import film_of, frame_jpeg
from colscan.app.web.drawings import Drawings
from colscan.app.web.looks import patches_of
from colscan.app.web.marks import SIGNS
from colscan.app.web.recorded import just_said
from colscan.app.web.shelf import KEPT_BY_BROWSERS
from colscan.app.web.site import Site, Standing
from colscan.errors import PhotoError
from colscan.growth.departure import departure_of
from colscan.growth.model import Advice, BagRecord, BagStatus
from colscan.growth.series import make_series
from colscan.units import count_of, days_between, show_interval

TELLING = (What.MIX, What.HEAT_RUN)
"""What was weighed into a mix tells the treatment, and a heat run may hold one treatment alone."""
FIRST_SCORES = 10
"""Scores that are open to see; older ones are one press away."""


def add_bag(app: Flask, site: Site, drawings: Drawings) -> None:
    """Give an application the pages of bags, with the pictures on them.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    drawings : Drawings
        Where charts are kept.
    """
    app.add_url_rule("/bag", "bag", lambda: _show(site.open()))
    app.add_url_rule("/face", "face", lambda: _send_face(site.open()))
    app.add_url_rule("/curve", "curve", lambda: _send_curve(site.open(), drawings))


def _show(here: Standing) -> str:
    record = here.record(request.args.get("bag", ""))
    status = here.statuses[record.bag.bag]
    codes = list(here.records)
    place = codes.index(record.bag.bag)
    entries = [
        entry
        for entry in reversed(list_entries(here.trial, record, here.ledger))
        if not (here.blind and entry.what in TELLING)
    ]
    return render_template(
        "bag.html",
        here=here,
        record=record,
        status=status,
        facts=_facts(here, record),
        film=film_of(here.folder, record, here.ledger),
        curve_in_words=_say_curve(record),
        scored=[entry for entry in entries if entry.score],
        first_scores=FIRST_SCORES,
        happened=[entry for entry in entries if entry.what not in (What.PHOTO, What.VERDICT)],
        calls=tuple(reversed(record.verdicts)),
        standing=record.standing_calls,
        patches=patches_of(record),
        before=codes[place - 1] if place else None,
        after=codes[place + 1] if place + 1 < len(codes) else None,
        recorded=just_said(here),
        left_at=_left_at(status, record),
        signs=SIGNS,
        show_interval=show_interval,
        days_between=days_between,
    )


def _left_at(status: BagStatus, record: BagRecord) -> datetime | None:
    """When a bag left for good; one that is only missing may turn up."""
    left = departure_of(record)
    return left.at if left and status.advice in (Advice.DISCARDED, Advice.RETIRED) else None


def _facts(here: Standing, record: BagRecord) -> list[tuple[str, str]]:
    """What its card and the plan say of a bag; of who judges blind all is kept that tells the treatment."""
    bag, zone = record.bag, here.trial.zone
    told: list[tuple[str, object, str]] = [
        ("Role", "blank, sealed without spawn" if bag.role == "blank" else None, ""),
        ("Card", None if bag.tag is None else f"tag {bag.tag}", ""),
        ("Shelf", record.shelf, ""),
        ("Place", bag.position, ""),
        ("Group", bag.group, ""),
        ("Inoculated", f"{bag.inoculated_at.astimezone(zone):%Y-%m-%d %H:%M}", ""),
        ("Spawned as number", bag.spawn_order, ""),
    ]
    kept_from_blind: list[tuple[str, object, str]] = [
        ("Strain", bag.strain, ""),
        ("Treatment", bag.treatment, ""),
        ("Mix", bag.mix_batch, ""),
        ("Heat run", bag.heat_run, ""),
        ("Spawn lot", bag.spawn_lot, ""),
        ("Spawn", bag.spawn_method, ""),
        ("Spawn weight", bag.spawn_g, " g"),
        ("Filled in", bag.fill_wet_g, " g"),
        ("Dry matter", bag.dry_g, " g"),
        ("Note", bag.note, ""),
    ]
    shown = told if here.blind else kept_from_blind[:2] + told + kept_from_blind[2:]
    return [(name, _say(value) + unit) for name, value, unit in shown if value is not None]


def _say(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _say_curve(record: BagRecord) -> str | None:
    """Return what the curve shows, for who doesn't see it; None when there is none to draw."""
    series = make_series(record)
    measured = np.flatnonzero(np.isfinite(series.coverage))
    if not measured.size:
        return None
    ends = [measured[0], *([measured[-1]] if measured.size > 1 else [])]
    course = " to ".join(f"{100 * series.coverage[i]:.0f} % on day {series.days[i]:.1f}" for i in ends)
    said = [f"Colonized {course}, {count_of(measured.size, 'measured photo')}"]
    said += [f"patch {one.patch} {one.kind} seen from day {one.by_days:.1f}" for one in record.onsets]
    said += [
        f"{event.what} on day {days_between(record.bag.inoculated_at, event.at):.1f}"
        for event in record.events
    ]
    return "; ".join(said)


def _send_face(here: Standing) -> Response:
    record = here.record(request.args.get("bag", ""))
    film = film_of(here.folder, record, here.ledger)
    frame = next((one for one in film if one.score.photo_sha256 == request.args.get("photo")), None)
    if frame is None:
        abort(404, f"No photo of bag {record.bag.bag} has that name.")
    try:
        data = frame_jpeg(here.folder, here.trial, here.ledger, frame, covers_cards=here.blind)
    except PhotoError as error:
        abort(404, f"{error.message} {error.hint}")
    return Response(data, mimetype="image/jpeg", headers=KEPT_BY_BROWSERS)


def _send_curve(here: Standing, drawings: Drawings) -> Response:
    from colscan.growth.series import curve_of
    from colscan.present.bag_chart import NARROW_INCHES, WIDTH_INCHES, draw_bag_chart

    record = here.record(request.args.get("bag", ""))
    if _say_curve(record) is None:
        abort(404, f"Bag {record.bag.bag} wasn't measured in any photo yet.")
    width = NARROW_INCHES if "narrow" in request.args else WIDTH_INCHES
    svg = drawings.get(
        here,
        f"curve {record.bag.bag} {width}",
        lambda: draw_bag_chart(curve_of(record, here.ledger), width_inches=width),
    )
    return Response(svg, mimetype="image/svg+xml")
