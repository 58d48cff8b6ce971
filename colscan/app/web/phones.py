"""The page that pairs a phone, and this machine's own page of codes and paired phones."""

from __future__ import annotations

from flask import Flask, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response

from colscan.app.web.guard import Guard
from colscan.app.web.pairing import Pairing
from colscan.app.web.qr import qr_svg

NOT_GOOD = (
    "That code isn't good: mistyped, used before, or older than 10 minutes. Ask the machine for a new one."
)


def add_phones(app: Flask, guard: Guard, pairing: Pairing) -> None:
    """Give an application the pages of pairing.

    Parameters
    ----------
    app : Flask
        The application.
    guard : Guard
        Knows the name of the cookie, and lets strangers ask for the page `pair` alone.
    pairing : Pairing
        The phones.
    """
    app.add_url_rule("/pair", "pair", lambda: render_template("pair.html", problem=None, invite=True))
    app.add_url_rule("/pair", "send_code", lambda: _pair(guard, pairing), methods=["POST"])
    app.add_url_rule("/phones", "phones", lambda: _show(pairing))
    app.add_url_rule("/phones/code", "new_code", lambda: _renew(pairing), methods=["POST"])
    app.add_url_rule("/phones/unpair", "unpair", lambda: _unpair(pairing), methods=["POST"])


def _pair(guard: Guard, pairing: Pairing) -> Response:
    cookie = pairing.pair(request.form.get("code", ""), request.remote_addr or "")
    if cookie is None:
        return Response(
            render_template("pair.html", problem=NOT_GOOD, invite=True), 403, mimetype="text/html"
        )
    answer = redirect(url_for("first"), code=303)
    answer.set_cookie(guard.cookie, cookie, httponly=True, samesite="Strict", secure=pairing.https)
    return answer


def _show(pairing: Pairing) -> str:
    code = pairing.code
    picture = Markup(qr_svg(pairing.link(code))) if code else None
    return render_template("phones.html", code=code, picture=picture, pairing=pairing)


def _renew(pairing: Pairing) -> Response:
    pairing.new_code()
    return redirect(url_for("phones"), code=303)


def _unpair(pairing: Pairing) -> Response:
    pairing.unpair_all()
    return redirect(url_for("phones"), code=303)
