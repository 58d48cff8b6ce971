"""What the page before recorded: said again on the page after, to be taken back at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from flask import request

from colscan.app.around import say_surroundings
from colscan.app.calls import name_call
from colscan.app.web.looks import patches_of
from colscan.app.web.site import Standing
from colscan.growth.surroundings import surroundings
from colscan.ledger.columns import VerdictRow
from colscan.trial.blinding import hide_telling_batches

LEFT_OUT = "Judged blind: mixes, and heat runs or spawn lots that would tell a treatment, are left out."
JUST = timedelta(minutes=10)
"""After that a page that is opened anew is no answer to what was said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JustSaid:
    """The call that stands where the page before recorded one, and what surrounds a lost bag.

    `replaced` says whether it is another one than that; `newer_photo` whether a photo that came after the one
    that was looked at shows its patch.
    """

    call: VerdictRow
    replaced: bool
    around: Sequence[str]
    newer_photo: bool


def mark_said(row: VerdictRow) -> dict[str, str]:
    """Return the parts of an address from which `just_said` knows a call again."""
    return {"said_bag": row.bag, "said_patch": row.patch or "", "said_call": name_call(row)}


def just_said(here: Standing) -> JustSaid | None:
    """Return the call on what the address of this page names, None without one that stands.

    Parameters
    ----------
    here : Standing
        The trial.
    """
    bag = request.args.get("said_bag")
    call = here.call_on(bag, request.args.get("said_patch") or None) if bag else None
    if call is None or here.now - call.at > JUST:
        return None
    return JustSaid(
        call=call,
        replaced=request.args.get("said_call", name_call(call)) != name_call(call),
        around=_say_around(here, call.bag) if call.call == "contaminated" else (),
        newer_photo=any(
            look.suspect.patch == call.patch and look.suspect.photo_sha256 != call.photo_sha256
            for look in patches_of(here.record(call.bag))
        ),
    )


def _say_around(here: Standing, bag: str) -> list[str]:
    """What surrounds a lost bag, without the batches that would tell its treatment while that is hidden."""
    trial = hide_telling_batches(here.trial) if here.blind else here.trial
    lines = say_surroundings(surroundings(trial, here.ledger, bag, here.now))
    return [*lines, LEFT_OUT] if here.blind else lines
