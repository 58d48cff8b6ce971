"""The page that takes photos from a phone, the door for their bytes, and what became of each."""

from __future__ import annotations

from typing import Any, BinaryIO, cast

from flask import Flask, get_template_attribute, jsonify, render_template, request
from flask.typing import ResponseReturnValue

from colscan.app.web.guard import LARGER_REQUESTS_BYTES
from colscan.app.web.site import Site
from colscan.app.web.uploads import UNDERWAY, Busy, State, Upload, Uploads, state_of
from colscan.errors import ColscanError

LARGEST_PHOTO_BYTES = LARGER_REQUESTS_BYTES["photos_upload"]
LATEST_SHOWN = 30
MOST_ASKED = 50
"""Photos in one question: their hashes have to fit into an address."""
AGAIN_SECONDS = 10
STATUS = {State.UNDATED: 422, State.REFUSED: 422, State.FAILED: 503}


def add_photos(app: Flask, site: Site) -> Uploads:
    """Give an application the page of photos; return the queue behind it, to be closed at the end.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """
    uploads = Uploads(site)
    app.add_url_rule("/photos", "photos", lambda: _show(site, uploads))
    app.add_url_rule("/photos", "photos_upload", lambda: _take_in(site, uploads), methods=["POST"])
    app.add_url_rule("/photos/state", "photo_states", lambda: _tell_states(site, uploads))
    return uploads


def _show(site: Site, uploads: Uploads) -> str:
    return render_template(
        "photos.html",
        here=site.open(),
        uploads=uploads.latest(LATEST_SHOWN),
        largest_bytes=LARGEST_PHOTO_BYTES,
    )


def _take_in(site: Site, uploads: Uploads) -> ResponseReturnValue:
    """Take in one photo; the answer comes once its bytes are checked, its scores are asked for later."""
    asked = request.args
    try:
        upload = uploads.add(
            cast(BinaryIO, request.stream),
            name=asked.get("name", ""),
            taken_at=asked.get("taken_at"),
            more=asked.get("more") == "1",
        )
    except Busy:
        return jsonify(state="busy"), 503, {"Retry-After": str(AGAIN_SECONDS)}
    except ColscanError as error:
        state = state_of(error)
        return jsonify(state=state, said=error.message, next=error.hint), STATUS[state]
    return jsonify(_tell(site, upload)), 202 if upload.state in UNDERWAY else 200


def _tell_states(site: Site, uploads: Uploads) -> ResponseReturnValue:
    asked = request.args.getlist("id")[:MOST_ASKED]
    known = ((sha256, uploads.find(sha256)) for sha256 in asked)
    return jsonify(
        photos=[
            {"id": sha256, "state": "unknown"} if upload is None else _tell(site, upload)
            for sha256, upload in known
        ]
    )


def _tell(site: Site, upload: Upload) -> dict[str, Any]:
    show = get_template_attribute("upload.html", "outcome")
    return {
        "id": upload.sha256,
        "state": upload.state,
        "said": upload.lines[0] if upload.lines else "",
        "next": upload.lines[1] if upload.state is State.UNDATED else "",
        "html": show(upload, site.open().trial.zone),
    }
