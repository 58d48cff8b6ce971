"""Who judges in this browser: a name of their own choice, kept in a cookie."""

from __future__ import annotations

from urllib.parse import quote, unquote

from flask import Flask, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from colscan.app.web.said import on_one_line
from colscan.app.web.site import Site
from colscan.errors import TrialError

COOKIE = "colscan_by"
LONGEST_NAME = 40
KEPT_S = 365 * 24 * 3600
"""A year: longer than a trial, and a name of somebody who left is gone some day."""


def add_who(app: Flask, site: Site, *, https: bool) -> None:
    """Give an application the page that asks who judges.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    https : bool
        Whether it is served by HTTPS: the cookie then goes by no other way.
    """
    app.jinja_env.globals["judging_as"] = judging_as
    app.add_url_rule("/who", "who", lambda: render_template("who.html", here=site.open()))
    app.add_url_rule("/who", "set_who", lambda: _set(secure=https), methods=["POST"])


def judging_as() -> str | None:
    """Return who judges in the browser that asks, None when nobody said."""
    # A cookie is shared by all that this machine serves, so it is checked like any other field.
    name = on_one_line(unquote(request.cookies.get(COOKIE, "")))
    return name if 0 < len(name) <= LONGEST_NAME else None


def _set(*, secure: bool) -> AnyResponse:
    name = on_one_line(request.form.get("by", ""))
    if len(name) > LONGEST_NAME:
        msg = f"The name has {len(name)} letters, more than {LONGEST_NAME}."
        raise TrialError(msg, "Go back and shorten it; initials do.")
    answer = redirect("/", code=303)
    if name:
        answer.set_cookie(
            COOKIE, quote(name), max_age=KEPT_S, httponly=True, samesite="Strict", secure=secure
        )
    else:
        answer.delete_cookie(COOKIE, httponly=True, samesite="Strict")
    return answer
