"""Treatments that are hidden from who judges, and the door to see them all the same."""

from __future__ import annotations

from flask import Flask, redirect, render_template, url_for
from werkzeug.wrappers import Response as AnyResponse

from colscan.app.web.site import Site


def add_blinding(app: Flask, site: Site) -> None:
    """Give an application the page that asks before treatments are shown.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """

    def show() -> AnyResponse:
        site.show_treatments()
        return redirect(url_for("unblind"), code=303)

    app.add_url_rule("/unblind", "unblind", lambda: render_template("unblind.html", here=site.open()))
    app.add_url_rule("/unblind", "show_treatments", show, methods=["POST"])
