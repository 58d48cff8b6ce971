"""Styles, scripts and icons: read once at the start, so no path of a request is ever opened."""

from __future__ import annotations

from importlib.resources import files
from pathlib import PurePath

from flask import Flask, Response, abort

TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


def add_statics(app: Flask) -> None:
    """Give an application its styles, scripts and icons, each by its name.

    Parameters
    ----------
    app : Flask
        The application.
    """
    folder = files(__package__).joinpath("static")
    known = {file.name: file.read_bytes() for file in folder.iterdir() if PurePath(file.name).suffix in TYPES}

    def send(name: str) -> Response:
        if name not in known:
            abort(404)
        return Response(known[name], mimetype=TYPES[PurePath(name).suffix])

    app.add_url_rule("/static/<name>", "static", send)
