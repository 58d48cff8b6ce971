"""How often the 90 % intervals of a comparison hold the truth, on simulated trials with a true effect.

8 bags a level in 2 heat runs, daily photos, losses, all shapes that `simulate` knows in turn; the second
level grows 1.2 times as fast.

    python tests/bench/compare_holds.py [--trials N]

prints for days sooner to half, and for the ratio of rates, the share of intervals that hold the truth, their
mean width, and the mean error. The truth of the days is the difference of the mean true days over all trials
of a shape.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
from simulate import SHAPES, Design, Simulated, simulate

from colscan.growth.compare.case import Question, find_case
from colscan.growth.compare.comparing import rates_of
from colscan.growth.compare.contrasts import shift_days, shift_rates
from colscan.growth.curve import Estimate, fit_bags
from colscan.growth.outcomes import Milestone, outcomes_of

RATIO = 1.2
LEVELS = (0.0, 8.0)
QUESTION = Question(
    kind="level", scope="S1", treatment="bran 8 %", control="none", levels=("none", "bran 8 %")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One trial's effects, and the true mean days of its two levels."""

    shape: str
    days: Estimate | None
    ratio: Estimate | None
    true_days: tuple[float, float]


def draw(number: int) -> Simulated:
    """One trial; shapes take turns."""
    shape = SHAPES[number % len(SHAPES)]
    design = Design(levels=LEVELS, rate_ratios=(1.0, RATIO), risks=(0.1, 0.1), shape=shape)
    return simulate(design, number)


def find_once(number: int) -> Found:
    """Return the effects of one trial."""
    made = draw(number)
    case, coinciding = find_case(QUESTION, outcomes_of(made.trial, made.ledger))
    assert case is not None, coinciding
    rates = rates_of(fit_bags(made.trial, made.ledger))
    with_rates = case.only(rates)
    half_days = {pct: [t.half_days for t in made.truths if t.bag.supplement_pct == pct] for pct in LEVELS}
    return Found(
        shape=made.design.shape,
        days=shift_days(case, case.spans(Milestone.HALF)),
        ratio=shift_rates(with_rates, rates) if with_rates else None,
        true_days=(float(np.mean(half_days[LEVELS[0]])), float(np.mean(half_days[LEVELS[1]]))),
    )


def tell(name: str, effects: list[Estimate | None], truth: np.ndarray) -> str:
    """Return a line of the table."""
    given = [(effect, true) for effect, true in zip(effects, truth, strict=True) if effect is not None]
    held = np.mean([effect.low <= true <= effect.high for effect, true in given])
    width = np.median([effect.high - effect.low for effect, _ in given])
    error = np.mean([effect.value - true for effect, true in given])
    return f"  {name:24s} {len(given):5d} {100 * held:6.1f} % {width:7.2f} {error:+7.3f}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--trials", type=int, default=4_000)
    found = [find_once(number) for number in range(parser.parse_args().trials)]
    means = {s: np.mean([one.true_days for one in found if one.shape == s], axis=0) for s in SHAPES}
    true_days = np.array([means[one.shape][0] - means[one.shape][1] for one in found])
    print(f"{len(found)} trials, ratio {RATIO}: given, held by the 90 % interval, median width, mean error")
    for shape in ("all", *SHAPES):
        own = [i for i, one in enumerate(found) if shape in ("all", one.shape)]
        print(tell(f"days sooner, {shape}", [found[i].days for i in own], true_days[own]))
    for shape in ("all", *SHAPES):
        own = [i for i, one in enumerate(found) if shape in ("all", one.shape)]
        print(tell(f"ratio of rates, {shape}", [found[i].ratio for i in own], np.full(len(own), RATIO)))


if __name__ == "__main__":
    main()
