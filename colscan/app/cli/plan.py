"""`colscan plan`: bags drawn over heat runs, mixes, tiers and the spawning order; how many show what."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import Number, WholeRange, base_option, format_option, trial_dir_argument
from colscan.app.plan import RANGES
from colscan.errors import TrialError
from colscan.trial.model import PLAN_FILE, Shelf

if TYPE_CHECKING:
    from colscan.trial import NewTrial


@click.command()
@trial_dir_argument
@click.option("--name", help="The trial's name; the folder's by default.")
@click.option("--question", metavar="TEXT", help="What the trial is for, in a sentence.")
@click.option("--zone", metavar="IANA", help="Time zone, e.g. America/New_York; this machine's by default.")
@click.option("--strain", "strains", metavar="CODE", multiple=True, required=True, help="A strain (repeat).")
@click.option(
    "--supplement", metavar="NAME", default="bran", help="The supplement, or none; bran by default."
)
@click.option(
    "--level", "levels", metavar="PCT", type=Number(), multiple=True, help="A level in percent (repeat)."
)
@base_option
@click.option(
    "--replicates",
    metavar="N",
    type=WholeRange(*RANGES["replicates"]),
    required=True,
    help="Bags of each kind.",
)
@click.option(
    "--accept", metavar="PCT", type=Number(), help="Share of bags that you accept to lose; 20 by default."
)
@click.option(
    "--inoculated-at", metavar="TIME", help="Day 0 of all bags, like 2026-03-02T06:00; today by default."
)
@click.option(
    "--first-tag", metavar="N", type=WholeRange(*RANGES["first_tag"]), help="Tag of the first bag's card."
)
@click.option(
    "--heat-runs", metavar="N", type=WholeRange(*RANGES["heat_runs"]), help="Heat runs; 2 by default."
)
@click.option(
    "--vessel",
    "capacity",
    metavar="N",
    type=WholeRange(*RANGES["vessel"]),
    help="Bags that one heat run holds.",
)
@click.option(
    "--blanks",
    metavar="N",
    type=WholeRange(*RANGES["blanks"]),
    default=0,
    help="Sealed bags without spawn in each heat run, 0 to 2.",
)
@click.option(
    "--mix-capacity",
    metavar="N",
    type=WholeRange(*RANGES["mix_capacity"]),
    help="Bags that one mix fills.",
)
@click.option("--shelf", "shelves", metavar="NAME:TIERS", multiple=True, help="A shelf (repeat).")
@click.option("--spawn-lot", "lots", metavar="STRAIN=LOT", multiple=True, help="A lot of spawn (repeat).")
@click.option("--seed", metavar="N", type=WholeRange(0), help="Seed of an earlier draw, to repeat it.")
@format_option
def plan(
    trial_dir: Path,
    name: str | None,
    question: str | None,
    zone: str | None,
    strains: tuple[str, ...],
    supplement: str,
    levels: tuple[float, ...],
    base: str | None,
    replicates: int,
    accept: float | None,
    inoculated_at: str | None,
    first_tag: int | None,
    heat_runs: int | None,
    capacity: int | None,
    blanks: int,
    mix_capacity: int | None,
    shelves: tuple[str, ...],
    lots: tuple[str, ...],
    seed: int | None,
    output_format: str,
) -> None:
    """Draw the bags by lot, and say what they can show.

    Every strain at every level, each N times, over heat runs, mixes, shelf
    tiers and the spawning order, so that no treatment has a run or a tier of
    its own where that can be helped. Writes TRIAL_DIR/trial.toml and
    TRIAL_DIR/bags.csv; a trial in which something is recorded is refused.
    Prints what so many bags can show: a limit of contamination, a difference
    in time. Plan again, with more or fewer, until it is enough.

    \b
    Example:
      colscan plan spring --strain PO-3 --level 0 --level 8 --replicates 6
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.cli.how_many import print_how_many
    from colscan.app.plan import Wishes, draw_wishes
    from colscan.trial import write_plan

    wishes = Wishes(
        strains=strains,
        replicates=replicates,
        levels_pct=levels,
        supplement=supplement,
        base=base,
        name=name,
        zone=zone,
        question=question,
        accept_pct=accept,
        inoculated_at=inoculated_at,
        first_tag=first_tag,
        heat_runs=heat_runs,
        vessel=capacity,
        blanks=blanks,
        mix_capacity=mix_capacity,
        shelves=tuple(map(_read_shelf, shelves)),
        spawn_lots=tuple(_read_lot(lot, strains) for lot in lots),
        seed=seed,
    )
    made = write_plan(trial_dir, draw_wishes(trial_dir, wishes))
    _report(made)
    print_how_many(made.trial, output_format)


def _read_shelf(text: str) -> Shelf:
    name, _, tiers = text.rpartition(":")
    if not name.strip() or not re.fullmatch("[0-9]{1,3}", tiers) or not 1 <= int(tiers) <= 100:
        msg = f"--shelf {text!r} is not a name, a colon and the number of tiers (1 to 100)"
        raise TrialError(msg, "Write it like cellar:4.")
    return Shelf(name=name, tiers=int(tiers))


def _read_lot(text: str, strains: tuple[str, ...]) -> tuple[str, str]:
    strain, _, lot = text.partition("=")
    if strain not in strains or not lot.strip():
        msg = f"--spawn-lot {text!r} is not a strain of this plan, = and its lot"
        raise TrialError(msg, f"Write it like {strains[0]}=2026-14.")
    return strain, lot


def _report(made: NewTrial) -> None:
    from colscan.app.plan import count_bags, say_plan
    from colscan.trial import find_confounded

    click.echo(f"Planned {made.trial.name!r}: {count_bags(made)}.", err=True)
    for line in (*say_plan(made), *made.notes):
        click.echo(f"  {line}", err=True)
    click.echo(f"  drawn with (recorded in {PLAN_FILE}): {made.trial.plan}", err=True)
    for found in find_confounded(made.trial.bags):
        click.echo(f"Can't tell apart: {found}", err=True)
