"""The pages: what needs eyes, one patch with its crops, and the calls that are said of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

from flask import Flask, Response, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from colscan import units
from colscan.app.around import say_surroundings
from colscan.app.calls import describe_target, known_bag, record_call
from colscan.app.patches import left_out, patch_views
from colscan.app.web.looks import PatchLook, find_looks, patches_of
from colscan.app.web.said import read_call
from colscan.errors import TrialError
from colscan.growth.records import records_of, standing_calls
from colscan.growth.surroundings import surroundings
from colscan.ledger import Ledger, read_ledger
from colscan.ledger.columns import ACTIONS, PLACES, VerdictRow
from colscan.present.cautions import SPORE_CAUTION
from colscan.trial import load_trial
from colscan.trial.model import Trial

STATIC = {"site.css": "text/css", "site.js": "text/javascript", "icon.svg": "image/svg+xml"}
"""All files that can be asked for, by name: no path of a request is ever opened."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trial:
    """A trial as it stands at this request: another reviewer, or a scan, may have added to it meanwhile."""

    folder: Path
    trial: Trial
    ledger: Ledger

    def standing(self, bag: str, patch: str | None) -> VerdictRow | None:
        """The call that stands on a patch, or on a whole bag."""
        for record in records_of(self.trial, self.ledger):
            if record.bag.bag == bag:
                return next((call for call in standing_calls(record) if call.patch == patch), None)
        return None


def _open(folder: Path) -> _Trial:
    return _Trial(folder=folder, trial=load_trial(folder), ledger=read_ledger(folder))


def add_pages(app: Flask, trial_dir: Path) -> None:
    """Give an application its pages.

    Parameters
    ----------
    app : Flask
        The application.
    trial_dir : Path
        The trial's folder.
    """
    static = {name: files(__package__).joinpath("static", name).read_bytes() for name in STATIC}
    app.jinja_env.globals.update(target=describe_target, places=PLACES, actions=ACTIONS)
    app.add_url_rule("/", "first", partial(_show_first, trial_dir))
    app.add_url_rule("/patch", "patch", partial(_show_patch, trial_dir))
    app.add_url_rule("/crop", "crop", partial(_send_crop, trial_dir))
    app.add_url_rule("/verdict", "verdict", partial(_record, trial_dir), methods=["POST"])
    app.add_url_rule("/static/<name>", "static", partial(_send_static, static))


def _show_first(folder: Path) -> str:
    here = _open(folder)
    looks = find_looks(here.trial, here.ledger, units.now())
    return render_template("looks.html", trial=here.trial, looks=looks, recorded=_just_said(here))


def _show_patch(folder: Path) -> str:
    here, bag, patch = _open(folder), request.args.get("bag", ""), request.args.get("patch", "")
    look = _find_patch(here, bag, patch)
    waiting = find_looks(here.trial, here.ledger, units.now()).patches
    before, after = _neighbours(waiting, look)
    views = patch_views(folder, here.trial, here.ledger, bag, patch)
    return render_template(
        "patch.html",
        trial=here.trial,
        look=look,
        views=views,
        gone=left_out(here.ledger, bag, patch, views=views),
        before=before,
        after=after,
        waiting=len(waiting),
        recorded=_just_said(here),
        caution=SPORE_CAUTION,
    )


def _find_patch(here: _Trial, bag: str, patch: str) -> PatchLook:
    known_bag(here.trial, bag)
    record = next(record for record in records_of(here.trial, here.ledger) if record.bag.bag == bag)
    looks = patches_of(record)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _JustSaid:
    """The call that the page before recorded, to be taken back at once; and what surrounds a lost bag."""

    call: VerdictRow
    around: Sequence[str]


def _just_said(here: _Trial) -> _JustSaid | None:
    bag = request.args.get("said_bag")
    call = here.standing(bag, request.args.get("said_patch") or None) if bag else None
    if call is None:
        return None
    lost = call.call == "contaminated"
    around = say_surroundings(surroundings(here.trial, here.ledger, call.bag, units.now())) if lost else ()
    return _JustSaid(call=call, around=around)


def _send_crop(folder: Path) -> Response:
    here, asked = _open(folder), request.args
    bag, patch = asked.get("bag", ""), asked.get("patch", "")
    _find_patch(here, bag, patch)
    views = patch_views(folder, here.trial, here.ledger, bag, patch)
    view = next((view for view in views if view.photo_sha256 == asked.get("photo")), None)
    if view is None:
        abort(404, "That photo doesn't show this patch's place, or it can't be read any more.")
    # A photo's bytes never change under its hash; still private, as the trial is.
    return Response(view.jpeg, mimetype="image/jpeg", headers={"Cache-Control": "private, max-age=600"})


def _send_static(static: dict[str, bytes], name: str) -> Response:
    if name not in static:
        abort(404)
    return Response(static[name], mimetype=STATIC[name])


def _record(folder: Path) -> AnyResponse:
    here = _open(folder)
    row = read_call(request.form, units.now().astimezone(here.trial.zone))
    following = _after(here, row)
    record_call(folder, here.trial, here.ledger, row)
    said: dict[str, Any] = (
        {} if row.call == "withdrawn" else {"said_bag": row.bag, "said_patch": row.patch or ""}
    )
    if following is None:
        return redirect(url_for("first", **said), code=303)
    bag, patch = following
    return redirect(url_for("patch", bag=bag, patch=patch, **said), code=303)


def _after(here: _Trial, row: VerdictRow) -> tuple[str, str] | None:
    """The patch to go to from a call: the next one to judge, and from one taken back to its own."""
    if row.patch is None:
        return None
    look = _find_patch(here, row.bag, row.patch)
    if row.call == "withdrawn":
        return row.bag, row.patch
    waiting = [
        other
        for other in find_looks(here.trial, here.ledger, units.now()).patches
        # A lost bag's other patches need no more eyes.
        if _key(other) == _key(look) or row.call != "contaminated" or other.suspect.bag != row.bag
    ]
    before, after = _neighbours(waiting, look)
    following = after or (waiting[0] if before else None)
    return None if following is None else _key(following)
