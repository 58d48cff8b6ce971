"""`colscan new`: a trial's folder, from a bag list or a few numbers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from colscan.app.cli.options import Number, WholeRange, base_option, trial_dir_argument
from colscan.errors import TrialError
from colscan.hints import as_typed
from colscan.trial.model import PLAN_FILE, Bag

if TYPE_CHECKING:
    from colscan.trial import NewTrial

_OPTIONS = {
    "strains": "--strain",
    "supplement": "--supplement",
    "levels_pct": "--level",
    "replicates": "--replicates",
    "inoculated_at": "--inoculated-at",
    "first_tag": "--first-tag",
}


@click.command()
@trial_dir_argument
@click.option(
    "--bags",
    "bag_list",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Begin from this bag list: a CSV with the columns bag, strain, supplement, supplement_pct,"
    " inoculated_at, and any more of bags.csv's and your own.",
)
@click.option(
    "--from",
    "earlier",
    metavar="TRIAL",
    type=click.Path(path_type=Path),
    help="Begin from this earlier trial: all as there but for the options given, which is said.",
)
@click.option("--name", help="The trial's name; the folder's by default.")
@click.option("--zone", metavar="IANA", help="Time zone, e.g. America/New_York; this machine's by default.")
@click.option("--strain", "strains", metavar="CODE", multiple=True, help="A strain (repeat for more).")
@click.option("--supplement", metavar="NAME", help="The supplement, or none; bran by default.")
@click.option(
    "--level", "levels", metavar="PCT", type=Number(), multiple=True, help="A level in percent (repeat)."
)
@base_option
@click.option("--replicates", metavar="N", type=WholeRange(1, 580), help="Bags of each; 2 by default.")
@click.option(
    "--inoculated-at", metavar="TIME", help="Day 0 of all bags, like 2026-03-02T06:00; today by default."
)
@click.option(
    "--first-tag",
    metavar="N",
    type=WholeRange(0, 579),
    help="Tag of the first bag's card, the others follow; the first free ones by default.",
)
def new(
    trial_dir: Path,
    bag_list: Path | None,
    earlier: Path | None,
    name: str | None,
    zone: str | None,
    strains: tuple[str, ...],
    supplement: str | None,
    levels: tuple[float, ...],
    base: str | None,
    replicates: int | None,
    inoculated_at: str | None,
    first_tag: int | None,
) -> None:
    """Begin a trial: its plan and its list of bags.

    Writes TRIAL_DIR/trial.toml, each key explained in it, and
    TRIAL_DIR/bags.csv. Without options the bags are a small example to change.
    Files that are there already are never touched. With --from an earlier trial
    its limits, strains, treatments, shelves, shelf map, bags and free tags are
    taken over, none of its records, and what is other than there is said.

    \b
    Example:
      colscan new hornbeam --strain PO-3 --strain PE-1 --level 0 --level 8
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.trial import Changes, Layout, begin_next, create_trial

    given: dict[str, Any] = {
        "strains": strains,
        "supplement": supplement,
        "levels_pct": levels,
        "replicates": replicates,
        "inoculated_at": inoculated_at,
        "first_tag": first_tag,
    }
    given = {field: value for field, value in given.items() if value not in (None, ())}
    if bag_list is not None and given:
        msg = f"{_OPTIONS[next(iter(given))]} can't go with --bags: {bag_list} says it for each bag"
        raise TrialError(msg, "Leave one of the two out.")
    if earlier is None:
        made = create_trial(trial_dir, bag_list or Layout(**given), name=name, time_zone=zone, base=base)
    elif bag_list is None:
        made = begin_next(trial_dir, earlier, Changes(base=base, **given), name=name, time_zone=zone)
    else:
        msg = "--from can't go with --bags"
        raise TrialError(msg, "Leave one of the two out.")
    _report(trial_dir, made)


def _report(folder: Path, made: NewTrial) -> None:
    trial = made.trial
    strains = ", ".join(strain.code for strain in trial.strains)
    treatments = ", ".join(dict.fromkeys(bag.treatment for bag in trial.bags))
    where = "the current folder" if folder == Path() else folder
    click.echo(f"Made the trial {trial.name!r} in {where}. Bags: {len(trial.bags)}", err=True)
    click.echo(f"  strains: {strains}; treatments: {treatments}", err=True)
    for note in made.notes:
        click.echo(f"  {note}", err=True)
    looked = f"Next: look through {folder / PLAN_FILE} and {folder / Bag.FILE}"
    if all(bag.tag is None for bag in trial.bags):
        click.echo(f"{looked}; photograph", err=True)
        click.echo("the shelf from the front, and say which bag (none has a tag) stands where:", err=True)
        click.echo(f"  colscan map {as_typed(folder)} PHOTO", err=True)
        return
    click.echo(f"{looked}; fix each", err=True)
    click.echo("bag's card (its tag is in bags.csv) high on the bag; photograph the shelf; then:", err=True)
    click.echo(f"  colscan scan {as_typed(folder)} PHOTO", err=True)
