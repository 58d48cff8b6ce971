"""`colscan plan`: bags drawn over heat runs, mixes, tiers and the spawning order; how many show what."""

from __future__ import annotations

import secrets
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import base_option, format_option, trial_dir_argument
from colscan.errors import TrialError
from colscan.trial.model import PLAN_FILE, Bag, Shelf

if TYPE_CHECKING:
    from colscan.trial import NewTrial

# Short enough to type again from a note.
_SEEDS = 1_000_000


@click.command()
@trial_dir_argument
@click.option("--name", help="The trial's name; the folder's by default.")
@click.option("--zone", metavar="IANA", help="Time zone, e.g. America/New_York; this machine's by default.")
@click.option("--strain", "strains", metavar="CODE", multiple=True, required=True, help="A strain (repeat).")
@click.option(
    "--supplement", metavar="NAME", default="bran", help="The supplement, or none; bran by default."
)
@click.option(
    "--level", "levels", metavar="PCT", type=float, multiple=True, help="A level in percent (repeat)."
)
@base_option
@click.option(
    "--replicates", metavar="N", type=click.IntRange(1, 580), required=True, help="Bags of each kind."
)
@click.option("--inoculated-at", metavar="TIME", help="Day 0 of all bags; today by default.")
@click.option("--first-tag", metavar="N", type=click.IntRange(0, 579), help="Tag of the first bag's card.")
@click.option("--heat-runs", metavar="N", type=click.IntRange(1, 99), help="Heat runs; 2 by default.")
@click.option(
    "--vessel", "capacity", metavar="N", type=click.IntRange(1, 580), help="Bags that one heat run holds."
)
@click.option(
    "--blanks",
    metavar="N",
    type=click.IntRange(0, 2),
    default=0,
    help="Sealed bags without spawn in each heat run, 0 to 2.",
)
@click.option("--mix-capacity", metavar="N", type=click.IntRange(1, 580), help="Bags that one mix fills.")
@click.option("--shelf", "shelves", metavar="NAME:TIERS", multiple=True, help="A shelf (repeat).")
@click.option("--spawn-lot", "lots", metavar="STRAIN=LOT", multiple=True, help="A lot of spawn (repeat).")
@click.option("--seed", metavar="N", type=click.IntRange(0), help="Seed of an earlier draw, to repeat it.")
@format_option
def plan(
    trial_dir: Path,
    name: str | None,
    zone: str | None,
    strains: tuple[str, ...],
    supplement: str,
    levels: tuple[float, ...],
    base: str | None,
    replicates: int,
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
    from colscan.trial import Layout, Scheme, plan_trial

    if not levels and supplement != "none":
        msg = "no --level is given"
        raise TrialError(msg, "Give each level in percent, or --supplement none.")
    _refuse_recorded(trial_dir)
    layout = Layout(
        strains=strains,
        supplement=supplement,
        levels_pct=levels or (0.0,),
        replicates=replicates,
        inoculated_at=inoculated_at,
        first_tag=first_tag,
    )
    bags = len(strains) * len(layout.levels_pct) * replicates
    scheme = Scheme(
        seed=secrets.randbelow(_SEEDS) if seed is None else seed,
        heat_runs=_choose_runs(bags, heat_runs, capacity, blanks),
        blanks_per_run=blanks,
        mix_capacity=mix_capacity,
        shelves=tuple(map(_read_shelf, shelves)),
        spawn_lots=tuple(_read_lot(lot, strains) for lot in lots),
    )
    made = plan_trial(trial_dir, layout, scheme, name=name, time_zone=zone, base=base)
    _report(made)
    print_how_many(made.trial, output_format)


def _refuse_recorded(folder: Path) -> None:
    """Refuse a trial whose ledger holds anything: it is about the bags as they are."""
    from colscan.ledger import read_ledger

    if not (folder / PLAN_FILE).exists():
        return
    ledger = read_ledger(folder)
    for what in ("scores", "photos", "verdicts", "events", "harvests", "batches", "heat_runs"):
        if rows := getattr(ledger, what):
            msg = f"{folder} holds a trial with records ({what}: {len(rows)}): its plan stays as it is"
            raise TrialError(msg, "Plan the next trial in a folder of its own.")


def _choose_runs(bags: int, runs: int | None, capacity: int | None, blanks: int) -> int:
    """Return the number of heat runs: as asked, or two, or as many as the vessel needs."""
    if capacity is None:
        chosen = runs or 2
    else:
        if capacity <= blanks:
            msg = f"--vessel {capacity} leaves no room beside {blanks} blanks"
            raise TrialError(msg, "Leave --blanks out, or give the bags that one heat run holds.")
        needed = -(-bags // (capacity - blanks))
        if runs and runs < needed:
            msg = f"{bags} bags need {needed} heat runs of {capacity}, blanks included; --heat-runs is {runs}"
            raise TrialError(msg, "Give more heat runs, or plan fewer bags.")
        chosen = runs or max(2, needed)
    return min(chosen, bags)


def _read_shelf(text: str) -> Shelf:
    name, _, tiers = text.rpartition(":")
    if not name.strip() or not (tiers.isascii() and tiers.isdigit()) or not 1 <= int(tiers) <= 100:
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
    from colscan.trial import find_confounded

    bags = made.trial.bags
    blanks = sum(bag.role == "blank" for bag in bags)
    click.echo(f"Planned {made.trial.name!r}: {len(bags)} bags, {blanks} of them blanks.", err=True)
    for line in _say_runs(bags):
        click.echo(f"  {line}", err=True)
    for note in made.notes:
        click.echo(f"  {note}", err=True)
    click.echo(f"  drawn with (recorded in {PLAN_FILE}): {made.trial.plan}", err=True)
    for found in find_confounded(bags):
        click.echo(f"Can't tell apart: {found}", err=True)


def _say_runs(bags: tuple[Bag, ...]) -> list[str]:
    """Return a line for each heat run: its mixes, in the order they are made, and their bags."""
    lines = []
    for run in dict.fromkeys(bag.heat_run for bag in bags):
        own = [bag for bag in bags if bag.heat_run == run]
        mixes = Counter((bag.mix_batch or "", bag.treatment) for bag in own)
        said = ", ".join(f"{mix} {treatment} x {count}" for (mix, treatment), count in sorted(mixes.items()))
        lines.append(f"heat run {run}: {len(own)} bags ({said})")
    return lines
