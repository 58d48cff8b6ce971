"""`colscan cards`: the bags' cards as a PDF to print."""

from __future__ import annotations

from pathlib import Path

import click

from colscan.app.cli.options import trial_dir_argument
from colscan.app.put import output_path, put_file
from colscan.errors import LedgerError, TrialError
from colscan.trial.model import Trial

_WRITTEN = {
    "cards": "The cards are in {path}, for {paper} paper. Print at actual size, matt.\n"
    "For the work before and after: --mixing (what to weigh), --shelf-plan (what stands where).",
    "mixing": "The mixing sheet is in {path}, for {paper} paper."
    " It shows the treatments: keep it from who judges the bags.",
    "shelf-plan": "The shelf plan is in {path}, for {paper} paper, lying.",
    "practice": "The practice sheet and its answers are in {path}, for {paper} paper.",
}
"""What is said of each sheet; its name is that of its file."""


@click.command()
@trial_dir_argument
@click.option(
    "--paper",
    type=click.Choice(("letter", "a4")),
    default="letter",
    show_default=True,
    help="What it will be printed on.",
)
@click.option("--blind", is_flag=True, help="Leave strain and treatment off cards and shelf plan.")
@click.option("--mixing", is_flag=True, help="Make the mixing sheet instead of cards.")
@click.option("--shelf-plan", is_flag=True, help="Make the shelf plan instead of cards.")
@click.option("--practice", is_flag=True, help="Make the practice sheet instead of cards.")
@click.option(
    "-o", "--output", metavar="PATH", type=click.Path(path_type=Path),
    help="The file; else in TRIAL_DIR, cards.pdf or named as the sheet.",
)  # fmt: skip
def cards(
    trial_dir: Path,
    paper: str,
    blind: bool,
    mixing: bool,
    shelf_plan: bool,
    practice: bool,
    output: Path | None,
) -> None:
    """Make the bags' cards to print, the mixing sheet or the shelf plan.

    Writes a PDF: a page on how to use it, a card for each bag that has a tag
    in bags.csv, and the cards of the shelves (tags 580 to 586). Print at
    actual size on plain white matt paper and check the ruler. Latin, Greek
    and Cyrillic letters print; the font lacks Chinese, Japanese, Korean, Thai
    and the scripts of India, and shows a hollow square for them.

    --mixing makes another PDF: by heat run and mix what to weigh, for a bag
    and for the mix, as [recipe] in trial.toml says, and the order of spawning,
    with room for what it really was. It always shows the treatments: keep it
    from who judges the bags.

    --shelf-plan makes another: each shelf from the front, with the bag for
    each place. --practice makes another: drawn faces of known coverage, 5 to
    95 %, at three sizes of colonies, and their answers, to train the eye;
    colscan practice lets the tool read a photo of it.

    \b
    Example:
      colscan cards hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.sheets import draw_sheet
    from colscan.present.paper import PAPERS
    from colscan.trial import load_trial

    sheet = _choose_sheet({"mixing": mixing, "shelf-plan": shelf_plan, "practice": practice})
    trial = load_trial(trial_dir)
    path = output_path(output, trial_dir / f"{sheet}.pdf")
    size = PAPERS[paper]
    data = draw_sheet(sheet, trial, size, blind=blind)
    try:
        put_file(path, data)
    except OSError as error:
        msg = f"{path}: it can't be written ({error.strerror})."
        raise LedgerError(msg, "Free some space or allow writing there, or give --output PATH.") from error
    _tell(sheet, trial)
    click.echo(_WRITTEN[sheet].format(path=path, paper=size.name), err=True)
    click.echo(path)


def _choose_sheet(asked: dict[str, bool]) -> str:
    chosen = [name for name, wanted in asked.items() if wanted] or ["cards"]
    if len(chosen) > 1:
        msg = f"--{chosen[0]} and --{chosen[1]} can't both be given: each is a file of its own."
        raise TrialError(msg, "Call colscan cards once for each.")
    return chosen[0]


def _tell(sheet: str, trial: Trial) -> None:
    """Say what the sheet doesn't show."""
    from colscan.app.sheets import say_missing

    for line in say_missing(sheet, trial):
        click.echo(line, err=True)
