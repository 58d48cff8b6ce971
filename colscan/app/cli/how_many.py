"""What the bags of a plan can show, and how many would: two tables for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from colscan.present.table import Cell
    from colscan.trial.model import Trial

# From a clean room to a poor one; those from the accepted risk up are left out.
_TRUE_RISKS = (0.01, 0.02, 0.05, 0.10, 0.20)
# Bags of a heat run share steam, water, air and hands. No published figure is known for how much: one in
# ten is an assumption, said with the table.
_CORRELATIONS = (0.0, 0.1)
_LOSSES = (0, 1, 2)
_DIFFERENCES_SD = (0.5, 1.0, 1.5, 2.0, 3.0)


def print_how_many(trial: Trial) -> None:
    """Print the chance of success for the contamination limit and for a difference in time."""
    from colscan.app.cli.options import screen_of_stdout
    from colscan.present import render_rows

    bags = [bag for bag in trial.bags if bag.role == "trial"]
    runs, strains = len({bag.heat_run for bag in bags}), len(trial.strains)
    each = len(bags) // (strains * len(trial.treatments))
    limit = trial.limits.contamination_risk
    screen = screen_of_stdout()
    header, rows = _contamination(limit, runs, strains, each)
    click.echo(f"To show that at most {100 * limit:g} % are lost (95 % sure): chance of success, %")
    click.echo(render_rows(header, rows, "table", screen=screen))
    click.echo(
        f"  The last column is the chance to pass wrongly. Correlation {_CORRELATIONS[1]:g} between bags of a"
    )
    click.echo("  heat run is an assumption; the 95 % hold without it. 'here' is this plan.\n")
    if len(trial.treatments) < 2:
        click.echo("There is one level only: no difference between levels to find.")
        return
    header, rows = _difference(strains, each)
    click.echo("To find a difference in days between two levels (p <= 0.05): chance of success, %")
    click.echo(render_rows(header, rows, "table", screen=screen))
    click.echo("  SD: standard deviation between bags of one strain and level; bags taken as independent.")
    for line in _say_comparisons(len(trial.treatments), strains, each):
        click.echo(f"  {line}")


def _contamination(limit: float, runs: int, strains: int, each: int) -> tuple[list[str], list[list[Cell]]]:
    from colscan.trial.power import bags_needed, losses_allowed

    risks = [risk for risk in _TRUE_RISKS if risk < limit]
    header = ["what", "bags", "losses allowed", "heat runs", "correlation"]
    header += [f"true {100 * risk:g} %" for risk in (*risks, limit)]
    wanted: list[tuple[str, int, int | None]] = [("needed", bags_needed(k, limit), k) for k in _LOSSES]
    kinds = {"here, a level": strains * each} | ({"here, a strain's": each} if strains > 1 else {})
    wanted += [(name, count, losses_allowed(count, limit)) for name, count in kinds.items()]
    rows: list[list[Cell]] = []
    for what, count, losses in wanted:
        if losses is None:
            rows.append([what, count, "none is enough", min(runs, count), None, *[0.0] * (len(risks) + 1)])
            continue
        for correlation in _CORRELATIONS:
            chances = [_chance(count, runs, losses, risk, correlation) for risk in (*risks, limit)]
            rows.append([what, count, losses, min(runs, count), correlation, *chances])
    return header, rows


def _chance(bags: int, runs: int, losses: int, risk: float, correlation: float) -> float:
    from colscan.trial.power import chance_of_few_losses

    sizes = [bags // runs + (run < bags % runs) for run in range(runs)]
    return round(100 * chance_of_few_losses(sizes, losses, risk=risk, correlation=correlation), 1)


def _difference(strains: int, each: int) -> tuple[list[str], list[list[Cell]]]:
    from colscan.trial.power import chance_of_difference, smallest_p

    header = ["what", "bags a level", "smallest p", *[f"{d:g} SD" for d in _DIFFERENCES_SD]]
    rows: list[list[Cell]] = []
    for what, of in (("one strain", 1), ("all strains", strains))[: 2 if strains > 1 else 1]:
        chances = [round(100 * chance_of_difference(each, d, strains=of), 1) for d in _DIFFERENCES_SD]
        rows.append([what, each * of, f"{smallest_p(each, of):.2g}", *chances])
    return header, rows


def _say_comparisons(levels: int, strains: int, each: int) -> list[str]:
    """Return what comparing several levels with the lowest one asks for."""
    from colscan.trial.power import ALPHA, smallest_p

    comparisons = levels - 1
    if smallest_p(each, strains) > ALPHA / comparisons:
        return [
            f"Against the lowest level ({comparisons} in all, Holm) p must be {ALPHA / comparisons:.2g}:"
            " no result of this plan reaches it. Plan more replicates."
        ]
    if comparisons == 1:
        return []
    return [
        f"This is for one comparison. The {comparisons} with the lowest level (Holm) begin at a p of"
        f" {ALPHA / comparisons:.2g}: their chances are lower."
    ]
