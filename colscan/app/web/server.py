"""The application with its checks, its pages, and its pages of errors."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Sequence
from pathlib import Path

from flask import Flask, render_template
from jinja2 import StrictUndefined
from werkzeug.exceptions import HTTPException

from colscan import units
from colscan.app.calls import describe_call, describe_target, name_call
from colscan.app.web.bag import add_bag
from colscan.app.web.begin import add_begin
from colscan.app.web.blinding import add_blinding
from colscan.app.web.drawings import Drawings
from colscan.app.web.events import add_events
from colscan.app.web.first import add_first
from colscan.app.web.guard import Guard
from colscan.app.web.map_page import add_map
from colscan.app.web.opinion import add_opinion
from colscan.app.web.pairing import Pairing
from colscan.app.web.patches import add_patches
from colscan.app.web.phones import add_phones
from colscan.app.web.photos import add_photos
from colscan.app.web.serving import serve_app
from colscan.app.web.sheets import add_sheets
from colscan.app.web.shelf import add_shelf
from colscan.app.web.site import Site
from colscan.app.web.statics import add_statics
from colscan.app.web.trial_page import add_trial_page
from colscan.app.web.weights import add_weights
from colscan.app.web.who import add_who
from colscan.app.web.written import just_written
from colscan.errors import ColscanError, LedgerError
from colscan.hints import as_typed
from colscan.ledger import say_waiting
from colscan.ledger.columns import ACTIONS, PLACES
from colscan.present.cautions import SPORE_CAUTION


def make_app(trial_dir: Path, *, port: int, https: bool = False, pairing: Pairing | None = None) -> Flask:
    """Return the review page of a trial as an application.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder; without a trial in it, every page leads to the one that begins it.
    port : int
        The port that it is served on: requests to another host or port are refused.
    https : bool
        Whether it is served by HTTPS.
    pairing : Pairing or None
        The phones that may ask; None: this machine alone may.
    """
    # No folder of files is served: what there is to load is read at the start, by name (see statics.py).
    app = Flask("colscan.app.web", static_folder=None)
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.filters["typeset"] = _typeset
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    guard = Guard(port, https=https, pairing=pairing)
    guard.watch(app)
    app.jinja_env.globals.update(
        token=guard.token,
        https=https,
        pairing=pairing,
        at_home=guard.at_home,
        target=describe_target,
        describe_call=describe_call,
        name_call=name_call,
        places=PLACES,
        actions=ACTIONS,
        as_typed=as_typed,
        count_of=units.count_of,
        just_written=just_written,
        say_waiting=say_waiting,
        spore_caution=SPORE_CAUTION,
    )
    app.register_error_handler(ColscanError, _tell_error)
    app.register_error_handler(HTTPException, _tell_refusal)
    site = Site(trial_dir)
    add_statics(app)
    add_begin(app, site)
    add_sheets(app, site)
    add_first(app, site)
    add_patches(app, site)
    app.extensions["uploads"] = add_photos(app, site)
    add_blinding(app, site)
    add_opinion(app, site)
    add_events(app, site)
    add_weights(app, site)
    add_who(app, site, https=https)
    add_map(app, site)
    drawings = Drawings()
    add_shelf(app, site)
    add_bag(app, site, drawings)
    add_trial_page(app, site, drawings)
    if pairing is not None:
        add_phones(app, guard, pairing)
    return app


def _typeset(line: str) -> str:
    """A line of the terminal in a page's letters; columns told apart by blanks would run together there."""
    return line.replace("  ", ", ").replace(" mm2", " mm²")


def _tell_error(error: ColscanError) -> tuple[str, int]:
    """What is wrong and what to do next, as the command line says it."""
    status = 500 if isinstance(error, LedgerError) else 400
    return render_template("trouble.html", what=error.message, next_step=error.hint), status


def _tell_refusal(error: HTTPException) -> tuple[str, int]:
    what = f"{error.name}."
    return render_template("trouble.html", what=what, next_step=error.description or ""), error.code or 500


def serve(
    trial_dir: Path,
    listening: Sequence[socket.socket],
    *,
    tls: ssl.SSLContext | None = None,
    pairing: Pairing | None = None,
) -> None:
    """Serve a trial's review page on sockets until ctrl-C.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    listening : sequence of socket
        As `listen` gives them, of one port; the first on the loopback address.
    tls : SSLContext or None
        For HTTPS.
    pairing : Pairing or None
        The phones that may ask, when a socket is on the network.
    """
    port = listening[0].getsockname()[1]
    app = make_app(trial_dir, port=port, https=tls is not None, pairing=pairing)
    try:
        serve_app(app, listening, tls=tls)
    finally:
        app.extensions["uploads"].close()
