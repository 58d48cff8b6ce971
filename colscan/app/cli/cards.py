"""`colscan cards`: the bags' cards as a PDF to print."""

from __future__ import annotations

from pathlib import Path

import click

from colscan.app.cli.options import trial_dir_argument
from colscan.app.put import put_file
from colscan.errors import LedgerError, TrialError
from colscan.trial.model import Trial

BAGS_NAMED = 8
"""Bags that a line names before it counts the rest."""


@click.command()
@trial_dir_argument
@click.option(
    "--paper",
    type=click.Choice(("letter", "a4")),
    default="letter",
    show_default=True,
    help="What it will be printed on.",
)
@click.option("--blind", is_flag=True, help="Leave strain and treatment off the cards.")
@click.option("--practice", is_flag=True, help="Make the practice sheet instead of cards.")
@click.option(
    "-o", "--output", metavar="PATH", type=click.Path(path_type=Path),
    help="The file; else cards.pdf or practice.pdf in TRIAL_DIR.",
)  # fmt: skip
def cards(trial_dir: Path, paper: str, blind: bool, practice: bool, output: Path | None) -> None:
    """Make the bags' cards to print.

    Writes a PDF: a page on how to use it, a card for each bag that has a tag
    in bags.csv, and the cards of the shelves (tags 580 to 586). Print at
    actual size on plain white matt paper and check the ruler. Latin, Greek
    and Cyrillic letters print; the font lacks Chinese, Japanese, Korean, Thai
    and the scripts of India, and shows a hollow square for them.

    --practice makes another PDF: drawn faces of known coverage, 5 to 95 %, at
    three sizes of colonies, and their answers, to train the eye; colscan
    practice lets the tool read a photo of it.

    \b
    Example:
      colscan cards hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.present import draw_card_sheets, draw_practice, letters_lacking
    from colscan.present.paper import PAPERS
    from colscan.trial import load_trial

    trial = load_trial(trial_dir)
    path = output or trial_dir / ("practice.pdf" if practice else "cards.pdf")
    if not path.parent.is_dir():
        msg = f"--output {path}: there is no folder {path.parent}."
        raise TrialError(msg, "Make it first, or give another path.")
    size = PAPERS[paper]
    data = draw_practice(size) if practice else draw_card_sheets(trial, size, blind=blind)
    try:
        put_file(path, data)
    except OSError as error:
        msg = f"{path}: it can't be written ({error.strerror})."
        raise LedgerError(msg, "Free some space or allow writing there, or give --output PATH.") from error
    if practice:
        click.echo(f"The practice sheet and its answers are in {path}, for {size.name} paper.", err=True)
    else:
        _tell(trial, letters_lacking(trial))
        click.echo(f"The cards are in {path}, for {size.name} paper. Print at actual size, matt.", err=True)
    click.echo(path)


def _tell(trial: Trial, lacking: str) -> None:
    """Say what the cards don't show."""
    untagged = [bag.bag for bag in trial.bags if bag.tag is None]
    if untagged:
        more = len(untagged) - BAGS_NAMED
        named = ", ".join(untagged[:BAGS_NAMED]) + (f" and {more} more" if more > 0 else "")
        click.echo(f"No card for {named}: bags.csv has no tag for them.", err=True)
    if lacking:
        click.echo(f"The font lacks {' '.join(lacking)}: printed as hollow squares.", err=True)
