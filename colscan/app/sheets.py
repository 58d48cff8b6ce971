"""What is printed for a trial: cards, mixing sheet, shelf plan and practice sheet, for command and page."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from colscan.trial.model import Trial

if TYPE_CHECKING:
    from colscan.present.paper import Paper

SHEETS = ("cards", "mixing", "shelf-plan", "practice")
BAGS_NAMED = 8
"""Bags that a line names before it counts the rest."""


def draw_sheet(sheet: str, trial: Trial, paper: Paper, *, blind: bool) -> bytes:
    """Return a sheet as a PDF; the same for the same plan.

    Parameters
    ----------
    sheet : str
        One of `SHEETS`.
    trial : Trial
        The plan.
    paper : Paper
        What it will be printed on.
    blind : bool
        Whether strain and treatment stay off cards and shelf plan; the mixing sheet needs them.
    """
    from colscan.present.card_sheets import draw_card_sheets
    from colscan.present.mixing_sheet import draw_mixing_sheet
    from colscan.present.practice import draw_practice
    from colscan.present.shelf_plan import draw_shelf_plan

    if sheet == "practice":
        return draw_practice(paper)
    if sheet == "mixing":
        return draw_mixing_sheet(trial, paper)
    return (draw_shelf_plan if sheet == "shelf-plan" else draw_card_sheets)(trial, paper, blind=blind)


def say_missing(sheet: str, trial: Trial) -> tuple[str, ...]:
    """Return what a sheet doesn't show, a sentence each."""
    from colscan.present.mixing_sheet import texts_printed

    if sheet == "practice":
        return ()
    said = []
    untagged = [bag.bag for bag in trial.bags if bag.tag is None]
    if untagged and sheet == "cards":
        more = len(untagged) - BAGS_NAMED
        named = ", ".join(untagged[:BAGS_NAMED]) + (f" and {more} more" if more > 0 else "")
        said.append(f"No card for {named}: bags.csv has no tag for them.")
    if sheet == "mixing" and trial.recipe is None:
        said.append("Without [recipe] in trial.toml the mixing sheet leaves the weights blank.")
    return (*said, *say_lacking(trial, texts_printed(trial) if sheet == "mixing" else ()))


def say_lacking(trial: Trial, more: Iterable[str] = ()) -> tuple[str, ...]:
    """Return that the font of sheets and charts lacks letters of a trial's names, or of more texts."""
    from colscan.present.card_sheets import letters_lacking

    lacking = letters_lacking(trial, more)
    return (f"The font lacks {' '.join(lacking)}: hollow squares stand for them.",) if lacking else ()
