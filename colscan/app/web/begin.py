"""The page that begins a trial: a form, what its plan would be, and the files written once."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from zoneinfo import available_timezones

from flask import Flask, redirect, render_template, request
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from colscan.app.how_many import ChanceTable, find_chances, lay_out_chances
from colscan.app.plan import count_bags, draw_wishes, holds_trial, new_seed, say_plan
from colscan.app.sheets import SHEETS, say_missing
from colscan.app.web.begin_form import LABELS, ROWS, Typed, read_typed, read_wishes, say_trouble, settle
from colscan.app.web.guard import FOR_HOME, FOR_STRANGERS
from colscan.app.web.site import Site
from colscan.errors import ColscanError, TrialError
from colscan.trial import find_confounded, find_trials, load_trial, write_plan
from colscan.trial.layout import EXAMPLE_SUPPLEMENT
from colscan.trial.model import PLAN_FILE, Bag, Limits
from colscan.trial.recipe import Base
from colscan.trial.zones import choose_zone
from colscan.units import count_of, to_pct

Page = tuple[str, int]
_ALWAYS = frozenset({"begin", "begin_now", "static"}) | FOR_STRANGERS | FOR_HOME
"""What there is before a trial is: its beginning, and the pairing of phones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the trial will be: its folder, how much else is in it, and the trials beside it."""

    folder: Path
    others: int
    beside: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """A plan to look at, the fields that draw it again, and what it can show and what not."""

    name: str
    count: str
    drawn: tuple[str, ...]
    notes: tuple[str, ...]
    confounded: tuple[str, ...]
    tables: list[ChanceTable]
    explained: list[str]
    options: str
    settled: Typed


def add_begin(app: Flask, site: Site) -> None:
    """Give an application the pages that begin its trial; until it is begun all others lead there.

    But where there are bags only the plan is away, for a moment, as where its folder is synced: that is said;
    and of what is sent, that it isn't recorded.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial, or the folder where it will be.
    """
    lock = Lock()

    def lead_to_begin() -> AnyResponse | None:
        if request.endpoint in _ALWAYS or _is_begun(site.folder):
            return None
        if request.method == "POST" or (site.folder / Bag.FILE).exists():
            msg = f"{PLAN_FILE} isn't in the trial's folder at this moment."
            raise TrialError(msg, "Go back and try once more. If this stays, put the file back.")
        return redirect("/begin", code=302)

    app.before_request(lead_to_begin)
    app.add_url_rule("/begin", "begin", lambda: _show(site.folder))
    app.add_url_rule("/begin", "begin_now", lambda: _begin(site.folder, lock), methods=["POST"])
    app.add_url_rule("/begun", "begun", lambda: _tell_begun(site))


def _is_begun(folder: Path) -> bool:
    return (folder / PLAN_FILE).exists()


def _show(folder: Path) -> AnyResponse | Page:
    if _is_begun(folder):
        return redirect("/trial", code=302)
    if not request.args:
        return _page(folder, _blank(folder))
    typed = read_typed(MultiDict(request.args))
    try:
        preview = _look(folder, typed)
    except ColscanError as error:
        return _page(folder, typed, error)
    return _page(folder, preview.settled, preview=preview)


def _begin(folder: Path, lock: Lock) -> AnyResponse | Page:
    """Write the plan; who comes second is told, or is led on when it is the very same plan."""
    typed = read_typed(request.form)
    try:
        with lock:
            made = draw_wishes(folder, read_wishes(typed))
            if not holds_trial(folder):
                write_plan(folder, made)
            elif made.trial != load_trial(folder):
                return _page(folder, typed, _say_taken(folder))
    except ColscanError as error:
        return _page(folder, typed, error)
    return redirect("/begun", code=303)


def _say_taken(folder: Path) -> TrialError:
    trial = load_trial(folder)
    bags = count_of(len(trial.bags), "bag")
    msg = f"a trial was begun here meanwhile: {trial.name}, {bags}. Yours was not written"
    return TrialError(msg, "Look at the one that is there, or begin yours in another folder.")


def _look(folder: Path, typed: Typed) -> Preview:
    holds_trial(folder)  # what can't take a trial is said before anybody fills in the rest
    # The seed is drawn here, so that what is begun is what was looked at.
    wishes = read_wishes(typed)
    seed = new_seed() if wishes.seed is None else wishes.seed
    made = draw_wishes(folder, dataclasses.replace(wishes, seed=seed))
    chances = find_chances(made.trial)
    return Preview(
        name=made.trial.name,
        count=count_bags(made),
        drawn=say_plan(made),
        notes=made.notes,
        confounded=find_confounded(made.trial.bags),
        tables=lay_out_chances(chances),
        explained=chances.notes,
        options=made.trial.plan,
        settled=settle(typed, seed=seed, inoculated_at=made.trial.bags[0].inoculated_at),
    )


def _page(
    folder: Path, typed: Typed, error: ColscanError | None = None, preview: Preview | None = None
) -> Page:
    shown = render_template(
        "begin.html",
        labels=LABELS,
        typed=typed,
        rows=ROWS,
        place=_look_round(folder),
        begun=_is_begun(folder),
        zones=sorted(available_timezones()),
        bases=[(base.name.lower(), base.value) for base in Base],
        trouble=None if error is None else say_trouble(error),
        preview=preview,
    )
    return shown, 200 if error is None else 400 if isinstance(error, TrialError) else 500


def _blank(folder: Path) -> Typed:
    """The form before anything is typed."""
    return Typed(
        name=folder.resolve().name,
        zone=choose_zone(None, ()).name,
        supplement=EXAMPLE_SUPPLEMENT,
        base=Base.MAIN.name.lower(),
        accept=f"{to_pct(Limits().contamination_risk):g}",
        blanks="0",
        seed=str(new_seed()),
    )


def _look_round(folder: Path) -> Place:
    own = folder.resolve()
    try:
        others = sum(1 for _ in own.iterdir())
    except OSError:  # not there yet
        others = 0
    beside = tuple(path.name for path in find_trials(own.parent) if path != own)
    return Place(folder=own, others=others, beside=beside)


def _tell_begun(site: Site) -> str:
    here = site.open()
    missing = dict.fromkeys(line for sheet in SHEETS for line in say_missing(sheet, here.trial))
    return render_template("begun.html", here=here, files=(PLAN_FILE, Bag.FILE), missing=list(missing))
