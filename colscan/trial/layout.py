"""Bags laid out from a few numbers: every strain at every level, so many of each."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from itertools import islice, product

from colscan.errors import TrialError
from colscan.trial.bagcodes import BREAKS_LINES, breaks_lines
from colscan.trial.baglist import NOTHING
from colscan.trial.model import LAST_BAG_TAG, Bag

EXAMPLE_STRAINS = ("PO-3", "PE-1")
EXAMPLE_SUPPLEMENT = "bran"
EXAMPLE_LEVELS_PCT = (0.0, 10.0)
EXAMPLE_REPLICATES = 2
# Tag 0 is left out by default: a card numbered like its bag is easier to find.
FIRST_TAG = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The bags to begin a trial with.

    Parameters
    ----------
    strains : tuple of str
        Codes; empty for two examples.
    supplement : str
        Its name, or `none`.
    levels_pct : tuple of float
        Levels in percent, at most two decimals; empty for two examples (0 when there is no supplement).
    replicates : int
        Bags of each strain at each level.
    inoculated_at : str or None
        ISO 8601; without an offset it is in the trial's zone. None means today.
    first_tag : int or None
        Tag of the first bag, the others follow; None takes the first that are free among the siblings.
    """

    strains: tuple[str, ...] = ()
    supplement: str = EXAMPLE_SUPPLEMENT
    levels_pct: tuple[float, ...] = ()
    replicates: int = EXAMPLE_REPLICATES
    inoculated_at: str | None = None
    first_tag: int | None = None

    @property
    def is_example(self) -> bool:
        """Whether the strains are made up, for the grower to replace."""
        return not self.strains


def lay_out_bags(layout: Layout, inoculated_at: datetime, *, taken: Collection[int]) -> tuple[Bag, ...]:
    """Return the bags of a layout, numbered B01, B02, ... strain by strain and level by level.

    Parameters
    ----------
    layout : Layout
        What to lay out.
    inoculated_at : datetime
        Day 0 of all bags.
    taken : collection of int
        Tags that are in use in sibling trials; they are passed over unless `first_tag` is given.

    Raises
    ------
    TrialError
        When a strain or level stands twice, or there are more bags than tags.
    """
    strains = layout.strains or EXAMPLE_STRAINS
    levels = layout.levels_pct or ((0.0,) if layout.supplement == NOTHING else EXAMPLE_LEVELS_PCT)
    if not all(text.strip() for text in (*strains, layout.supplement)):
        msg = "--strain or --supplement is blank"
        raise TrialError(msg, f"Write a code such as {EXAMPLE_STRAINS[0]}; --supplement {NOTHING} for none.")
    for text in (*strains, layout.supplement):
        if breaks_lines(text):
            msg = f"--strain or --supplement {text!r} can't be used: {BREAKS_LINES}"
            raise TrialError(msg, "Write it in one line.")
    _check_doubles("--strain", strains)
    _check_doubles("--level", levels)
    _check_levels(layout.supplement, levels)
    cells = list(product(strains, levels, range(layout.replicates)))
    tags = choose_tags(len(cells), layout.first_tag, taken)
    digits = max(2, len(str(len(cells))))
    return tuple(
        Bag(
            bag=f"B{number:0{digits}d}",
            tag=tag,
            strain=strain,
            supplement=layout.supplement,
            supplement_pct=level,
            inoculated_at=inoculated_at,
        )
        for number, (tag, (strain, level, _)) in enumerate(zip(tags, cells, strict=True), start=1)
    )


def choose_tags(count: int, first: int | None, taken: Collection[int]) -> list[int]:
    """Return so many tags from the first on, or from 1 on past those taken; `TrialError` when short."""
    start = FIRST_TAG if first is None else first
    passed_over = taken if first is None else ()
    tags = list(islice((t for t in range(start, LAST_BAG_TAG + 1) if t not in passed_over), count))
    if len(tags) == count:
        return tags
    free = "1 is" if len(tags) == 1 else f"{len(tags)} are"
    msg = f"{count} bags need {count} tags, and from tag {start} on {free} free (0 to {LAST_BAG_TAG})"
    hint = "Plan fewer bags, begin at a lower --first-tag, or set ended_at in trials that are over."
    raise TrialError(msg, hint)


def _check_levels(supplement: str, levels: tuple[float, ...]) -> None:
    if supplement == NOTHING and any(levels):
        msg = f"--supplement {NOTHING} can't have a level of {max(levels):g} %"
        raise TrialError(msg, "Name the supplement, or leave --level out.")
    for level in levels:
        if not 0 <= level <= 100 or round(level, 2) != level:
            msg = f"--level {level!r} is no percentage from 0 to 100 with at most two decimals"
            raise TrialError(msg, "Write it like 7.5.")


def _check_doubles(option: str, values: tuple[str, ...] | tuple[float, ...]) -> None:
    for i, value in enumerate(values):
        if value in values[:i]:
            shown = f"{value:g}" if isinstance(value, float) else value
            msg = f"{option} {shown} is given twice"
            raise TrialError(msg, "Give it once; --replicates says how many bags of each.")
