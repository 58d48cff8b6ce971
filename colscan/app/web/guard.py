"""Who may ask for what: this machine's browser on our own pages, and nobody else."""

from __future__ import annotations

import hmac
import secrets

from flask import Flask, Response, abort, request

LARGEST_REQUEST_BYTES = 64 * 1024
"""Forms here hold a few words and a note; nothing is uploaded."""
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


class Guard:
    """Checks every request to an application, and gives every answer its headers.

    Parameters
    ----------
    port : int
        Where it is served: a Host or Origin of another port or name is refused, which also stops names that
        are made to point to this machine (DNS rebinding).
    """

    def __init__(self, port: int) -> None:
        self._hosts = {f"{name}:{port}" for name in ("127.0.0.1", "localhost")}
        self._origins = {f"http://{host}" for host in self._hosts}
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

    def _check(self) -> None:
        if request.headers.get("Host") not in self._hosts:
            abort(403, ABROAD)
        if request.method in ("GET", "HEAD"):
            return
        if request.headers.get("Origin") not in self._origins:
            abort(403, ABROAD)
        if request.headers.get("Sec-Fetch-Site", "same-origin") != "same-origin":
            abort(403, ABROAD)
        if not hmac.compare_digest(_sent_token().encode(), self.token.encode()):
            abort(403, STALE)


def _sent_token() -> str:
    """The token of a form, or of a script's request."""
    return request.headers.get(TOKEN_HEADER) or request.form.get("token", "")


def _add_headers(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    return response
