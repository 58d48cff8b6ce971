"""What a form says, as a row: every word is checked against the declared columns."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from colscan.app.calls import known_bag
from colscan.app.happenings import check_known_shelf, find_subject
from colscan.app.times import time_said
from colscan.errors import TrialError
from colscan.ledger.columns import EventRow, HarvestRow, VerdictRow
from colscan.tables import Row, columns_of, parse_cell
from colscan.trial.model import Trial

LONGEST_NOTE = 500
"""Letters: what fits a phone's screen and a cell that can still be read."""
NOT_AHEAD = timedelta(0)
"""A time is typed in for what happened before; without one it is now, by this machine's clock."""


def read_call(form: Mapping[str, str], now: datetime, *, by: str | None, blind: bool) -> VerdictRow:
    """Return the call that a form says.

    Parameters
    ----------
    form : mapping of str to str
        Fields bag, patch (empty for the whole bag, which somebody had in the hand), photo (the one that was
        looked at for a call on a patch; taking one back needs none), call, where, action and note.
    now : datetime
        When it is said, aware, in the trial's zone.
    by : str or None
        Who says it.
    blind : bool
        Whether the pages hide strain and treatment.

    Raises
    ------
    TrialError
        When a word is none of its column's, a contaminated bag comes without what was done with it, a call on
        a patch without its photo, or the note is too long.
    """
    patch, call = form.get("patch") or None, _choice(form, VerdictRow, "call")
    if call is None:
        msg = "No call was given."
        raise TrialError(msg, "Say contaminated, harmless or unsure.")
    lost = call == "contaminated"
    action = _choice(form, VerdictRow, "action") if lost else None
    if lost and action is None:
        msg = "It isn't said what was done with the bag."
        raise TrialError(msg, "Go back and choose: watched, isolated or discarded.")
    found_by, photo = "photo" if patch else "hand", None
    if patch and call != "withdrawn":
        photo = form.get("photo") or None
        if photo is None:
            msg = f"It isn't said which photo of patch {patch!r} was looked at."
            raise TrialError(msg, "Go back, reload the page, and say it once more.")
    return VerdictRow(
        at=now,
        bag=form.get("bag", ""),
        patch=patch,
        photo_sha256=photo,
        call=call,
        where=_choice(form, VerdictRow, "where") if lost else None,
        found_by=None if call == "withdrawn" else found_by,
        action=action,
        blind="yes" if blind else "no",
        by=by,
        note=_note(form, "note"),
    )


def read_event(form: Mapping[str, str], trial: Trial) -> EventRow:
    """Return the event that a form says.

    Parameters
    ----------
    form : mapping of str to str
        Fields what, scope, name (nothing for the room), at (empty for now) and note; to_shelf of what was
        moved to a shelf of the trial, and other, the note of `other`.
    trial : Trial
        The plan.

    Raises
    ------
    TrialError
        When a word is none of its column's, the trial has no such bag or shelf, the time can't be, or the
        note is too long.
    """
    what, scope = _choice(form, EventRow, "what"), _choice(form, EventRow, "scope")
    if what is None or scope is None:
        msg = "It isn't said what happened, or what it happened to."
        raise TrialError(msg, "Go back and press one of the buttons.")
    name = form.get("name", "")
    subject = find_subject(trial, [name] if scope == "bag" else [], name if scope == "shelf" else None)
    detail = _note(form, "other" if what == "other" else "note")
    to_shelf = form.get("to_shelf") if what == "moved" else None
    if to_shelf:
        check_known_shelf(trial, to_shelf)
        detail = to_shelf
    when = time_said(form.get("at") or None, trial, subject.first_bag, "When", future_limit=NOT_AHEAD)
    return EventRow(at=when, scope=scope, name=subject.names[0], what=what, detail=detail)


def read_harvest(form: Mapping[str, str], trial: Trial) -> HarvestRow:
    """Return the weight that a form says.

    Parameters
    ----------
    form : mapping of str to str
        Fields bag, flush, fresh_g, saleable_g (may be empty), at (empty for now) and note.
    trial : Trial
        The plan.

    Raises
    ------
    TrialError
        When the trial has no such bag, a number is none or can't be, or the time can't be.
    """
    bag = known_bag(trial, form.get("bag", ""))
    when = time_said(form.get("at") or None, trial, bag, "When", future_limit=NOT_AHEAD)
    return HarvestRow(
        at=when,
        bag=bag.bag,
        flush=_number(form, "flush"),
        fresh_g=_number(form, "fresh_g"),
        saleable_g=_number(form, "saleable_g") if form.get("saleable_g", "").strip() else None,
        note=_note(form, "note"),
    )


def _choice(form: Mapping[str, str], row_type: type[Row], name: str) -> str | None:
    word = form.get(name) or None
    choices = columns_of(row_type)[name].choices
    if word is not None and word not in choices:
        msg = f"{name} {word!r} is none of its words."
        raise TrialError(msg, f"They are: {', '.join(choices)}.")
    return word


def _number(form: Mapping[str, str], name: str) -> Any:
    """The value of a harvest's number, as its column has it."""
    declared = columns_of(HarvestRow)[name]
    text = form.get(name, "").strip()
    if not text:
        msg = f"{name} is empty."
        raise TrialError(msg, f"Go back and fill it in: {declared.meaning}")
    try:
        return parse_cell(declared, text)
    except ValueError as error:
        msg = f"{name}: {error}."
        raise TrialError(msg, f"Go back and correct it. {declared.meaning}") from None


def _note(form: Mapping[str, str], name: str) -> str | None:
    """The note on one line, without characters that can't be seen."""
    line = on_one_line(form.get(name, ""))
    if len(line) > LONGEST_NOTE:
        msg = f"The note has {len(line)} letters, more than {LONGEST_NOTE}."
        raise TrialError(msg, "Go back and shorten it.")
    return line or None


def on_one_line(text: str) -> str:
    """Return a text on one line, with single blanks and without characters that can't be seen."""
    shown = "".join(" " if unicodedata.category(letter) in ("Cc", "Zl", "Zp") else letter for letter in text)
    return " ".join(shown.split())
