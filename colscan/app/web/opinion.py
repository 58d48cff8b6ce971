"""The second opinion: a face without its score, what is estimated or painted of it, and then both."""

from __future__ import annotations

import base64
import secrets
from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from threading import Lock

import numpy as np
from flask import Flask, Response, redirect, render_template, request, url_for
from numpy.typing import NDArray
from werkzeug.wrappers import Response as AnyResponse

from colscan import units
from colscan.app.masks import mask_path
from colscan.app.opinions import (
    Face,
    estimate_of,
    face_jpeg,
    is_kept,
    measured_faces,
    painting_of,
    record_number,
    record_painting,
    shuffle,
)
from colscan.app.web.site import Site, Standing
from colscan.app.web.who import judging_as
from colscan.errors import TrialError
from colscan.ledger.columns import EstimateRow
from colscan.photo.painted import HIDDEN, Paint
from colscan.tables import columns_of, parse_cell

_BITS = 2
_STALE = "Its picture is another one by now: the photo was scanned again."


@dataclass(frozen=True, slots=True, kw_only=True)
class Opinion:
    """An estimate beside the score that it was held against.

    Parameters
    ----------
    estimate : EstimateRow
        What the person said.
    paint : Paint or None
        What it was painted as; None for a number.
    painted_cm2, scored_cm2 : float or None
        Covered areas by the painting and by the score; None for a number, or without the photo's scale.
    """

    estimate: EstimateRow
    paint: Paint | None
    painted_cm2: float | None
    scored_cm2: float | None


def add_opinion(app: Flask, site: Site) -> None:
    """Give an application the page of the second opinion, its pictures, and the door for estimates.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """
    seed, writing = secrets.token_hex(), Lock()

    def record() -> AnyResponse:
        with writing:  # two paintings of one face must not meet in one file
            return _record(site.open())

    app.add_url_rule("/opinion", "opinion", lambda: _show(site.open(), seed))
    app.add_url_rule("/opinion/face", "opinion_face", lambda: _send_face(site.open()))
    app.add_url_rule("/opinion", "estimate", record, methods=["POST"])


def _show(here: Standing, seed: str) -> str:
    faces, who = shuffle(measured_faces(here.trial, here.ledger), seed), judging_as()
    face = _find_face(faces, request.args) if "bag" in request.args else None
    done = {row.key[:2] for row in here.ledger.estimates if row.by == who}
    if face is None:
        face = _next(here, faces, done)
    at = 0 if face is None else faces.index(face)
    following = _next(here, [*faces[at + 1 :], *faces[:at]], done)
    estimate = None if face is None else estimate_of(here.ledger, face, who)
    shown = estimate if "again" not in request.args else None
    return render_template(
        "opinion.html",
        here=here,
        face=face,
        opinion=None if face is None or shown is None else _hold(here, face, shown),
        known=estimate is not None,
        paintable=face is not None and _is_paintable(here, face),
        following=following,
        waiting=sum(one.key not in done for one in faces),
        who=who,
    )


def _next(here: Standing, faces: Sequence[Face], done: AbstractSet[tuple[str, str]]) -> Face | None:
    """The first face that waits and whose photo can be shown."""
    return next((one for one in faces if one.key not in done and is_kept(here.folder, one)), None)


def _find_face(faces: Sequence[Face], asked: Mapping[str, str]) -> Face:
    bag, photo = asked.get("bag", ""), asked.get("photo", "")
    found = next((f for f in faces if (f.score.bag, f.photo.photo_sha256) == (bag, photo)), None)
    if found is None:
        msg = f"Bag {bag!r} has no score in the photo {photo[:12]!r}."
        raise TrialError(msg, "Open the second opinion anew: it shows what can be estimated.")
    return found


def _is_paintable(here: Standing, face: Face) -> bool:
    try:
        mask_path(here.folder, face.photo.photo_sha256, face.score.bag)
    except TrialError:
        return False
    return True


def _hold(here: Standing, face: Face, estimate: EstimateRow) -> Opinion:
    paint = painting_of(here.folder, here.trial, face, estimate)
    painted = scored = None
    if paint is not None and face.area_mm2 is not None:
        painted = paint.covered * face.area_mm2 / 100.0
        # Of the same surface: what the person didn't paint as hidden.
        scored = (face.score.coverage_pct or 0.0) / 100.0 * (1.0 - paint.hidden) * face.area_mm2 / 100.0
    return Opinion(estimate=estimate, paint=paint, painted_cm2=painted, scored_cm2=scored)


def _send_face(here: Standing) -> Response:
    face = _find_face(measured_faces(here.trial, here.ledger), request.args)
    jpeg = face_jpeg(here.folder, face)
    return Response(jpeg, mimetype="image/jpeg", headers={"Cache-Control": "private, max-age=600"})


def _record(here: Standing) -> AnyResponse:
    form, who = request.form, judging_as()
    face = _find_face(measured_faces(here.trial, here.ledger), form)
    if form.get("box") != box_of(face):
        raise TrialError(_STALE, "Open the second opinion anew.")
    at = units.now().astimezone(here.trial.zone)
    # Who has estimated it before has seen the score.
    before = estimate_of(here.ledger, face, who)
    blind = not here.shown and before is None
    how: dict[str, Callable[[], EstimateRow]] = {
        "number": lambda: record_number(
            here.folder, here.trial, face, before, coverage_pct=_read_pct(form), at=at, by=who, blind=blind
        ),
        "painting": lambda: record_painting(
            here.folder, here.trial, face, marks=_read_marks(form, face), at=at, by=who, blind=blind
        ),
    }
    if form.get("how") not in how:
        msg = "It isn't said whether a number or a painting is given."
        raise TrialError(msg, "Go back and press one of the two buttons.")
    how[form["how"]]()
    return redirect(url_for("opinion", bag=face.score.bag, photo=face.photo.photo_sha256), code=303)


def box_of(face: Face) -> str:
    """Return where a face's picture lies in its photo, as a form carries it."""
    return " ".join(map(str, face.box))


def _read_pct(form: Mapping[str, str]) -> float:
    try:
        return float(parse_cell(columns_of(EstimateRow)["coverage_pct"], form.get("coverage_pct", "")))
    except ValueError as error:
        msg = f"The estimate: {error}."
        raise TrialError(msg, "Go back and give a percentage from 0 to 100.") from None


def _read_marks(form: Mapping[str, str], face: Face) -> NDArray[np.uint8]:
    """A painting's marks, two bits each, row by row from the top left, the first in the highest bits."""
    width, height = face.marks
    length = -(-width * height * _BITS // 8)
    try:
        packed = base64.b64decode(form.get("marks", ""), altchars=b"-_", validate=True)
    except ValueError:
        packed = b""
    if len(packed) != length:
        msg = f"The painting isn't whole: {len(packed)} bytes, not {length}."
        raise TrialError(msg, "Go back, paint, and record it once more; painting needs the page's script.")
    bits = np.unpackbits(np.frombuffer(packed, np.uint8)).reshape(-1, _BITS)
    marks = (bits[: width * height] @ np.array([2, 1], np.uint8)).astype(np.uint8)
    if marks.max() > HIDDEN:
        msg = "The painting holds marks that are neither bare, covered nor hidden."
        raise TrialError(msg, "Reload the page and paint it anew.")
    return marks.reshape(height, width)
