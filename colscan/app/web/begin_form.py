"""The form that begins a trial: its fields as typed, as wishes, and errors in the words of its labels."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import zip_longest

from werkzeug.datastructures import MultiDict

from colscan.app.plan import RANGES, Wishes
from colscan.errors import ColscanError, TrialError
from colscan.trial.model import Shelf
from colscan.trial.recipe import Base

ROWS = 3
"""Rows of strains, levels and shelves for who has no script to add more."""
MOST_ROWS = 60
LONGEST = 200
"""Letters of a field."""
_SEED = (0, 999_999_999)
LABELS = {
    "name": "Name",
    "question": "Question",
    "zone": "Time zone",
    "inoculated_at": "Day 0",
    "strain": "Strain",
    "lots": "Spawn lots",
    "supplement": "Supplement",
    "base": "A level is a percentage of",
    "level": "Level",
    "replicates": "Bags of each kind",
    "accept": "Accepted loss",
    "heat_runs": "Heat runs",
    "vessel": "Bags in one heat run",
    "blanks": "Blanks in each heat run",
    "mix_capacity": "Bags from one mix",
    "first_tag": "Tag of the first card",
    "shelf": "Shelf",
    "tiers": "Tiers",
    "seed": "Seed",
}
"""What each field is called: on the page, and in what is said of it."""
_OPTIONS = {f"--{name.replace('_', '-')}": name for name in LABELS} | {"--spawn-lot": "lots"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """The fields as somebody typed them; a strain comes with its spawn lots, a shelf with its tiers."""

    name: str = ""
    question: str = ""
    zone: str = ""
    inoculated_at: str = ""
    supplement: str = ""
    base: str = ""
    replicates: str = ""
    accept: str = ""
    heat_runs: str = ""
    vessel: str = ""
    blanks: str = ""
    mix_capacity: str = ""
    first_tag: str = ""
    seed: str = ""
    strains: tuple[tuple[str, str], ...] = ()
    levels: tuple[str, ...] = ()
    shelves: tuple[tuple[str, str], ...] = ()

    @property
    def level_rows(self) -> tuple[tuple[str], ...]:
        """The levels, each as a row of one field."""
        return tuple((level,) for level in self.levels)

    @property
    def words(self) -> list[tuple[str, str]]:
        """Each field's name and text, in order: what a form sends."""
        single = [
            (field.name, getattr(self, field.name))
            for field in dataclasses.fields(self)
            if field.type in (str, "str")
        ]
        strains = [pair for code, lots in self.strains for pair in (("strain", code), ("lots", lots))]
        shelves = [pair for name, tiers in self.shelves for pair in (("shelf", name), ("tiers", tiers))]
        return [*single, *strains, *(("level", level) for level in self.levels), *shelves]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """What is wrong with the fields, what to do, and the field that it is about, if it is known."""

    what: str
    hint: str
    field: str | None

    def rows_of(self, filled: Sequence[tuple[str, ...]]) -> tuple[int, ...]:
        """Return which of its field's rows, from 1 on, it is about: those it quotes, else those filled in."""
        quoted = [number for number, row in enumerate(filled, 1) if any(map(self._quotes, row))]
        return tuple(quoted or range(1, len(filled) + 1) or (1,))

    def _quotes(self, text: str) -> bool:
        return bool(text) and re.search(rf"(?<!\w){re.escape(text)}(?!\w)", self.what) is not None


def read_typed(form: MultiDict[str, str]) -> Typed:
    """Return the fields of a form as typed, without spaces round them; rows left empty are left out.

    Parameters
    ----------
    form : MultiDict
        What was sent.
    """
    names = [field.name for field in dataclasses.fields(Typed) if field.type in (str, "str")]
    single = {name: form.get(name, "").strip() for name in names}
    return Typed(
        **single,
        strains=_pairs(form, "strain", "lots"),
        levels=tuple(level for text in form.getlist("level") if (level := text.strip())),
        shelves=_pairs(form, "shelf", "tiers"),
    )


def _pairs(form: MultiDict[str, str], first: str, second: str) -> tuple[tuple[str, str], ...]:
    both = zip_longest(form.getlist(first), form.getlist(second), fillvalue="")
    stripped = ((one.strip(), other.strip()) for one, other in both)
    return tuple((one, other) for one, other in stripped if one or other)


def read_wishes(typed: Typed) -> Wishes:
    """Return what the fields wish for.

    Parameters
    ----------
    typed : Typed
        The fields.

    Raises
    ------
    TrialError
        When a field isn't what it should be; it is named as the option of `colscan plan`.
    """
    _check_size(typed)
    for code, lots in typed.strains:
        if not code:
            msg = f"--spawn-lot {lots!r} has no strain"
            raise TrialError(msg, "Write the strain's code beside it, or empty both.")
    if typed.base not in (base.name.lower() for base in Base):
        msg = f"--base {typed.base!r} is no base"
        raise TrialError(msg, "Choose one of those offered.")
    replicates = _whole("replicates", typed.replicates)
    if replicates is None:
        msg = "--replicates is empty"
        raise TrialError(msg, "Write how many bags of each strain at each level.")
    return Wishes(
        strains=tuple(code for code, _ in typed.strains),
        spawn_lots=tuple((code, lot) for code, lots in typed.strains for lot in _split_lots(lots)),
        levels_pct=tuple(_number("level", level) for level in typed.levels),
        supplement=typed.supplement,
        base=Base[typed.base.upper()].value,
        replicates=replicates,
        name=typed.name or None,
        question=typed.question,
        zone=typed.zone or None,
        accept_pct=_number("accept", typed.accept) if typed.accept else None,
        inoculated_at=typed.inoculated_at or None,
        first_tag=_whole("first_tag", typed.first_tag),
        heat_runs=_whole("heat_runs", typed.heat_runs),
        vessel=_whole("vessel", typed.vessel),
        blanks=_whole("blanks", typed.blanks) or 0,
        mix_capacity=_whole("mix_capacity", typed.mix_capacity),
        shelves=tuple(_read_shelf(name, tiers) for name, tiers in typed.shelves),
        seed=_whole("seed", typed.seed, _SEED),
    )


def settle(typed: Typed, *, seed: int, inoculated_at: datetime) -> Typed:
    """Return the fields with what was drawn or taken from today filled in: sent again, they mean the same.

    Parameters
    ----------
    typed : Typed
        The fields.
    seed : int
        The seed of the draw.
    inoculated_at : datetime
        Day 0, in the trial's zone.
    """
    day = typed.inoculated_at or inoculated_at.strftime("%Y-%m-%dT%H:%M")
    return dataclasses.replace(typed, seed=str(seed), inoculated_at=day)


def say_trouble(error: ColscanError) -> Trouble:
    """Return an error in the words of the page: options by the labels of their fields.

    Parameters
    ----------
    error : ColscanError
        What is wrong with the fields.
    """
    named = [_OPTIONS[option] for option in re.findall(r"--[a-z-]+", error.message) if option in _OPTIONS]
    return Trouble(
        what=_by_label(error.message), hint=_by_label(error.hint), field=named[0] if named else None
    )


def _by_label(text: str) -> str:
    def label(found: re.Match[str]) -> str:
        name = _OPTIONS.get(found[0])
        return f"“{LABELS[name]}”" if name else found[0]

    said = re.sub(r"--[a-z-]+", label, text)
    return said[:1].upper() + said[1:]


def _check_size(typed: Typed) -> None:
    for name, text in typed.words:
        if len(text) > LONGEST:
            msg = f"--{name.replace('_', '-')} has {len(text)} letters, more than {LONGEST}"
            raise TrialError(msg, "Shorten it.")
    rows = {"strain": typed.strains, "level": typed.levels, "shelf": typed.shelves}
    for name, filled in rows.items():
        if len(filled) > MOST_ROWS:
            msg = f"--{name} is given {len(filled)} times, more than {MOST_ROWS}"
            raise TrialError(msg, "Plan fewer.")


def _whole(name: str, text: str, limits: tuple[int, int] | None = None) -> int | None:
    """Return a whole number within its limits, None for an empty field."""
    if not text:
        return None
    low, high = limits or RANGES[name]
    number = int(text) if re.fullmatch(r"[0-9]{1,9}", text) else None
    if number is None or not low <= number <= high:
        msg = f"--{name.replace('_', '-')} {text!r} is not a whole number from {low} to {high}"
        raise TrialError(msg, "Correct it.")
    return number


def _number(name: str, text: str) -> float:
    """Return a percentage; with a point or a comma before its decimals."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        msg = f"--{name} {text!r} is not a number"
        raise TrialError(msg, "Write it in percent, like 7.5.") from None


def _split_lots(text: str) -> list[str]:
    return [lot for part in text.split(",") if (lot := part.strip())]


def _read_shelf(name: str, tiers: str) -> Shelf:
    count = _whole("tiers", tiers)
    if not name or count is None:
        what = f"--tiers {tiers} have no shelf" if not name else f"--shelf {name!r} has no number of tiers"
        raise TrialError(what, "Write both the shelf's name and how many tiers it has, or empty both.")
    return Shelf(name=name, tiers=count)
