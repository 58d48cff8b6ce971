"""Signs of what to do with a bag, beside the words: for a glance at a small picture."""

from __future__ import annotations

from colscan.growth.model import Advice

SIGNS = {
    Advice.LOOK: "!",
    Advice.TURN: "\N{CLOCKWISE OPEN CIRCLE ARROW}",
    Advice.READY: "\N{RIGHTWARDS ARROW}",
    Advice.STALLED: "\N{HORIZONTAL ELLIPSIS}",
    Advice.CONTAMINATED: "\N{HEAVY MULTIPLICATION X}",
    Advice.DISCARDED: "\N{HEAVY MULTIPLICATION X}",
    Advice.MISSING: "?",
}
"""By advice; where nobody has to go there is none."""
