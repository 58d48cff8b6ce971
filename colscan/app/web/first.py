"""The first page: what needs eyes."""

from __future__ import annotations

from flask import Flask, render_template

from colscan.app.web.recorded import just_said
from colscan.app.web.site import Site

MOST_OPEN = 12
"""Of a longer list the rest is one press away: on a phone's screen what comes after it would not be found."""


def add_first(app: Flask, site: Site) -> None:
    """Give an application its first page.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """

    def show() -> str:
        here = site.open()
        return render_template("looks.html", here=here, recorded=just_said(here), most_open=MOST_OPEN)

    app.add_url_rule("/", "first", show)
