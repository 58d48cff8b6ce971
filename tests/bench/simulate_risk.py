"""How often the rule of the highest acceptable level is wrong, on simulated trials with a known truth.

`python tests/bench/simulate_risk.py` prints the figures that docs/answers.md states: 4,000 trials of each
kind, seed 1. Bags of a heat run share their luck: the risk of a run is beta-distributed about its level's,
either one luck for the whole run (all its levels are lucky together) or one for each batch (a level's bags in
a run).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta

from colscan.growth.risk.dose import estimate_dose
from colscan.growth.risk.limits import correlation_to_use, estimate_correlation
from colscan.growth.risk.trend import Stratum, judge_trend
from colscan.trial.power import effective_bags, spread_evenly, upper_limit

SEED = 1
TRIALS = 4000
CORRELATIONS = (0.0, 0.05, 0.1, 0.2)
LUCKS = ("run", "batch")
Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """A trial as it is drawn: true risks by level, bags of a level, heat runs, what bags of a run share."""

    risks: tuple[float, ...]
    bags: int = 30
    runs: int = 4
    correlation: float = 0.0
    luck: str = "run"


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """Shares of the trials: an unacceptable level was named; the highest acceptable one; any level at all."""

    wrong: float
    right: float
    any: float


def sizes_of(truth: Truth) -> Counts:
    """Return the bags of each level and heat run: spread evenly, the larger batches in turn."""
    sizes = spread_evenly(truth.bags, truth.runs)
    return np.array([np.roll(sizes, level) for level in range(len(truth.risks))])


def draw(truth: Truth, trials: int, rng: np.random.Generator) -> Counts:
    """Return the losses of each trial, level and heat run."""
    sizes, levels = sizes_of(truth), len(truth.risks)
    luck = rng.random((trials, 1 if truth.luck == "run" else levels, truth.runs))
    luck = np.broadcast_to(luck, (trials, levels, truth.runs))
    risks = np.broadcast_to(np.array(truth.risks)[:, None], luck.shape)
    if truth.correlation:
        spread = 1 / truth.correlation - 1
        risks = beta.ppf(luck, risks * spread, (1 - risks) * spread)
    return rng.binomial(sizes, risks)


@cache
def limit_of(lost: int, bags: int, worth: float) -> float:
    """Return the upper limit; the same counts come again and again."""
    return upper_limit(lost, bags, worth)


def name_level(lost: Counts, sizes: Counts, *, accepted: float, shared: bool) -> int:
    """Return the index of the level that the rule names in one trial, -1 for none.

    With `shared` false, the limit of independent bags: what heat runs do to it.
    """
    cells = [(k.astype(float), n.astype(float)) for k, n in zip(lost, sizes, strict=True)]
    correlation = correlation_to_use(estimate_correlation(cells)) if shared else 0.0
    for level, (k, n) in enumerate(zip(lost, sizes, strict=True)):
        worth = effective_bags(n.tolist(), correlation)
        if limit_of(int(k.sum()), int(n.sum()), worth) > accepted:
            return level - 1
    return len(sizes) - 1


def score_rule(truth: Truth, *, accepted: float, trials: int = TRIALS, shared: bool = True) -> Score:
    """Return how the rule does; a true risk as high as the accepted one counts as unacceptable."""
    rng = np.random.default_rng(SEED)
    sizes = sizes_of(truth)
    named = np.array(
        [name_level(k, sizes, accepted=accepted, shared=shared) for k in draw(truth, trials, rng)]
    )
    highest = sum(risk < accepted for risk in truth.risks) - 1
    return Score(
        wrong=float((named > highest).mean()),
        right=float((named == highest).mean()),
        any=float((named >= 0).mean()),
    )


def trend_found(truth: Truth, *, trials: int = TRIALS) -> float:
    """Return the share of trials in which the trend test gives p <= 0.05; levels 0, 4, 8 ... %."""
    rng = np.random.default_rng(SEED)
    sizes, pcts = sizes_of(truth), tuple(4.0 * level for level in range(len(truth.risks)))
    found = 0
    for lost in draw(truth, trials, rng):
        strata = [
            Stratum(pcts=pcts, lost=tuple(map(int, lost[:, run])), bags=tuple(map(int, sizes[:, run])))
            for run in range(truth.runs)
        ]
        p = judge_trend(strata, interim=False).p
        found += p is not None and p <= 0.05
    return found / trials


def dose_held(truth: Truth, *, dose: float, accepted: float, trials: int = TRIALS) -> tuple[float, float]:
    """Return the share of 90 % intervals that hold the true dose, and the share of trials that have one."""
    rng = np.random.default_rng(SEED)
    sizes, pcts = sizes_of(truth), [4.0 * level for level in range(len(truth.risks))]
    bags = sizes.sum(axis=1).tolist()
    held = given = 0
    for lost in draw(truth, trials, rng):
        cells = [(k.astype(float), n.astype(float)) for k, n in zip(lost, sizes, strict=True)]
        correlation = correlation_to_use(estimate_correlation(cells))
        runs = sizes.sum(axis=0).tolist()
        worth = effective_bags(runs, correlation) / sum(runs)
        found = estimate_dose(pcts, lost.sum(axis=1).tolist(), bags, worth=worth, accepted=accepted)
        if found.pct is not None:
            given += 1
            low, high = (-np.inf if found.low_pct is None else found.low_pct), found.high_pct
            held += low <= dose <= (np.inf if high is None else high)
    return held / given, given / trials


def logistic_risks(dose: float, accepted: float, slope: float, levels: int = 4) -> tuple[float, ...]:
    """Return true risks at 0, 4, 8 ... % of a logistic curve that reaches the accepted risk at a dose."""
    odds = np.log(accepted / (1 - accepted)) + slope * (4.0 * np.arange(levels) - dose)
    return tuple(float(risk) for risk in 1 / (1 + np.exp(-odds)))


def print_rule() -> None:
    """Print how often the rule is wrong, beside the limit of independent bags."""
    print("bags runs accepted true risks | luck r | wrong right any named | if independent: wrong right")
    designs = [(30, 4, 0.2), (30, 4, 0.3), (60, 4, 0.2), (30, 6, 0.2), (60, 10, 0.1)]
    for bags, runs, accepted in designs:
        for risks in ((0.02, 0.05, accepted, 0.5), (0.01, 0.02, 0.05, accepted)):
            for luck, correlation in product(LUCKS, CORRELATIONS):
                truth = Truth(risks=risks, bags=bags, runs=runs, correlation=correlation, luck=luck)
                own = score_rule(truth, accepted=accepted)
                alone = score_rule(truth, accepted=accepted, shared=False)
                print(
                    f"{bags} {runs} {accepted} {risks} | {luck} {correlation} |"
                    f" {own.wrong:.4f} {own.right:.3f} {own.any:.3f} | {alone.wrong:.4f} {alone.right:.3f}",
                    flush=True,
                )


def print_trend() -> None:
    """Print how often the trend test finds something, with and without a trend."""
    print("\nbags runs true risks | luck r | trend found (p <= 0.05)")
    for bags, runs in ((30, 4), (8, 4), (8, 2)):
        for risks in ((0.2, 0.2, 0.2), (0.05, 0.05, 0.05), (0.05, 0.15, 0.4)):
            for luck, correlation in product(LUCKS, CORRELATIONS):
                truth = Truth(risks=risks, bags=bags, runs=runs, correlation=correlation, luck=luck)
                print(f"{bags} {runs} {risks} | {luck} {correlation} | {trend_found(truth):.4f}", flush=True)


def print_dose() -> None:
    """Print how often the interval holds the true dose."""
    print("\nbags runs slope | luck r | interval holds the dose (8 %), trials with a dose")
    for bags, slope in ((30, 0.3), (30, 0.6), (8, 0.4)):
        for luck, correlation in product(LUCKS, CORRELATIONS):
            risks = logistic_risks(8.0, 0.2, slope)
            truth = Truth(risks=risks, bags=bags, correlation=correlation, luck=luck)
            held, given = dose_held(truth, dose=8.0, accepted=0.2)
            print(f"{bags} 4 {slope} | {luck} {correlation} | {held:.4f} {given:.3f}", flush=True)


if __name__ == "__main__":
    parts = {"rule": print_rule, "trend": print_trend, "dose": print_dose}
    for part in sys.argv[1:] or parts:
        parts[part]()
