"""What to do with a bag as a sign and a word, and its reason as far as who judges may know it."""

from __future__ import annotations

from colscan.app.web.site import Standing
from colscan.growth.model import Advice, BagStatus

SIGNS = {
    Advice.LOOK: "!",
    Advice.TURN: "\N{CLOCKWISE OPEN CIRCLE ARROW}",
    Advice.READY: "\N{RIGHTWARDS ARROW}",
    Advice.STALLED: "\N{HORIZONTAL ELLIPSIS}",
    Advice.CONTAMINATED: "\N{HEAVY MULTIPLICATION X}",
    Advice.DISCARDED: "\N{HEAVY MULTIPLICATION X}",
    Advice.MISSING: "?",
}
"""Signs of what a grower should see at a glance; the others have none."""
_COMPARED = (Advice.WAIT, Advice.STALLED)
"""Their reasons hold a bag against its siblings, whose strain and treatment they name."""


def reason_of(here: Standing, status: BagStatus) -> str:
    """Return why that is to be done; nothing where it would tell the treatment to who judges blind.

    Parameters
    ----------
    here : Standing
        The trial.
    status : BagStatus
        One of its bags today.
    """
    return "" if here.blind and status.advice in _COMPARED else status.why
