"""How often tests of times find a difference where there is none, on simulated trials.

Every level grows alike and loses bags alike; 8 bags a level in 2 heat runs, daily photos, all shapes that
`simulate` knows in turn, and what the scorer errs.

    python tests/bench/compare_null.py [--trials N] [--milestone half|"90 %"|full] [--strains N] [--uneven]

prints the share of trials with p <= 0.05: of one comparison with the control, of any of all comparisons
after Holm, and of the trend. With several strains, each slower than the one before, the comparison is over
all. `--uneven` has higher levels lose more bags, though they grow alike.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
from simulate import SHAPES, Design, Simulated, simulate

from colscan.growth.compare.case import Case, Question, find_case
from colscan.growth.compare.contrasts import judge_order
from colscan.growth.compare.exchange import holm
from colscan.growth.outcomes import Milestone, Outcome, outcomes_of

LEVELS = (0.0, 4.0, 8.0)
EVEN_RISKS, UNEVEN_RISKS = (0.12, 0.12, 0.12), (0.05, 0.15, 0.30)
NAMES = ("none", "bran 4 %", "bran 8 %")
PAIRS = tuple(
    Question(kind="level", scope="S1", treatment=name, control="none", levels=("none", name))
    for name in NAMES[1:]
)
TREND = Question(kind="trend", scope="S1", treatment="bran", control="none", levels=NAMES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What one simulated trial's tests say: p of each."""

    pair: float
    any_holm: float
    trend: float


def draw(number: int, strains: int, risks: tuple[float, ...]) -> Simulated:
    """One trial; shapes take turns."""
    return simulate(
        Design(
            levels=LEVELS,
            rate_ratios=(1.0,) * 3,
            risks=risks,
            strains=tuple(f"S{strain + 1}" for strain in range(strains)),
            shape=SHAPES[number % len(SHAPES)],
            photo_days=28,
        ),
        number,
    )


def case_of(question: Question, outcomes: tuple[Outcome, ...]) -> Case:
    """The bags that carry a question; here there always are some."""
    case, coinciding = find_case(question, outcomes)
    assert case is not None, coinciding
    return case


def p_of(question: Question, outcomes: tuple[Outcome, ...], milestone: Milestone) -> float:
    """The unadjusted p; 1 where there is nothing to order."""
    test, _ = judge_order(case_of(question, outcomes), milestone)
    return 1.0 if test is None else test.p


def find_once(
    number: int, milestone: Milestone, *, strains: int = 1, risks: tuple[float, ...] = EVEN_RISKS
) -> Found:
    """Return what the tests say of a trial without any difference in growth."""
    made = draw(number, strains, risks)
    outcomes = outcomes_of(made.trial, made.ledger)
    pairs = [p_of(question, outcomes, milestone) for question in PAIRS]
    return Found(pair=pairs[1], any_holm=min(holm(pairs)), trend=p_of(TREND, outcomes, milestone))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--trials", type=int, default=4_000)
    parser.add_argument("--milestone", choices=[m.value for m in Milestone], default="half")
    parser.add_argument("--strains", type=int, default=1)
    parser.add_argument("--uneven", action="store_true", help="levels lose 5, 15 and 30 %% of their bags")
    said = parser.parse_args()
    risks = UNEVEN_RISKS if said.uneven else EVEN_RISKS
    found = [
        find_once(number, Milestone(said.milestone), strains=said.strains, risks=risks)
        for number in range(said.trials)
    ]
    print(f"{said.trials} trials without a difference, {said.milestone}: share with p <= 0.05")
    for name in ("pair", "any_holm", "trend"):
        ps = np.array([getattr(one, name) for one in found])
        for shape in ("all", *SHAPES):
            own = ps if shape == "all" else ps[[SHAPES[i % len(SHAPES)] == shape for i in range(len(ps))]]
            print(f"  {name:10s} {shape:10s} {100 * (own <= 0.05).mean():5.1f} %")


if __name__ == "__main__":
    main()
