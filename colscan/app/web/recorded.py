"""What the page before recorded: said again on the page after, to be taken back at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from flask import request

from colscan.app.around import say_surroundings
from colscan.app.web.site import Standing
from colscan.growth.surroundings import surroundings
from colscan.ledger.columns import VerdictRow

JUST = timedelta(minutes=10)
"""After that a page that is opened anew is no answer to what was said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JustSaid:
    """The call that the page before recorded; and what surrounds a lost bag."""

    call: VerdictRow
    around: Sequence[str]


def just_said(here: Standing) -> JustSaid | None:
    """Return the call that the address of this page names, None without one that stands.

    Parameters
    ----------
    here : Standing
        The trial.
    """
    bag = request.args.get("said_bag")
    call = here.call_on(bag, request.args.get("said_patch") or None) if bag else None
    if call is None or here.now - call.at > JUST:
        return None
    lost = call.call == "contaminated"
    around = say_surroundings(surroundings(here.trial, here.ledger, call.bag, here.now)) if lost else ()
    return JustSaid(call=call, around=around)
