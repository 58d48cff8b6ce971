"""Who may ask for what: this machine's browser and paired phones, on our own pages, and nobody else."""

from __future__ import annotations

import hmac
import secrets

from flask import Flask, Response, abort, render_template, request

from colscan.app.web.pairing import Pairing

LOOPBACK = "127.0.0.1"
LARGEST_REQUEST_BYTES = 64 * 1024
"""Forms here hold a few words and a note."""
LARGER_REQUESTS_BYTES = {"photos_upload": 64 * 1024 * 1024, "map_photo": 64 * 1024 * 1024}
"""By endpoint; a script sends them with the token as a header, as their bodies aren't read to look for it."""
FOR_STRANGERS = frozenset({"pair", "send_code"})
"""The endpoints that need no cookie."""
FILES_FOR_STRANGERS = frozenset({"site.css", "pair.css", "pair.js", "icon.svg"})
"""What the page that pairs is made of: colscan's own, the same for every trial."""
FOR_HOME = frozenset({"phones", "new_code", "unpair"})
"""The endpoints for this machine's own browser: a phone lets no other one in."""
MOST_FORM_FIELDS = 30
TOKEN_HEADER = "X-Colscan-Token"
"""Where a script of ours puts the token: then its request's body need not be read to check it."""
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; connect-src 'self'; "
        "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not no-referrer: by the Fetch standard that makes a browser send "Origin: null" with our own forms, and
    # their origin is checked. Other sites are told nothing either way.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}
STALE = "This page is from before colscan review was started again. Go back, reload it, and say it once more."
ABROAD = "This was sent from another page than colscan's own. Open the address that colscan review printed."
STRANGER = "This phone isn't paired, or isn't any more."
AT_HOME = "Only the browser of the machine that runs colscan review can open this."
ENDLESS = "A request says how long it is."


class Guard:
    """Checks every request to an application, and gives every answer its headers.

    Parameters
    ----------
    port : int
        Where it is served: a Host or Origin of another port or name is refused, which also stops names that
        are made to point to this machine (DNS rebinding).
    https : bool
        Whether it is served by HTTPS: an Origin of the other scheme is refused.
    pairing : Pairing or None
        Which phones may ask; None lets none in.
    """

    def __init__(self, port: int, *, https: bool, pairing: Pairing | None) -> None:
        self._hosts = {f"{name}:{port}" for name in (LOOPBACK, "localhost")}
        if pairing is not None:
            self._hosts.add(pairing.host)
        self._origins = {f"http{'s' if https else ''}://{host}" for host in self._hosts}
        self._pairing = pairing
        self.cookie = f"colscan-{port}"
        """Its name: browsers keep cookies by address alone, and two reviews may run on one."""
        self.token = secrets.token_urlsafe(32)
        """One a start: in each form, so that only who was shown a page can send it."""

    def watch(self, app: Flask) -> None:
        """Put the checks around an application."""
        app.config.update(
            MAX_CONTENT_LENGTH=LARGEST_REQUEST_BYTES,
            MAX_FORM_MEMORY_SIZE=LARGEST_REQUEST_BYTES,
            MAX_FORM_PARTS=MOST_FORM_FIELDS,
        )
        app.before_request(self._check)
        app.after_request(_add_headers)

    def at_home(self) -> bool:
        """Whether the request comes from this machine; what its headers say of that counts for nothing."""
        return request.remote_addr == LOOPBACK

    def _check(self) -> Response | None:
        if request.headers.get("Host") not in self._hosts:
            return _turn_away(ABROAD, invite=False)
        if not (self.at_home() or self._may_enter()):
            if self._pairing is not None:
                self._pairing.refused(request.remote_addr or "?")
            return _turn_away(STRANGER, invite=self._pairing is not None)
        _check_size()
        if request.endpoint in FOR_HOME and not self.at_home():
            abort(403, AT_HOME)
        if request.method not in ("GET", "HEAD"):
            self._check_source()
        return None

    def _may_enter(self) -> bool:
        """Whether a request from elsewhere is for what strangers may have, or a paired phone's."""
        if self._pairing is None:
            return False
        if request.endpoint in FOR_STRANGERS:
            return True
        if request.endpoint == "static" and (request.view_args or {}).get("name") in FILES_FOR_STRANGERS:
            return True
        return self._pairing.knows(request.cookies.get(self.cookie, ""))

    def _check_source(self) -> None:
        """A change comes from a page of ours, and but for pairing, from who was shown one with the token."""
        if request.headers.get("Origin") not in self._origins:
            abort(403, ABROAD)
        if request.headers.get("Sec-Fetch-Site", "same-origin") != "same-origin":
            abort(403, ABROAD)
        if request.endpoint in FOR_STRANGERS:
            return
        if not hmac.compare_digest(_sent_token().encode(), self.token.encode()):
            abort(403, STALE)


def _turn_away(problem: str, *, invite: bool) -> Response:
    """A page without a word of the trial, and without the token."""
    return Response(render_template("pair.html", problem=problem, invite=invite), 403, mimetype="text/html")


def _check_size() -> None:
    """Refuse a request by the length that it declares, before any of it is read."""
    if request.headers.get("Transfer-Encoding"):
        abort(411, ENDLESS)
    larger = LARGER_REQUESTS_BYTES.get(request.endpoint or "")
    if larger is not None:
        request.max_content_length = larger
    if (request.content_length or 0) > (request.max_content_length or 0):
        abort(413)


def _sent_token() -> str:
    """The token of a form, or of a script's request; a large body isn't read to look for it."""
    said = request.headers.get(TOKEN_HEADER, "")
    return said if said or request.endpoint in LARGER_REQUESTS_BYTES else request.form.get("token", "")


def _add_headers(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    return response
