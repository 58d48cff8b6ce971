"""trial.toml and bags.csv to a `Trial`; whatever is not understood is refused with its line."""

from __future__ import annotations

import contextlib
import dataclasses
import re
import tomllib
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from colscan.errors import Problem, TrialError
from colscan.hints import as_typed, suggest_near
from colscan.trial.baglist import parse_bags
from colscan.trial.keys import RECIPE, SECTIONS, SHELF, STRAIN, TOP, TREATMENT, Section, parse_value, shown
from colscan.trial.lines import KeyPath, find_key_lines
from colscan.trial.model import PLAN_FILE, Bag, Limits, RecipePlan, Shelf, Strain, Treatment, Trial
from colscan.trial.problems import decode_plan_file, raise_problems, read_plan_file
from colscan.trial.trial_recipe import check_texts, recipe_of
from colscan.trial.zones import check_zone


def load_trial(folder: Path) -> Trial:
    """Return the plan that a trial's folder holds, wholly checked.

    Parameters
    ----------
    folder : Path
        The folder with trial.toml and bags.csv.

    Raises
    ------
    TrialError
        When the folder is no trial, or one of the two files is wrong: with file, line and value.
    """
    if not _holds_plan(folder):
        if folder.is_file():
            msg = f"{folder} is a file, not a trial's folder"
            raise TrialError(msg, f"Give the trial's folder first: the one that holds {PLAN_FILE}.")
        what = f"there is no {PLAN_FILE} in it" if folder.is_dir() else "there is no such folder"
        msg = f"{folder} is no trial: {what}"
        if trials := find_trials(folder):
            names = ", ".join(path.name for path in trials)
            raise TrialError(msg, f"Give one of the trials in it ({names}), like {as_typed(trials[0])}.")
        near = (
            ""
            if folder.is_dir()
            else suggest_near(folder.name, (one.name for one in find_trials(folder.parent)))
        )
        raise TrialError(msg, f"{near}Begin one with: colscan new {as_typed(folder)}")
    plan_source, bags_source = folder / PLAN_FILE, folder / Bag.FILE
    raw = read_plan_file(plan_source)
    plan = parse_plan(raw, str(plan_source))
    bags = parse_bags(read_plan_file(bags_source), str(bags_source), plan=plan)
    trial = dataclasses.replace(plan, bags=bags)
    _check_ends(trial, str(plan_source), find_key_lines(decode_plan_file(raw, str(plan_source))))
    return trial


def find_trials(folder: Path) -> tuple[Path, ...]:
    """Return the sub-folders that hold a trial, by name; none when the folder is a trial itself."""
    try:
        if (folder / PLAN_FILE).exists():
            return ()
        return tuple(sorted(path for path in folder.iterdir() if (path / PLAN_FILE).is_file()))
    except OSError:  # no folder, or closed to us: `load_trial` says so
        return ()


def _check_ends(trial: Trial, source: str, lines: dict[KeyPath, int]) -> None:
    """Refuse an end of the trial that lies before it began."""
    first = min(trial.bags, key=lambda bag: bag.inoculated_at)
    ends = {"planned_end": trial.planned_end, "ended_at": trial.ended_at}
    raise_problems(
        [
            Problem(
                source=f"{source}:{lines[(name,)]}",
                message=f"{name}: {end.isoformat()} is before the first bag was inoculated"
                f" ({first.bag}, {first.inoculated_at.isoformat()})",
                hint=f"Correct it, or inoculated_at in {Bag.FILE}.",
            )
            for name, end in ends.items()
            if end and end < first.inoculated_at
        ]
    )


def _holds_plan(folder: Path) -> bool:
    try:
        return (folder / PLAN_FILE).is_file()
    except OSError:
        return True  # reading it will say why it can't be read


def parse_plan(raw: bytes, source: str) -> Trial:
    """Return the trial that the bytes of a trial.toml describe, without its bags.

    Parameters
    ----------
    raw : bytes
        The file's content.
    source : str
        The file's name for messages.

    Raises
    ------
    TrialError
        When something in it is not understood.
    """
    text = decode_plan_file(raw, source)
    reading = _Reading(source=source, data=parse_toml(text, source), lines=find_key_lines(text))
    top = _read_top(reading)
    limits, recipe, strains, treatments, shelves = (_read_section(reading, s) for s in SECTIONS)
    reading.finish()
    trial = Trial(
        **top,
        limits=Limits(**(limits[0] if limits else {})),
        recipe=RecipePlan(**recipe[0]) if recipe else None,
        strains=tuple(Strain(**values) for values in strains),
        treatments=tuple(Treatment(**values) for values in treatments),
        shelves=tuple(Shelf(**values) for values in shelves),
    )
    _check_together(reading, trial)
    reading.finish()
    return trial


_TWICE = ("Cannot overwrite a value", "Cannot declare ")
"""How tomllib begins what it says of a key, or a section, that stands there a second time."""


def parse_toml(text: str, source: str) -> dict[str, Any]:
    """Return what a TOML text holds; a line that is no TOML is refused (`TrialError`) with its number."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", str(error))
        what = str(error)[: place.start()] if place else str(error)
        last = text.rstrip("\n").count("\n") + 1
        line = int(place.group(1)) if place and place.group(1) else last
        content = text.split("\n")[line - 1].strip()
        if what.startswith(_TWICE):
            msg = f"{source}:{line}: {shown(content)} was said further up already"
            raise TrialError(msg, "Take one of the two out: a key stands once in its section.") from None
        msg = f"{source}:{line}: {shown(content)} is not TOML ({what})"
        hint = 'Lines look like: key = 3, key = "text in quotes", [section]; remarks begin with #.'
        raise TrialError(msg, hint) from None
    except (ValueError, RecursionError) as error:  # a number of thousands of digits, hundreds of brackets
        msg = f"{source}: holds a value that can't be read ({error})"
        raise TrialError(msg, "Take out the number or list that is far too long.") from None


@dataclass(kw_only=True)
class _Reading:
    """A trial.toml while it is read: its values, their lines, and what was found wrong."""

    source: str
    data: dict[str, Any]
    lines: dict[KeyPath, int]
    zone: tzinfo = UTC
    found: list[tuple[int, Problem]] = field(default_factory=list)

    def refuse(self, path: KeyPath, message: str, hint: str) -> None:
        line = self.lines.get(path, 1)
        self.found.append((line, Problem(source=f"{self.source}:{line}", message=message, hint=hint)))

    def finish(self) -> None:
        raise_problems([problem for _, problem in sorted(self.found, key=lambda f: f[0])])


def _read_top(reading: _Reading) -> dict[str, Any]:
    sections = [section.name for section in SECTIONS]
    own = {name: value for name, value in reading.data.items() if name not in sections}
    # The zone comes first: times without an offset are in it. A wrong one is refused below.
    with contextlib.suppress(ValueError):
        reading.zone = ZoneInfo(check_zone(str(own.get("time_zone"))))
    return _read_table(reading, TOP, (), own)


def _read_section(reading: _Reading, section: Section) -> list[dict[str, Any]]:
    """Return the values of each table of a section; one table at most unless it is repeated."""
    if section.name not in reading.data:
        return []
    value, path = reading.data[section.name], (section.name,)
    if section.repeated and isinstance(value, list) and all(isinstance(table, dict) for table in value):
        return [_read_table(reading, section, (*path, i), table) for i, table in enumerate(value)]
    if not section.repeated and isinstance(value, dict):
        return [_read_table(reading, section, path, value)]
    message = f"{section.name} is not written as a section"
    reading.refuse(path, message, f"Write {section.header} on a line of its own, its keys below it.")
    return []


def _read_table(reading: _Reading, section: Section, path: KeyPath, table: dict[str, Any]) -> dict[str, Any]:
    values = {}
    for name, value in table.items():
        key = section.keys.get(name)
        if key is None:
            _refuse_unknown(reading, section, (*path, name), value)
            continue
        try:
            values[name] = parse_value(key, value, reading.zone)
        except ValueError as error:
            reading.refuse((*path, name), f"{name}: {error}", f"It means: {key.meaning}")
    for name, key in section.keys.items():
        if key.required and name not in table:
            reading.refuse(path, f"{name} is missing in {section.header}", f"Add {name} = ...: {key.meaning}")
    return values


def _refuse_unknown(reading: _Reading, section: Section, path: KeyPath, value: Any) -> None:
    name = str(path[-1])
    is_table = isinstance(value, dict) or (isinstance(value, list) and value and isinstance(value[0], dict))
    if section is TOP and is_table:
        known = [s.name for s in SECTIONS]
        listed = f"The sections are: {', '.join(s.header for s in SECTIONS)}."
        reading.refuse(path, f"unknown section [{name}]", suggest_near(name, known) + listed)
        return
    elsewhere = [s.header for s in (TOP, *SECTIONS) if name in s.keys]
    if elsewhere:
        hint = f"It belongs under {' or '.join(elsewhere)}."
    else:
        hint = f"{suggest_near(name, section.keys)}The keys there are: {', '.join(section.keys)}."
    reading.refuse(path, f"unknown key {name!r} in {section.header}", hint)


def _check_together(reading: _Reading, trial: Trial) -> None:
    """Refuse what is right alone and wrong together: doubles, and limits the wrong way round."""
    limits = trial.limits
    if limits.ready_coverage_pct > limits.full_coverage_pct:
        message = (
            f"ready_coverage_pct {limits.ready_coverage_pct:g} is over full_coverage_pct"
            f" {limits.full_coverage_pct:g}"
        )
        reading.refuse(
            ("limits", "ready_coverage_pct"), message, "The interval's low end lies below: swap them?"
        )
    if trial.recipe is not None:
        _check_recipe(reading, trial, trial.recipe)
    _refuse_doubles(reading, STRAIN, [(s.code,) for s in trial.strains])
    _refuse_doubles(reading, TREATMENT, [(t.supplement, t.supplement_pct) for t in trial.treatments])
    _refuse_two_controls(reading, trial)
    _refuse_doubles(reading, SHELF, [(s.name,) for s in trial.shelves])
    cards = [(i, card) for i, shelf in enumerate(trial.shelves) for card in shelf.cards]
    for i, card in cards:
        first = next(j for j, other in cards if other == card)
        if i != first:
            message = (
                f"card {card} is on two shelves, {trial.shelves[first].name!r} and {trial.shelves[i].name!r}"
            )
            reading.refuse(("shelf", i, "cards"), message, "Each shelf card has a tag of its own.")


def _check_recipe(reading: _Reading, trial: Trial, recipe: RecipePlan) -> None:
    """Refuse a text that isn't understood, and a recipe that doesn't work out at one of the treatments."""
    wrong = list(check_texts(recipe))
    for key, i, error in wrong:
        reading.refuse(("recipe", key, i), f"{key} in {RECIPE.header}: {error.message}", error.hint)
    levels = [("none", 0.0), *((t.supplement, t.supplement_pct) for t in trial.treatments)]
    for supplement, pct in levels if not wrong else ():
        try:
            recipe_of(trial, supplement, pct)
        except TrialError as error:
            level = "" if supplement == "none" else f" at {supplement} {pct:g} %"
            reading.refuse(("recipe",), f"{RECIPE.header}{level}: {error.message}", error.hint)
            return


def _refuse_two_controls(reading: _Reading, trial: Trial) -> None:
    """Refuse a second treatment without supplement: one and the same would be held against itself."""
    bare = [i for i, treatment in enumerate(trial.treatments) if treatment.supplement_pct == 0]
    for i in bare[1:]:
        names = [f"{trial.treatments[k].supplement!r} 0 %" for k in (bare[0], i)]
        message = f"treatment {names[1]} is the same as {names[0]}: nothing is added"
        hint = "Keep one of the two, and write it for all bags without supplement in bags.csv."
        reading.refuse(("treatment", i), message, hint)


def _refuse_doubles(reading: _Reading, section: Section, identities: list[tuple[Any, ...]]) -> None:
    for i, identity in enumerate(identities):
        first = identities.index(identity)
        if first != i:
            what = " ".join(f"{part:g} %" if isinstance(part, float) else repr(part) for part in identity)
            line = reading.lines[(section.name, first)]
            message = f"{section.name} {what} stands twice (first on line {line})"
            reading.refuse((section.name, i), message, "Keep one of the two, or correct one.")
