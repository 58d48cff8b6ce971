"""The keys of trial.toml, each declared once: kind, range, meaning; reader and writer share them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, time, tzinfo
from typing import Any, Literal

from colscan.trial.bagcodes import BREAKS_LINES, breaks_lines
from colscan.trial.model import HEALTHY_LOOKS, JUDGING, SHELF_TAGS
from colscan.trial.zones import check_zone
from colscan.units import YEARS, with_offset

Kind = Literal[
    "text", "texts", "code", "number", "integer", "time", "zone", "horizon", "choice", "choices", "tags"
]
HORIZONS = ("full", "first-harvest")
_A_TIME = "2026-03-30T18:00:00-05:00"


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """What a key of trial.toml may hold and what it means.

    Parameters
    ----------
    kind : str
        `text`, `texts` (a list of them), `code` (a text in one line), `number`, `integer`, `time`, `zone`
        (IANA name), `horizon`, `choice` (one of `choices`), `choices` (a list of them) or `tags` (a list
        of shelf cards' tag ids).
    meaning : str
        For the grower, with the unit.
    required : bool
        Whether the key must be there and not blank.
    choices : tuple of str
        The allowed words.
    low, high : float
        Allowed range of a number, inclusive.
    example : str
        How it is written in TOML; shown where it isn't set.
    """

    kind: Kind
    meaning: str
    required: bool = False
    choices: tuple[str, ...] = ()
    low: float = -math.inf
    high: float = math.inf
    example: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A table of trial.toml: its header and its keys; `repeated` ones are written ``[[header]]``."""

    name: str
    keys: dict[str, Key]
    repeated: bool = False

    @property
    def header(self) -> str:
        """The section as it is written, e.g. ``[[strain]]``; the top has none."""
        if not self.name:
            return "the top of the file"
        return f"[[{self.name}]]" if self.repeated else f"[{self.name}]"


def _pct(meaning: str) -> Key:
    return Key(kind="number", meaning=meaning, low=1, high=100)


TOP = Section(
    name="",
    keys={
        "name": Key(kind="text", required=True, meaning="What the trial is called on screens and charts."),
        "time_zone": Key(
            kind="zone",
            required=True,
            meaning="Time zone of the place (IANA name, such as America/New_York). Photos that do not say"
            " their zone are read in it.",
        ),
        "question": Key(kind="text", meaning="The one question that this trial is for, in a sentence."),
        "planned_end": Key(
            kind="time",
            example=_A_TIME,
            meaning="When the trial is meant to end. Results before that are called interim.",
        ),
        "ended_at": Key(
            kind="time",
            example=_A_TIME,
            meaning="When it did end. From then on its cards (their tags) are free for other trials.",
        ),
        "judging": Key(
            kind="choice",
            choices=JUDGING,
            meaning='How bags are judged on the pages of colscan review: "open", or "blind", without their'
            " strain, treatment and mix until somebody asks for them; that is recorded with each call. Print"
            " the cards with --blind, too.",
        ),
        "plan": Key(
            kind="text",
            meaning="The options and the seed that colscan plan drew the bags with: given again, they draw"
            " the same.",
        ),
    },
)
LIMITS = Section(
    name="limits",
    keys={
        "contamination_risk": Key(
            kind="number",
            low=0.001,
            high=0.999,
            meaning="Share of bags that you accept to lose to contamination, from 0 to 1 (0.2 = one bag in"
            " five). It is held against an upper one-sided 95 % limit.",
        ),
        "horizon": Key(
            kind="horizon",
            low=1,
            high=1000,
            meaning='How long bags are followed before they count as clean: "full" (to full colonization),'
            ' "first-harvest", or a number of days.',
        ),
        "full_coverage_pct": _pct(
            "Coverage from which a bag is full, in percent of the side in view; it must be reached in two"
            " photos running."
        ),
        "ready_coverage_pct": _pct("The low end of that coverage's interval must be over this, in percent."),
        "stalled_points_per_day": Key(
            kind="number",
            low=0,
            high=100,
            meaning="A bag stalls when it lags behind its siblings and gains fewer percentage points a"
            " day than this.",
        ),
        "stalled_days": Key(
            kind="number",
            low=0.1,
            high=365,
            meaning="Days that this must last before a bag is called stalled.",
        ),
        "max_photo_megapixels": Key(
            kind="number",
            low=0.01,
            high=1000,
            meaning="Larger photos, in megapixels, are refused before they are opened.",
        ),
    },
)
RECIPE = Section(
    name="recipe",
    keys={
        "main": Key(
            kind="texts",
            required=True,
            meaning='Main substrate of one bag, each "NAME, AMOUNT, moisture P%"; then, where known, "C P%, N'
            ' P%, source TEXT" and "density D" (kg per litre).',
        ),
        "supplement": Key(
            kind="texts",
            meaning="Supplements likewise, but without amount: their levels are those under [[treatment]].",
        ),
        "other": Key(kind="texts", meaning="Anything else that every bag gets, as gypsum, with its amount."),
        "water": Key(
            kind="text",
            example='"45 oz"',
            meaning="Water added to a bag, at every level alike. Or, instead of it, moisture_pct:",
        ),
        "moisture_pct": Key(
            kind="number",
            low=1,
            high=99,
            example="60",
            meaning="The moisture that each level's water is worked out for, in percent of the wet weight.",
        ),
        "bag_wet": Key(
            kind="text",
            example='"2.5 kg"',
            meaning="Wet weight of a bag without spawn: main, its amount left out, makes it up.",
        ),
        "bag_dry": Key(
            kind="text", example='"1 kg"', meaning="Likewise, the oven-dry matter of a bag instead."
        ),
        "spawn": Key(
            kind="text",
            example='"5% of wet"',
            meaning='Spawn of a bag: a weight, or "5% of wet" (wet substrate), or "10% of dry".',
        ),
        "spawn_moisture_pct": Key(
            kind="number",
            low=0,
            high=99,
            example="45",
            meaning="The spawn's moisture, in percent of its weight. It counts in no moisture of the mix.",
        ),
    },
)
STRAIN = Section(
    name="strain",
    repeated=True,
    keys={
        "code": Key(kind="code", required=True, meaning="Your code of the strain, as in bags.csv."),
        "species": Key(kind="text", meaning="Its species, if you like."),
        "spawn": Key(
            kind="choice", choices=("grain", "sawdust", "plugs"), meaning="Spawn: grain, sawdust or plugs."
        ),
        "consolidate_days": Key(
            kind="number",
            low=0,
            high=365,
            meaning="Days that a full bag of this strain rests before it is ready.",
        ),
        "healthy_looks": Key(
            kind="choices",
            choices=HEALTHY_LOOKS,
            meaning="What this strain shows when it is well, e.g. brown skin, amber drops, coloured pins: any"
            f" of {', '.join(HEALTHY_LOOKS)}. Such patches are noted and raise no alarm.",
        ),
    },
)
TREATMENT = Section(
    name="treatment",
    repeated=True,
    keys={
        "supplement": Key(
            kind="text", required=True, meaning='The supplement, as in bags.csv; "none" for none at all.'
        ),
        "supplement_pct": Key(
            kind="number", required=True, low=0, high=100, meaning="Its level, in percent of supplement_base."
        ),
        "supplement_base": Key(
            kind="text",
            meaning='What the percentage is of: "main substrate as weighed", or "all dry matter, oven-dry";'
            " shown with the number.",
        ),
    },
)
SHELF = Section(
    name="shelf",
    repeated=True,
    keys={
        "name": Key(kind="text", required=True, meaning="The shelf's name, as in bags.csv."),
        "tiers": Key(kind="integer", low=1, high=100, meaning="How many boards with bags it has."),
        "cards": Key(
            kind="tags",
            low=SHELF_TAGS[0],
            high=SHELF_TAGS[-1],
            meaning=f"Tags ({SHELF_TAGS[0]} to {SHELF_TAGS[-1]}) of the shelf cards fixed to its edge.",
        ),
    },
)
SECTIONS = (LIMITS, RECIPE, STRAIN, TREATMENT, SHELF)


def parse_value(key: Key, value: Any, zone: tzinfo) -> Any:
    """Return a TOML value as the model holds it.

    Raises
    ------
    ValueError
        With what is wrong, when the value is of the wrong type, out of range or an unknown word.
    """
    if key.kind in ("number", "integer"):
        return _number(key, value)
    if key.kind == "time":
        return parse_time(value, zone)
    if key.kind == "horizon":
        return _horizon(key, value)
    if key.kind == "choices":
        return tuple(_choice(key, word) for word in _list(value))
    if key.kind == "texts":
        return _texts(key, value)
    if key.kind == "tags":
        return tuple(_number(key, tag, whole=True) for tag in _list(value))
    text = _text(value)
    if key.required and not text.strip():
        msg = "is blank"
        raise ValueError(msg)
    if key.kind == "code" and breaks_lines(text):
        msg = f"{shown(text)} can't be used: {BREAKS_LINES}"
        raise ValueError(msg)
    if key.kind == "zone":
        return check_zone(text)
    return _choice(key, text) if key.kind == "choice" else text


def parse_time(value: Any, zone: tzinfo) -> datetime:
    """Return an aware time from a TOML time or an ISO 8601 text; without an offset it is in `zone`.

    Raises
    ------
    ValueError
        When the value is no time.
    """
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value.strip())
        except ValueError:
            msg = f"{value!r} is not a time like 2026-03-02T06:00:00-05:00"
            raise ValueError(msg) from None
    if isinstance(value, date) and not isinstance(value, datetime):
        value = datetime.combine(value, time())
    if not isinstance(value, datetime) or value.year not in YEARS:
        msg = f"{shown(value)} is not a time like 2026-03-02T06:00:00-05:00"
        raise ValueError(msg)
    when: datetime = value
    if when.tzinfo is None:
        when = with_offset(when, zone)
    return when


def shown(value: Any) -> str:
    """Return a value as a message shows it: in TOML's words, and not longer than a line."""
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _text(value: Any) -> str:
    if isinstance(value, str):
        return value
    msg = f"{shown(value)} is not a text in quotes"
    raise ValueError(msg)


def _list(value: Any) -> list[Any]:
    if isinstance(value, list):
        return value
    msg = f"{shown(value)} is not a list in [ ]"
    raise ValueError(msg)


def _texts(key: Key, value: Any) -> tuple[str, ...]:
    texts = tuple(map(_text, _list(value)))
    if key.required and not texts:
        msg = "is empty"
        raise ValueError(msg)
    return texts


def _number(key: Key, value: Any, *, whole: bool = False) -> float:
    whole = whole or key.kind == "integer"
    if isinstance(value, bool) or not isinstance(value, int if whole else int | float):
        msg = f"{shown(value)} is not a {'whole ' if whole else ''}number"
        raise ValueError(msg)
    if not key.low <= value <= key.high:  # also refuses nan
        msg = f"{shown(value)} is outside {key.low:g} to {key.high:g}"
        raise ValueError(msg)
    return value if whole else float(value)


def _horizon(key: Key, value: Any) -> str | float:
    if isinstance(value, str):
        return _choice(Key(kind="choice", meaning=key.meaning, choices=HORIZONS), value)
    return _number(key, value)


def _choice(key: Key, value: Any) -> str:
    if value in key.choices:
        return str(value)
    msg = f"{shown(value)} is none of: {', '.join(key.choices)}"
    raise ValueError(msg)
