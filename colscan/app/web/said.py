"""What a form says of a bag or a patch, as a row: every word is checked against the declared columns."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from datetime import datetime

from colscan.errors import TrialError
from colscan.ledger.columns import VerdictRow
from colscan.tables import columns_of

LONGEST_NOTE = 500
"""Letters: what fits a phone's screen and a cell that can still be read."""


def read_call(form: Mapping[str, str], now: datetime, *, blind: bool) -> VerdictRow:
    """Return the call that a form says.

    Parameters
    ----------
    form : mapping of str to str
        Fields bag, patch (empty for the whole bag), call, where, action and note.
    now : datetime
        When it is said, aware, in the trial's zone.
    blind : bool
        Whether the pages hide strain and treatment.

    Raises
    ------
    TrialError
        When a word is none of its column's, a contaminated bag comes without what was done with it, or the
        note is too long.
    """
    patch, call = form.get("patch") or None, _choice(form, "call")
    if call is None:
        msg = "No call was given."
        raise TrialError(msg, "Say contaminated, harmless or unsure.")
    lost = call == "contaminated"
    action = _choice(form, "action") if lost else None
    if lost and action is None:
        msg = "It isn't said what was done with the bag."
        raise TrialError(msg, "Go back and choose: watched, isolated or discarded.")
    return VerdictRow(
        at=now,
        bag=form.get("bag", ""),
        patch=patch,
        call=call,
        where=_choice(form, "where") if lost else None,
        found_by="photo" if patch and call != "withdrawn" else None,
        action=action,
        blind="yes" if blind else "no",
        note=_note(form.get("note", "")),
    )


def _choice(form: Mapping[str, str], name: str) -> str | None:
    word = form.get(name) or None
    choices = columns_of(VerdictRow)[name].choices
    if word is not None and word not in choices:
        msg = f"{name} {word!r} is none of its words."
        raise TrialError(msg, f"They are: {', '.join(choices)}.")
    return word


def _note(text: str) -> str | None:
    """The note on one line, without characters that can't be seen."""
    shown = "".join(" " if unicodedata.category(letter) in ("Cc", "Zl", "Zp") else letter for letter in text)
    line = " ".join(shown.split())
    if len(line) > LONGEST_NOTE:
        msg = f"The note has {len(line)} letters, more than {LONGEST_NOTE}."
        raise TrialError(msg, "Go back and shorten it.")
    return line or None
