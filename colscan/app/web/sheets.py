"""The sheets to print, as `colscan cards` makes them: drawn in memory and sent as files."""

from __future__ import annotations

import re
from threading import Lock
from unicodedata import normalize

from flask import Flask, Response, request

from colscan.app.sheets import SHEETS, draw_sheet
from colscan.app.web.site import Site, Standing
from colscan.errors import TrialError
from colscan.present.paper import PAPERS

_LONGEST_NAME = 60
_CAN_BE_BLIND = ("cards", "shelf-plan")
# What draws them shares its fonts among threads.
_DRAWING = Lock()


def add_sheets(app: Flask, site: Site) -> None:
    """Give an application the sheets to print: /cards.pdf, /mixing.pdf, /shelf-plan.pdf, /practice.pdf.

    `paper` is letter (by default) or a4; `blind`, yes or no, by default as the trial is judged.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """
    names = ",".join(f"'{name}'" for name in SHEETS)
    app.add_url_rule(f"/<any({names}):sheet>.pdf", "sheet", lambda sheet: _send(site.open(), sheet))


def _send(here: Standing, sheet: str) -> Response:
    paper = PAPERS[_choice("paper", tuple(PAPERS), "letter")]
    blind = _choice("blind", ("yes", "no"), "yes" if here.blind else "no") == "yes"
    with _DRAWING:
        data = draw_sheet(sheet, here.trial, paper, blind=blind)
    name = f"{_plain_name(here.trial.name)}-{sheet}{'-blind' if blind and sheet in _CAN_BE_BLIND else ''}.pdf"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(data, mimetype="application/pdf", headers=headers)


def _choice(name: str, words: tuple[str, ...], default: str) -> str:
    word = request.args.get(name) or default
    if word not in words:
        msg = f"{name} {word!r} is none of its words."
        raise TrialError(msg, f"They are: {', '.join(words)}.")
    return word


def _plain_name(name: str) -> str:
    """A trial's name as any system takes it in a file's name."""
    ascii_only = normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9]+", "-", ascii_only)[:_LONGEST_NAME].strip("-") or "trial"
