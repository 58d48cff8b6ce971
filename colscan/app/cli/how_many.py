"""What the bags of a plan can show, and how many would: tables, or rows for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from colscan.app.how_many import Chances
    from colscan.present.table import Cell
    from colscan.trial.model import Trial

_HEADER = (
    "question", "what", "bags", "losses_allowed", "heat_runs", "correlation", "smallest_p", "true_risk_pct",
    "difference_sd", "chance_pct",
)  # fmt: skip


def print_how_many(trial: Trial, output_format: str) -> None:
    """Print the chance of success for the contamination limit and for a difference in time.

    As a table each question has its own; as CSV or JSON both are in one, a row for each chance. What must be
    known to read them goes to stderr.
    """
    from colscan.app.cli.options import screen_of_stdout
    from colscan.app.how_many import find_chances, lay_out_chances
    from colscan.present import render_rows

    chances = find_chances(trial)
    if output_format == "table":
        said = [
            f"{table.title}\n{render_rows(table.header, table.rows, 'table', screen=screen_of_stdout())}"
            for table in lay_out_chances(chances)
        ]
        click.echo("\n".join(said), nl=False)
    else:
        _print_rows([*chances.lost, *chances.found], output_format)
    for note in chances.notes:
        click.echo(f"  {note}", err=True)


def _print_rows(chances: list[Chances], output_format: str) -> None:
    from colscan.app.how_many import CONTAMINATION
    from colscan.present import render_rows

    rows: list[list[Cell]] = []
    for c in chances:
        smallest_p = None if c.smallest_p is None else float(f"{c.smallest_p:.3g}")
        own: list[Cell] = [c.question, c.what, c.bags, c.losses, c.runs, c.correlation, smallest_p]
        for value, chance in c.by_value.items():
            of_its_own = [value, None] if c.question == CONTAMINATION else [None, value]
            rows.append([*own, *of_its_own, chance])
    click.echo(render_rows(_HEADER, rows, output_format), nl=False)
