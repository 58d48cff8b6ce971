"""What stands over and under every chart: whose it is, the question, how many bags it shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from colscan.present import frame as sizes
from colscan.present.frame import wrap_question
from colscan.trial.model import Bag, Trial
from colscan.units import count_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INTERIM = "interim"


def write_head(figure: Figure, trial: Trial, *, interim: bool) -> None:
    """Write a trial's name and question at the top of a figure."""
    width, height = figure.get_size_inches()
    left = 0.25 / width
    name = f"{trial.name}  ({INTERIM})" if interim else trial.name
    figure.text(
        left, 1 - 0.17 / height, name, fontsize=sizes.TITLE_POINTS, fontweight="bold", va="top", gid="title"
    )
    figure.text(
        left,
        1 - 0.48 / height,
        "\n".join(wrap_question(trial.question, width)),
        fontsize=sizes.QUESTION_POINTS,
        va="top",
        linespacing=1.25,
    )


def title_of(trial: Trial, strain: str) -> str:
    """Return a strain's code, with its species where the plan says it."""
    declared = trial.strain(strain)
    return f"{strain}  {declared.species}" if declared and declared.species else strain


def count_bags(bags: Sequence[Bag]) -> str:
    """Return how many bags, and of how many heat runs where these are named.

    >>> count_bags([])
    '0 bags'
    """
    runs = {bag.heat_run for bag in bags if bag.heat_run}
    return count_runs(len(bags), len(runs))


def count_runs(bags: int, heat_runs: int) -> str:
    """Return the two numbers in words; heat runs are left out where none is named.

    >>> count_runs(8, 2), count_runs(1, 0)
    ('8 bags, 2 heat runs', '1 bag')
    """
    said = count_of(bags, "bag")
    return f"{said}, {count_of(heat_runs, 'heat run')}" if heat_runs else said
