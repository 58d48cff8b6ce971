"""The application with its checks and its pages of errors, and the loop that serves it."""

from __future__ import annotations

import logging
import os
import socket
from pathlib import Path

from flask import Flask, render_template
from jinja2 import StrictUndefined
from werkzeug.exceptions import HTTPException

from colscan import units
from colscan.app.calls import describe_target
from colscan.app.web.first import add_first
from colscan.app.web.guard import Guard
from colscan.app.web.patches import add_patches
from colscan.app.web.photos import LARGEST_PHOTO_BYTES, add_photos
from colscan.app.web.site import Site
from colscan.app.web.statics import add_statics
from colscan.errors import ColscanError, TrialError
from colscan.ledger.columns import ACTIONS, PLACES

LOOPBACK = "127.0.0.1"
THREADS = 4
"""A page shows up to six pictures; a home machine decodes no more photos than this at once."""


def make_app(trial_dir: Path, *, port: int) -> Flask:
    """Return the review page of a trial as an application.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    port : int
        The port that it is served on: requests to another host or port are refused.
    """
    # No folder of files is served: what there is to load is read at the start, by name (see pages.py).
    app = Flask("colscan.app.web", static_folder=None)
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    guard = Guard(port)
    guard.watch(app)
    app.jinja_env.globals.update(
        token=guard.token, target=describe_target, places=PLACES, actions=ACTIONS, count_of=units.count_of
    )
    app.register_error_handler(ColscanError, _tell_error)
    app.register_error_handler(HTTPException, _tell_refusal)
    site = Site(trial_dir)
    add_statics(app)
    add_first(app, site)
    add_patches(app, site)
    app.extensions["uploads"] = add_photos(app, site)
    return app


def _tell_error(error: ColscanError) -> tuple[str, int]:
    """What is wrong and what to do next, as the command line says it."""
    status = 400 if isinstance(error, TrialError) else 500
    return render_template("trouble.html", what=error.message, next_step=error.hint), status


def _tell_refusal(error: HTTPException) -> tuple[str, int]:
    what = f"{error.name}."
    return render_template("trouble.html", what=what, next_step=error.description or ""), error.code or 500


def listen(port: int) -> socket.socket:
    """Return a socket on the loopback address; port 0 takes a free one.

    Raises
    ------
    TrialError
        When the port is taken or not allowed.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # elsewhere the option lets a second program take the same port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((LOOPBACK, port))
        listening.listen()
    except OSError as error:
        listening.close()
        msg = f"--port {port} can't be used ({error.strerror})."
        hint = (
            "A colscan review may be running there already. Give another one, like --port 8751; 0 takes any."
        )
        raise TrialError(msg, hint) from error
    return listening


def serve(trial_dir: Path, listening: socket.socket) -> None:
    """Serve a trial's review page on a socket until ctrl-C.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    listening : socket
        As `listen` gives it.
    """
    import waitress

    # A page's pictures wait in turn by design: no news for the terminal.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    app = make_app(trial_dir, port=listening.getsockname()[1])
    waitress.create_server(
        app,
        sockets=[listening],
        threads=THREADS,
        # The largest of any page; each page's own limit is checked before its body is read.
        max_request_body_size=LARGEST_PHOTO_BYTES,
        ident=None,
    ).run()
    app.extensions["uploads"].close()
