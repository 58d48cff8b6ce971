"""What the page before wrote into events.csv or harvests.csv: said again, with the line where it stands."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from flask import request

from colscan.app.happenings import describe_event, say_late
from colscan.app.harvests import say_doubt, say_efficiency, say_uncounted
from colscan.app.web.recorded import JUST
from colscan.app.web.site import Standing
from colscan.ledger import holder_of, lines_to_come, read_waiting
from colscan.ledger.columns import EventRow, HarvestRow
from colscan.tables import Line, Row, format_rows, parse_table, read_bytes

KINDS: dict[str, type[EventRow] | type[HarvestRow]] = {"event": EventRow, "weight": HarvestRow}
MARK_LETTERS = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class JustWritten:
    """A row that the page before wrote.

    Parameters
    ----------
    what : str
        What it says.
    more : tuple of str
        What follows from it, a sentence or line each.
    secret : tuple of str
        Likewise, but what gives away a bag's treatment.
    undo : str
        How it is taken back.
    """

    what: str
    more: tuple[str, ...]
    secret: tuple[str, ...] = ()
    undo: str


def mark_written(here: Standing, kind: str, row: EventRow | HarvestRow) -> dict[str, str]:
    """Return the parts of an address from which `just_written` finds a row again."""
    return {"said": kind, "said_row": _mark(row), "said_at": f"{here.now.timestamp():.0f}"}


def just_written(here: Standing) -> JustWritten | None:
    """Return the row that the address of this page names, None without one that stands.

    Parameters
    ----------
    here : Standing
        The trial.
    """
    kind, said_at = request.args.get("said", ""), request.args.get("said_at", "")
    if kind not in KINDS or not said_at.isdecimal() or len(said_at) > MARK_LETTERS:
        return None
    if abs(here.now.timestamp() - int(said_at)) > JUST.total_seconds():
        return None
    lines = _lines(here, KINDS[kind])
    found = [line for line in lines if _mark(line.row) == request.args.get("said_row")]
    if not found:
        return None
    row, number = found[-1].row, found[-1].number
    if isinstance(row, HarvestRow):
        return _say_weight(here, row, number, [line.row for line in lines if line.number < number])
    assert isinstance(row, EventRow)
    return _say_event(here, row, number)


def _lines(here: Standing, row_type: type[Row]) -> tuple[Line[Row], ...]:
    waiting = read_waiting(here.folder)
    raw = read_bytes(here.folder / row_type.FILE)
    lines = parse_table(raw, row_type, source=row_type.FILE).lines
    return (*lines, *lines_to_come(waiting, row_type, lines))


def _line(here: Standing, row: EventRow | HarvestRow, number: int) -> str:
    if holder_of(here.folder, row):
        return f"its line of {row.FILE}, once it is appended,"
    return f"line {number} of {row.FILE}"


def _mark(row: Row) -> str:
    """What tells one row from others, and no longer finds it once it is changed."""
    return hashlib.sha256(format_rows([row])).hexdigest()[:MARK_LETTERS]


def _say_event(here: Standing, row: EventRow, number: int) -> JustWritten:
    late = say_late(here.trial, here.ledger, [row])
    detail = f" ({row.detail})" if row.detail else ""
    return JustWritten(
        what=f"{describe_event(row, here.trial.zone)}{detail}",
        more=(" ".join(late),) if late else (),
        undo=f"A slip? An event has no row that takes it back: delete {_line(here, row, number)}"
        " in a text editor.",
    )


def _say_weight(here: Standing, row: HarvestRow, number: int, before: list[Row]) -> JustWritten:
    saleable = "" if row.saleable_g is None else f", {row.saleable_g:g} g of it saleable"
    at = f"{row.at.astimezone(here.trial.zone):%Y-%m-%d %H:%M}"
    more = []
    old = [one for one in before if isinstance(one, HarvestRow) and _flush(one) == _flush(row)]
    if old:
        old_at = f"{old[-1].at.astimezone(here.trial.zone):%Y-%m-%d %H:%M}"
        more.append(f"It replaces the record of {old_at}: {old[-1].fresh_g:g} g fresh.")
    more += filter(None, [say_doubt(here.trial, row), say_uncounted(here.record(row.bag), row)])
    flushes = [one.fresh_g for one in here.ledger.harvests if one.bag == row.bag]
    efficiency = say_efficiency(here.trial, here.record(row.bag).bag, sum(flushes))
    return JustWritten(
        what=f"{at}  bag {row.bag}, flush {row.flush}: {row.fresh_g:g} g fresh{saleable}",
        more=tuple(more),
        secret=(efficiency,) if efficiency else (),
        undo=f"A slip? Weigh the flush again: the latest row counts. Another bag's? Then also delete"
        f" {_line(here, row, number)} in a text editor.",
    )


def _flush(row: HarvestRow) -> tuple[str, int]:
    return row.bag, row.flush
