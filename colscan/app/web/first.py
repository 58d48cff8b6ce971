"""The first page: what needs eyes."""

from __future__ import annotations

from flask import Flask, render_template, request

from colscan.app.web.looks import GROUPS
from colscan.app.web.recorded import just_said
from colscan.app.web.site import Site, Standing

MOST_OPEN = 12
"""Of a longer list the rest is one press away: on a phone's screen what comes after it would not be found."""


def add_first(app: Flask, site: Site) -> None:
    """Give an application its first page.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """

    def show() -> str:
        here = site.open()
        return render_template(
            "looks.html", here=here, recorded=just_said(here), most_open=MOST_OPEN, at=_asked_place(here)
        )

    app.add_url_rule("/", "first", show)


def _asked_place(here: Standing) -> str | None:
    """The place in a list at which the page begins, as its address names it; None for its top."""
    lists = {"unseen": len(here.looks.unseen)}
    lists |= {f"group{number}": len(here.looks.bags[advice]) for number, advice in enumerate(GROUPS, 1)}
    places = {f"{section}-{index}" for section, count in lists.items() for index in range(count)}
    asked = request.args.get("at")
    return asked if asked in places else None
