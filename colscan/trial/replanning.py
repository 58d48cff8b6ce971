"""A drawn plan into a trial's folder: a new one, or one in which nothing has been recorded yet."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from colscan.errors import LedgerError, TrialError
from colscan.hints import as_typed
from colscan.trial.baglist import derive_treatments
from colscan.trial.creating import (
    NewTrial,
    check_siblings,
    checked_zone,
    choose_name,
    format_files,
    read_inoculated_at,
)
from colscan.trial.layout import Layout, choose_tags, lay_out_bags
from colscan.trial.model import PLAN_FILE, Bag, Shelf, Strain, Treatment, Trial
from colscan.trial.planning import Scheme, draw_bags, number_bags
from colscan.trial.problems import read_plan_file
from colscan.trial.reading import parse_plan
from colscan.trial.recipe import Base
from colscan.trial.shelfmap import MAP_FILE
from colscan.trial.siblings import find_live_tags
from colscan.trial.writing import write_files
from colscan.trial.zones import choose_zone


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What is said of a trial beside its bags; None leaves what the trial that is there says, or the default.

    Parameters
    ----------
    name, time_zone : str or None
        As for `create_trial`.
    question : str or None
        What the trial is for.
    base : str or None
        What the levels are percentages of.
    contamination_risk : float or None
        Accepted share of bags lost.
    """

    name: str | None = None
    time_zone: str | None = None
    question: str | None = None
    base: str | None = None
    contamination_risk: float | None = None


def draw_plan(folder: Path, layout: Layout, scheme: Scheme, about: About) -> NewTrial:
    """Return the trial as planned for a folder, with the draw recorded in it; writes nothing.

    In a folder that holds a trial its name, zone, limits and question stay where nothing else is said, and
    what it says of strains and shelves that are planned again; its bags, which are drawn anew, aren't read.
    Whether anything has been recorded in it is for the caller to check.

    Parameters
    ----------
    folder : Path
        Where the trial will go.
    layout : Layout
        Strains, levels and replicates.
    scheme : Scheme
        What they are drawn over. Without shelves, those of the trial that is there.
    about : About
        Its name, zone, question and limit.

    Raises
    ------
    TrialError
        When the bags, the options or the plan that is there are wrong.
    """
    there = folder / PLAN_FILE
    earlier = parse_plan(read_plan_file(there), str(there)) if there.exists() else None
    if earlier is None:
        check_free(folder)
    begun = _say_about(earlier or _begin(folder, about), about, folder)
    scheme = scheme if scheme.shelves else dataclasses.replace(scheme, shelves=begun.shelves)
    live = find_live_tags(folder)
    inoculated_at = read_inoculated_at(layout.inoculated_at, begun.zone)
    _check_ends(begun, inoculated_at)
    taken = {tag.tag for tag in live}
    drawn = draw_bags(lay_out_bags(layout, inoculated_at, taken=taken), scheme)
    bags = number_bags(drawn, choose_tags(len(drawn), layout.first_tag, taken))
    shared = check_siblings(bags, live)
    # As it came out, not as it was given: today is another day tomorrow.
    layout_then = dataclasses.replace(layout, inoculated_at=inoculated_at.isoformat(timespec="seconds"))
    treatments = derive_treatments(bags, base=about.base, earlier=begun.treatments)
    trial = _with_plan(begun, bags, scheme, treatments)
    trial = dataclasses.replace(trial, plan=say_options(layout_then, scheme, treatments))
    trial, _ = format_files(trial)
    notes = [f"time zone: {trial.time_zone}", *shared]
    if layout.inoculated_at is None:
        notes.append(f"inoculated_at: {inoculated_at.isoformat()} (today; put the hour into {Bag.FILE})")
    return NewTrial(trial=trial, notes=tuple(notes))


def write_plan(folder: Path, made: NewTrial) -> NewTrial:
    """Write a plan as `draw_plan` gives it; return it with what became of files that were there.

    trial.toml and bags.csv of a trial that is there are kept under another name.

    Parameters
    ----------
    folder : Path
        Where the trial goes; made if need be.
    made : NewTrial
        The plan.

    Raises
    ------
    LedgerError
        When the folder can't be written to. What was there is there still.
    """
    kept = _replace_files(folder, format_files(made.trial)[1])
    return dataclasses.replace(made, notes=(*made.notes, *kept))


def check_free(folder: Path) -> None:
    """Refuse (`TrialError`) a file, and a folder that holds a bag list and no trial."""
    if folder.exists() and not folder.is_dir():
        msg = f"{folder} is a file"
        raise TrialError(msg, "Give the name of a folder for the trial.")
    if (folder / Bag.FILE).exists():
        msg = f"{folder / Bag.FILE} is there already, and no trial with it"
        raise TrialError(msg, "Move it away, or give another folder.")


def say_options(layout: Layout, scheme: Scheme, treatments: Sequence[Treatment]) -> str:
    """Return the options of `colscan plan` that draw the same bags again."""
    words = [part for strain in layout.strains for part in ("--strain", strain)]
    words += ["--supplement", layout.supplement]
    words += [part for level in layout.levels_pct for part in ("--level", f"{level:g}")]
    words += _say_base(treatments)
    words += ["--replicates", str(layout.replicates), "--heat-runs", str(scheme.heat_runs)]
    words += ["--blanks", str(scheme.blanks_per_run)]
    words += [] if scheme.mix_capacity is None else ["--mix-capacity", str(scheme.mix_capacity)]
    words += [part for shelf in scheme.shelves for part in ("--shelf", f"{shelf.name}:{shelf.tiers}")]
    words += [part for strain, lot in scheme.spawn_lots for part in ("--spawn-lot", f"{strain}={lot}")]
    words += [] if layout.inoculated_at is None else ["--inoculated-at", layout.inoculated_at]
    words += [] if layout.first_tag is None else ["--first-tag", str(layout.first_tag)]
    return " ".join(map(as_typed, [*words, "--seed", str(scheme.seed)]))


def _say_base(treatments: Sequence[Treatment]) -> list[str]:
    """Return the option for the base that all levels have; none for several, or one in words of its own."""
    bases = {treatment.supplement_base for treatment in treatments}
    return [part for base in Base if bases == {base.value} for part in ("--base", base.name.lower())]


def _begin(folder: Path, about: About) -> Trial:
    zone = choose_zone(checked_zone(about.time_zone) if about.time_zone else None, ())
    return Trial(name=choose_name(about.name, folder), time_zone=zone.name)


def _say_about(begun: Trial, about: About, folder: Path) -> Trial:
    """Return the trial with what is said of it now."""
    risk = about.contamination_risk
    limits = begun.limits if risk is None else dataclasses.replace(begun.limits, contamination_risk=risk)
    return dataclasses.replace(
        begun,
        name=choose_name(about.name or begun.name, folder),
        time_zone=checked_zone(about.time_zone or begun.time_zone),
        question=begun.question if about.question is None else about.question,
        limits=limits,
    )


def _check_ends(begun: Trial, inoculated_at: datetime) -> None:
    """Refuse bags that begin after the end that the trial which is there has."""
    for name in ("planned_end", "ended_at"):
        end: datetime | None = getattr(begun, name)
        if end is not None and end < inoculated_at:
            msg = f"{name} in {PLAN_FILE}, {end.isoformat()}, is before day 0, {inoculated_at.isoformat()}"
            raise TrialError(msg, f"Correct {name} there, or give another --inoculated-at.")


def _with_plan(
    begun: Trial, bags: tuple[Bag, ...], scheme: Scheme, treatments: tuple[Treatment, ...]
) -> Trial:
    """Return the plan with the strains, treatments and shelves of these bags; what was said of them stays."""
    codes = sorted({bag.strain for bag in bags if bag.role == "trial"})
    return dataclasses.replace(
        begun,
        strains=tuple(begun.strain(code) or Strain(code=code) for code in codes),
        treatments=treatments,
        shelves=tuple(_with_cards(shelf, begun) for shelf in scheme.shelves),
        bags=bags,
    )


def _with_cards(shelf: Shelf, begun: Trial) -> Shelf:
    cards = next((of.cards for of in begun.shelves if of.name == shelf.name), shelf.cards)
    return dataclasses.replace(shelf, cards=cards)


def _replace_files(folder: Path, files: dict[str, bytes]) -> list[str]:
    """Write the files; those that stood there are kept beside them, and come back if that fails.

    A shelf map is put aside too: it has places for bags that are others now.
    """
    there = [folder / name for name in (*files, MAP_FILE) if (folder / name).exists()]
    moved = [(path, _free_name(path)) for path in there]
    try:
        for path, kept in moved:
            path.rename(kept)
        write_files(folder, files)
    except (OSError, LedgerError) as error:
        for path, kept in moved:
            if kept.exists():
                kept.rename(path)
        if isinstance(error, LedgerError):
            raise
        msg = f"{folder}: can't be written ({error.strerror})"
        raise LedgerError(msg, "Nothing was changed. Check its permissions.") from error
    return [f"{path.name} as it was is kept as {kept.name}" for path, kept in moved]


def _free_name(path: Path) -> Path:
    number = 1
    while (kept := path.with_name(f"{path.stem}.before-{number}{path.suffix}")).exists():
        number += 1
    return kept
