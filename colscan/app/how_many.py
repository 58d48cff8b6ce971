"""What the bags of a plan can show, and how many would: chances of success, for command and page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from colscan.present.table import Cell
    from colscan.trial.model import Trial

# From a clean room to a poor one; those from the accepted risk up are left out.
_TRUE_RISKS = (0.01, 0.02, 0.05, 0.10, 0.20)
_LOSSES = (0, 1, 2)
_DIFFERENCES_SD = (0.5, 1.0, 1.5, 2.0, 3.0)
CONTAMINATION, DIFFERENCE = "contamination", "difference"
_NEEDED = "needed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """Chances of success of so many bags, %: by the true risk in percent, or the difference in SD.

    `losses` are those allowed; None for contamination when even no loss at all is not few enough.
    """

    question: str
    what: str
    bags: int
    by_value: dict[float, float]
    losses: int | None = None
    runs: int | None = None
    correlation: float | None = None
    smallest_p: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HowMany:
    """The chances of a plan: to show the contamination limit, to find a difference; and notes on both."""

    limit: float
    lost: list[Chances]
    found: list[Chances]
    notes: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanceTable:
    """One question's chances, for eyes."""

    title: str
    header: list[str]
    rows: list[list[Cell]]


def find_chances(trial: Trial) -> HowMany:
    """Return the chances of success for the contamination limit and for a difference in time.

    Parameters
    ----------
    trial : Trial
        The plan.
    """
    bags = [bag for bag in trial.bags if bag.role == "trial"]
    runs, strains = len({bag.heat_run for bag in bags}), len(trial.strains)
    levels = len(trial.treatments)
    each = len(bags) // (strains * levels)
    limit = trial.limits.contamination_risk
    lost = _contamination(limit, runs, strains, each)
    found = _difference(strains, each) if levels > 1 else []
    notes = [] if found else ["There is one level only: no difference between levels to find."]
    notes += _say_limits(lost, runs) + (_say_differences(levels, strains, each) if found else [])
    return HowMany(limit=limit, lost=lost, found=found, notes=notes)


def lay_out_chances(chances: HowMany) -> list[ChanceTable]:
    """Return a table for each question."""
    lost, found = chances.lost, chances.found
    header = ["what", "bags", "losses allowed", "heat runs", "correlation"]
    header += [f"true {risk_pct:g} %" for risk_pct in lost[0].by_value]
    rows: list[list[Cell]] = [
        [c.what, c.bags, "none is enough" if c.losses is None else c.losses, c.runs, c.correlation,
         *c.by_value.values()]
        for c in lost
    ]  # fmt: skip
    title = f"To show that at most {100 * chances.limit:g} % are lost (95 % sure): chance of success, %"
    tables = [ChanceTable(title=title, header=header, rows=rows)]
    if found:
        header = ["what", "bags a level", "smallest p", *(f"{sd:g} SD" for sd in found[0].by_value)]
        rows = [[c.what, c.bags, f"{c.smallest_p:.2g}", *c.by_value.values()] for c in found]
        title = "To find a difference in days between two levels (p <= 0.05): chance of success, %"
        tables.append(ChanceTable(title=title, header=header, rows=rows))
    return tables


def _contamination(limit: float, runs: int, strains: int, each: int) -> list[Chances]:
    from colscan.trial.power import CORRELATION, bags_needed, losses_allowed, spread_evenly

    risks = [*(risk for risk in _TRUE_RISKS if risk < limit), limit]
    needed = [(bags_needed(losses, limit, runs=runs), losses) for losses in _LOSSES]
    wanted: list[tuple[str, int, int | None]] = [(_NEEDED, bags, k) for bags, k in needed if bags]
    kinds = {"here, a level": strains * each} | ({"here, a strain's": each} if strains > 1 else {})
    wanted += [(what, bags, losses_allowed(spread_evenly(bags, runs), limit)) for what, bags in kinds.items()]
    return [
        Chances(
            question=CONTAMINATION, what=what, bags=count, losses=losses, runs=min(runs, count),
            correlation=correlation,
            by_value={
                round(100 * risk, 4): _chance(count, runs, losses, risk, correlation) for risk in risks
            },
        )
        for what, count, losses in wanted
        for correlation in ((None,) if losses is None else (0.0, CORRELATION))
    ]  # fmt: skip


def _chance(bags: int, runs: int, losses: int | None, risk: float, correlation: float | None) -> float:
    """Return the chance, %, to lose so few; 0 when even no loss at all is not few enough."""
    from colscan.trial.power import chance_of_few_losses, spread_evenly

    if losses is None or correlation is None:
        return 0.0
    sizes = spread_evenly(bags, runs)
    return round(100 * chance_of_few_losses(sizes, losses, risk=risk, correlation=correlation), 1)


def _difference(strains: int, each: int) -> list[Chances]:
    from colscan.trial.power import chance_of_difference, smallest_p

    return [
        Chances(
            question=DIFFERENCE, what=what, bags=each * of, smallest_p=smallest_p(each, of),
            by_value={
                sd: round(100 * chance_of_difference(each, sd, strains=of), 1) for sd in _DIFFERENCES_SD
            },
        )
        for what, of in (("one strain", 1), ("all strains", strains))[: 2 if strains > 1 else 1]
    ]  # fmt: skip


def _say_limits(lost: list[Chances], runs: int) -> list[str]:
    from colscan.trial.power import CORRELATION

    notes = [
        "Lost: the last column, a true risk as high as the limit, is the chance to pass wrongly.",
        f"Bags of a heat run share their luck: the rule allows for a correlation of {CORRELATION:g} between"
        " them (an assumption), or more if the trial shows more. 'here' is this plan.",
    ]
    if not any(chances.what == _NEEDED for chances in lost):
        which = "one heat run" if runs == 1 else f"{runs} heat runs"
        notes.append(f"No number of bags in {which} shows it: plan more heat runs.")
    return notes


def _say_differences(levels: int, strains: int, each: int) -> list[str]:
    spread = "SD: standard deviation between bags of one strain and level; bags taken as independent."
    return [spread, *_say_comparisons(levels, strains, each)]


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
