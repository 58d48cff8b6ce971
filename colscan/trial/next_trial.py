"""The next trial, begun from an earlier one: what is taken over, what is changed, and saying both."""

from __future__ import annotations

import dataclasses
import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from colscan.errors import TrialError
from colscan.hints import as_typed
from colscan.trial.baglist import NOTHING, derive_treatments, own_columns
from colscan.trial.creating import (
    NewTrial,
    check_place,
    check_siblings,
    checked_zone,
    choose_name,
    format_files,
    read_inoculated_at,
)
from colscan.trial.differences import PAST, say_differences
from colscan.trial.layout import Layout, choose_tags, lay_out_bags
from colscan.trial.model import PLAN_FILE, Bag, Strain, Treatment, Trial
from colscan.trial.planning import number_bags
from colscan.trial.problems import read_plan_file
from colscan.trial.reading import load_trial
from colscan.trial.shelfmap import MAP_FILE, ShelfMap, format_shelfmaps, read_shelfmaps
from colscan.trial.siblings import find_live_tags
from colscan.trial.writing import write_files

# A bag that has a card, whichever.
_ANY_TAG = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What is other than in the earlier trial; what is left out is as there.

    Parameters
    ----------
    strains, supplement, levels_pct, replicates
        As in `Layout`. With any of them the bags are laid out and numbered anew.
    inoculated_at : str or None
        Day 0, ISO 8601; None for today.
    first_tag : int or None
        Tag of the first bag that has one; None for the earlier tags, as far as they are free.
    base : str or None
        What the levels are percentages of.
    """

    strains: tuple[str, ...] = ()
    supplement: str | None = None
    levels_pct: tuple[float, ...] = ()
    replicates: int | None = None
    inoculated_at: str | None = None
    first_tag: int | None = None
    base: str | None = None

    @property
    def lays_out(self) -> bool:
        """Whether other bags are asked for than the earlier ones."""
        return bool(self.strains or self.supplement is not None or self.levels_pct or self.replicates)


def begin_next(
    folder: Path,
    source: Path,
    changes: Changes,
    *,
    name: str | None = None,
    time_zone: str | None = None,
) -> NewTrial:
    """Return the trial made in a folder from an earlier one, with what is other than there as its notes.

    Taken over are question, limits, strains, treatments, shelves, and the bags with their codes, places
    and tags (a tag in use in a sibling gives way to a free one); a map of the same bags too, with its photo.
    What happened in the earlier trial is not, and nothing in its folder is written to.

    Parameters
    ----------
    folder : Path
        Where the trial goes; made if need be.
    source : Path
        The earlier trial's folder.
    changes : Changes
        What is to be other than there.
    name, time_zone : str or None
        As for `create_trial`; None takes the folder's name, and the earlier trial's zone.

    Raises
    ------
    TrialError
        When the folder holds a trial, the earlier one has mistakes, or the changes don't fit it. Nothing is
        written then.
    LedgerError
        When the folder can't be written to. Nothing is left behind then.
    """
    check_place(folder, Layout())
    earlier = _load_earlier(source, folder)
    zone = checked_zone(time_zone or earlier.time_zone)
    inoculated_at = read_inoculated_at(changes.inoculated_at, ZoneInfo(zone))
    live = find_live_tags(folder)
    bags = _choose_bags(earlier, changes, inoculated_at)
    cards = [bag.tag for bag in earlier.bags if bag.tag is not None or not changes.lays_out]
    tags = _choose_tags(cards, len(bags), changes.first_tag, taken={tag.tag for tag in live})
    bags = tuple(dataclasses.replace(bag, tag=tag) for bag, tag in zip(bags, tags, strict=True))
    shared = check_siblings(bags, live)
    trial = dataclasses.replace(
        earlier,
        name=choose_name(name, folder),
        time_zone=zone,
        planned_end=None,
        ended_at=None,
        plan="",
        strains=_choose_strains(earlier, changes),
        treatments=_choose_treatments(earlier, changes, bags),
        bags=bags,
    )
    trial, files = format_files(trial)
    map_files, notes = _take_maps(folder, source, earlier, trial)
    said = [*say_differences(earlier, trial, live), *_say_more(folder, source, earlier, changes)]
    write_files(folder, map_files | files)
    return NewTrial(trial=trial, notes=(*said, *notes, *shared))


def _load_earlier(source: Path, folder: Path) -> Trial:
    """Return the trial to begin from; one that nothing can be begun from here is refused."""
    earlier = load_trial(source)
    if source.resolve() in folder.resolve().parents:
        msg = f"{folder} lies inside the trial {source}"
        raise TrialError(msg, "Put the next trial beside it.")
    if not any(bag.role == "trial" for bag in earlier.bags):
        msg = f"{source / Bag.FILE} lists no bag with spawn"
        raise TrialError(msg, "Begin from a trial that has bags.")
    return earlier


def _say_more(folder: Path, source: Path, earlier: Trial, changes: Changes) -> list[str]:
    own = own_columns(read_plan_file(source / Bag.FILE))
    notes = [f"not taken over: columns of your own ({', '.join(own)})"] if own else []
    notes += ["day 0 is today: put the hour into bags.csv"] if changes.inoculated_at is None else []
    if earlier.plan:
        again = f"colscan plan {as_typed(folder)} and the options under plan in {source / PLAN_FILE}"
        notes.append(
            f"drawn by lot before; draw again with {again}, without --seed, --inoculated-at and --spawn-lot"
        )
    return notes


def _choose_strains(earlier: Trial, changes: Changes) -> tuple[Strain, ...]:
    if not changes.strains:
        return earlier.strains
    return tuple(earlier.strain(code) or Strain(code=code) for code in changes.strains)


def _choose_treatments(earlier: Trial, changes: Changes, bags: Sequence[Bag]) -> tuple[Treatment, ...]:
    if changes.lays_out:
        return derive_treatments(bags, base=changes.base, earlier=earlier.treatments)
    return tuple(
        dataclasses.replace(t, supplement_base=changes.base or t.supplement_base) for t in earlier.treatments
    )


def _choose_bags(earlier: Trial, changes: Changes, inoculated_at: datetime) -> tuple[Bag, ...]:
    if changes.lays_out:
        return _lay_out(earlier, changes, inoculated_at)
    past: dict[str, Any] = dict.fromkeys(PAST)
    return tuple(dataclasses.replace(bag, inoculated_at=inoculated_at, **past) for bag in earlier.bags)


def _lay_out(earlier: Trial, changes: Changes, inoculated_at: datetime) -> tuple[Bag, ...]:
    """Return every strain at every level, by the changes and else as it was.

    A shelf stays where it was the only one; places on it belong to the bags that had them.
    """
    planted = [bag for bag in earlier.bags if bag.role == "trial"]
    strains = changes.strains or tuple(dict.fromkeys(bag.strain for bag in planted))
    replicates = changes.replicates or _count_replicates(earlier, planted)
    laid = [
        bag
        for supplement, levels in _choose_levels(changes, planted).items()
        for bag in lay_out_bags(
            Layout(strains=strains, supplement=supplement, levels_pct=levels, replicates=replicates),
            inoculated_at,
            taken=(),
        )
    ]
    laid.sort(key=lambda bag: strains.index(bag.strain))
    shelf, method = _the_only(bag.shelf for bag in planted), _the_only(bag.spawn_method for bag in planted)
    return tuple(
        dataclasses.replace(bag, shelf=shelf, spawn_method=method or bag.spawn_method)
        for bag in number_bags(laid, range(len(laid)))
    )


def _the_only(values: Iterable[str | None]) -> str | None:
    found = set(values)
    return found.pop() if len(found) == 1 else None


def _choose_levels(changes: Changes, planted: Sequence[Bag]) -> dict[str, tuple[float, ...]]:
    """Return the levels of each supplement."""
    before: dict[str, set[float]] = {}
    for bag in planted:
        before.setdefault(bag.supplement, set()).add(bag.supplement_pct)
    if changes.supplement is None and not changes.levels_pct:
        return {supplement: tuple(sorted(levels)) for supplement, levels in before.items()}
    named = [supplement for supplement in before if supplement != NOTHING] or [NOTHING]
    if changes.supplement is None and len(named) > 1:
        msg = f"--level of which supplement? The earlier trial has {', '.join(named)}"
        raise TrialError(msg, "Give --supplement too; it takes the place of them all.")
    supplement = named[0] if changes.supplement is None else changes.supplement
    levels = () if supplement == NOTHING else tuple(sorted(set().union(*before.values())))
    return {supplement: changes.levels_pct or levels or (0.0,)}


def _count_replicates(earlier: Trial, planted: Sequence[Bag]) -> int:
    counts = set(Counter((bag.strain, bag.supplement, bag.supplement_pct) for bag in planted).values())
    if len(counts) == 1:
        return counts.pop()
    msg = f"{earlier.name!r} has {min(counts)} to {max(counts)} bags of a strain at a level"
    raise TrialError(msg, "Say with --replicates how many there are to be.")


def _choose_tags(
    before: Sequence[int | None], count: int, first: int | None, *, taken: set[int]
) -> Sequence[int | None]:
    """Return a tag for each bag: as before while that is free, else the next free one; None for no card."""
    if first is not None:
        return choose_tags(count, first, taken)
    wanted = [*before, *[_ANY_TAG] * count][:count] if any(t is not None for t in before) else [None] * count
    kept = {tag for tag in wanted if tag not in (None, _ANY_TAG)} - taken
    missing = sum(tag is not None and tag not in kept for tag in wanted)
    spare = iter(choose_tags(missing, None, taken | kept))
    return [tag if tag is None or tag in kept else next(spare) for tag in wanted]


def _take_maps(
    folder: Path, source: Path, earlier: Trial, trial: Trial
) -> tuple[dict[str, bytes], list[str]]:
    """Return the files of the earlier shelf maps, with their photos, and what to say of them.

    A place on a map is that of a bag's code, so a map goes with the same bags only.
    """
    maps = read_shelfmaps(source, bags={bag.bag for bag in earlier.bags})
    if maps and (folder / MAP_FILE).exists():
        msg = f"{folder / MAP_FILE} is there already, and is never overwritten"
        raise TrialError(msg, "Move it away, or give another folder.")
    anew = f"colscan map {as_typed(folder)} PHOTO"
    if maps and _design(earlier.bags) != _design(trial.bags):
        return {}, [f"shelf map: not taken over, its bags are others; photograph the shelf, then: {anew}"]
    files: dict[str, bytes] = {}
    taken, notes = [], []
    for one in maps:
        photo = _find_photo(source, one)
        if photo is None:
            why = f"its photo {one.photo} is gone from {source / 'photos'}"
            notes.append(f"shelf map of {one.shelf}: not taken over, {why}; make it anew: {anew}")
            continue
        taken.append(one)
        files |= {name: raw for name, raw in photo.items() if not (folder / name).exists()}
        notes.append(
            f"shelf map of {one.shelf}: taken over, with its photo {one.photo}. Put each bag where the bag of"
            f" its code stood, or make it anew: {anew}"
        )
    return files | ({MAP_FILE: format_shelfmaps(taken).encode()} if taken else {}), notes


def _design(bags: Sequence[Bag]) -> list[tuple[str, str, str]]:
    return [(bag.bag, bag.strain, bag.treatment) for bag in bags]


def _find_photo(source: Path, one: ShelfMap) -> dict[str, bytes] | None:
    """Return the mapped photo by its name below the folder; None when it is gone."""
    for path in sorted((source / "photos").glob(f"*-{one.photo_sha256[:8]}.*")):
        with suppress(OSError):
            raw = path.read_bytes()
            if hashlib.sha256(raw).hexdigest() == one.photo_sha256 and path.suffix != ".part":
                return {f"photos/{path.name}": raw}
    return None
