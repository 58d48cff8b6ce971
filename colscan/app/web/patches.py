"""A patch's page with its crops, and the calls that are said of patches and bags."""

from __future__ import annotations

from collections.abc import Sequence
from threading import Lock
from typing import Any

from flask import Flask, Response, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from colscan import units
from colscan.app.calls import check_seen, record_call
from colscan.app.patches import left_out, patch_views
from colscan.app.web.after import page_after
from colscan.app.web.looks import PatchLook, patches_of
from colscan.app.web.recorded import just_said, mark_said
from colscan.app.web.said import read_call
from colscan.app.web.site import Site, Standing
from colscan.app.web.who import judging_as
from colscan.errors import TrialError
from colscan.ledger.columns import VerdictRow
from colscan.present.cautions import SPORE_CAUTION


def add_patches(app: Flask, site: Site) -> None:
    """Give an application the pages of patches, their crops, and the door for calls.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """
    one_at_a_time = Lock()

    def record() -> AnyResponse:
        with one_at_a_time:  # so that the second of two people who differ is told of the first
            return _record(site)

    app.add_url_rule("/patch", "patch", lambda: _show(site.open()))
    app.add_url_rule("/crop", "crop", lambda: _send_crop(site.open()))
    app.add_url_rule("/verdict", "verdict", record, methods=["POST"])


def _show(here: Standing) -> str:
    bag, patch = request.args.get("bag", ""), request.args.get("patch", "")
    look = _find_patch(here, bag, patch)
    before, after = _neighbours(here.looks.patches, look)
    views = patch_views(here.folder, here.trial, here.ledger, bag, patch, covers_cards=here.blind)
    return render_template(
        "patch.html",
        here=here,
        look=look,
        views=views,
        gone=left_out(here.ledger, bag, patch, views=views),
        before=before,
        after=after,
        recorded=just_said(here),
        caution=SPORE_CAUTION,
    )


def _find_patch(here: Standing, bag: str, patch: str) -> PatchLook:
    looks = patches_of(here.record(bag))
    for look in looks:
        if look.suspect.patch == patch:
            return look
    known = ", ".join(look.suspect.patch for look in looks) or "none"
    msg = f"Bag {bag} has no patch {patch!r}."
    raise TrialError(msg, f"Its patches: {known}.")


def _neighbours(waiting: Sequence[PatchLook], look: PatchLook) -> tuple[PatchLook | None, PatchLook | None]:
    """The patches to judge before and after one; after one that is judged comes the first."""
    keys = [_key(other) for other in waiting]
    if _key(look) not in keys:
        return None, waiting[0] if waiting else None
    place = keys.index(_key(look))
    return waiting[place - 1] if place else None, waiting[place + 1] if place + 1 < len(keys) else None


def _key(look: PatchLook) -> tuple[str, str]:
    return look.suspect.bag, look.suspect.patch


def _send_crop(here: Standing) -> Response:
    asked = request.args
    bag, patch = asked.get("bag", ""), asked.get("patch", "")
    _find_patch(here, bag, patch)
    views = patch_views(here.folder, here.trial, here.ledger, bag, patch, covers_cards=here.blind)
    view = next((view for view in views if view.photo_sha256 == asked.get("photo")), None)
    if view is None:
        abort(404, "That photo doesn't show this patch's place, or it can't be read any more.")
    # A photo's bytes never change under its hash; still private, as the trial is.
    return Response(view.jpeg, mimetype="image/jpeg", headers={"Cache-Control": "private, max-age=600"})


def _record(site: Site) -> AnyResponse:
    here = site.open()
    at = units.now().astimezone(here.trial.zone)
    row = read_call(request.form, at, by=judging_as(), blind=here.blind)
    standing = here.call_on(row.bag, row.patch)
    check_seen(row, standing, seen=request.form.get("stood", ""), zone=here.trial.zone)
    following = _after(here, row)
    record_call(here.folder, here.trial, here.ledger, row)
    said: dict[str, Any] = {} if row.call == "withdrawn" else mark_said(row)
    if row.patch is None:
        return page_after(request.form, bag=row.bag, **said)
    if following is None:
        return redirect(url_for("first", **said), code=303)
    bag, patch = following
    return redirect(url_for("patch", bag=bag, patch=patch, **said), code=303)


def _after(here: Standing, row: VerdictRow) -> tuple[str, str] | None:
    """The patch to go to from a call: the next one to judge, and from one taken back to its own."""
    if row.patch is None:
        return None
    look = _find_patch(here, row.bag, row.patch)
    if row.call == "withdrawn":
        return row.bag, row.patch
    waiting = [
        other
        for other in here.looks.patches
        # A lost bag's other patches need no more eyes.
        if _key(other) == _key(look) or row.call != "contaminated" or other.suspect.bag != row.bag
    ]
    before, after = _neighbours(waiting, look)
    following = after or (waiting[0] if before else None)
    return None if following is None else _key(following)
