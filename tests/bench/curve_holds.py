"""How often the intervals of a bag's curve hold the truth, on simulated trials."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from simulate import SEED, SHAPES, Design, Simulated, simulate

from colscan.growth.curve import Estimate, fit_bags

FIGURES = ("half_days", "ninety_days", "rate_per_day", "lag_days")


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One interval against its truth: below it, in it (0) or above it; error is None where none was given."""

    shape: str
    figure: str
    side: int = 0
    error: float | None = None
    width: float = math.nan


def run_trials(trials: int, design: Design, shapes: tuple[str, ...] = SHAPES) -> list[Held]:
    """The intervals of so many trials, the shapes in turn, seeds from SEED on."""
    held: list[Held] = []
    for i in range(trials):
        made = simulate(replace(design, shape=shapes[i % len(shapes)]), SEED + i)
        held += judge_trial(made)
    return held


def judge_trial(made: Simulated) -> Iterable[Held]:
    """Each bag's figures of its newest segment."""
    newest = {fit.bag.bag: fit for fit in fit_bags(made.trial, made.ledger)}
    shape = made.design.shape
    for truth in made.truths:
        for figure in FIGURES:
            yield _judge(getattr(newest[truth.bag.bag], figure), getattr(truth, figure), shape, figure)


def _judge(got: Estimate | None, true: float, shape: str, figure: str) -> Held:
    if got is None:
        return Held(shape=shape, figure=figure)
    side = int(true > got.high) - int(true < got.low)
    return Held(shape=shape, figure=figure, side=side, error=got.value - true, width=got.high - got.low)


def share_held(held: Iterable[Held], figure: str) -> float:
    """Share of the given intervals that hold the truth."""
    return float(np.mean([h.side == 0 for h in held if h.figure == figure and h.error is not None]))


def print_table(held: list[Held]) -> None:
    """A line for each figure and shape, and for all shapes."""
    rows: dict[tuple[str, str], list[Held]] = defaultdict(list)
    for h in held:
        rows[h.figure, h.shape].append(h)
        rows[h.figure, "all"].append(h)
    print(f"{'figure':<13}{'shape':<11}{'asked':>7}{'given':>7}{'hold':>7}{'below':>7}{'above':>7}{'bias':>8}"
          f"{'RMSE':>7}{'width':>7}")  # fmt: skip
    for (figure, shape), group in sorted(rows.items()):
        given = [h for h in group if h.error is not None]
        errors = np.array([h.error for h in given])
        below, above = (np.mean([h.side == side for h in given]) for side in (-1, 1))
        print(
            f"{figure:<13}{shape:<11}{len(group):>7}{len(given) / len(group):>7.2f}{1 - below - above:>7.3f}"
            f"{below:>7.3f}{above:>7.3f}{errors.mean():>8.3f}{np.sqrt((errors**2).mean()):>7.3f}"
            f"{np.median([h.width for h in given]):>7.2f}"
        )
