"""The paragraph on methods that goes with an export."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from colscan.app.reporting.results import Results
from colscan.growth.crop.intervals import METHOD
from colscan.growth.risk.trend import SEED
from colscan.ledger import Ledger
from colscan.present.report.content import Versions
from colscan.trial.model import Trial
from colscan.units import count_of, to_pct

METHODS_FILE = "methods.txt"


def describe_methods(trial: Trial, ledger: Ledger, versions: Versions, results: Results) -> str:
    """Return how the numbers were made, in a form that can be cited.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    versions : Versions
        Of programs, method and data.
    results : Results
        What was found: its own words on how.
    """
    paragraphs = [
        _measured(trial, ledger, versions),
        _defined(trial),
        *_analysed(results),
        "Programs: " + ", ".join(f"{name} {said}" for name, said in versions.programs.items()) + ".",
        f"Cite as: colscan {versions.programs['colscan']}, data of the trial {trial.name}, whose files have"
        " the SHA-256 below.",
    ]
    files = [f"{digest}  {name}" for name, digest in versions.files.items()]
    return "\n\n".join([*(textwrap.fill(text, 100) for text in paragraphs), "\n".join(files)]) + "\n"


def _measured(trial: Trial, ledger: Ledger, versions: Versions) -> str:
    methods = ", ".join(versions.methods) or "none yet"
    bags, photos = count_of(len(trial.bags), "bag"), count_of(len(ledger.photos), "photo")
    said = (
        f"{trial.name}: {bags} measured in {photos} with colscan {versions.programs['colscan']} (scoring"
        f" method: {methods})."
    )
    if ledger.photos:
        first, last = (row.taken_at.astimezone(trial.zone) for row in (ledger.photos[0], ledger.photos[-1]))
        said += f" The photos were taken from {first:%Y-%m-%d} to {last:%Y-%m-%d} ({trial.time_zone})."
    drawn = f" The bags were drawn by lot: colscan plan {trial.plan}." if trial.plan else ""
    return said + drawn


def _defined(trial: Trial) -> str:
    limits = trial.limits
    return (
        "Coverage is the share of the side in view that carries mycelium; each score has a 90 % interval that"
        " covers what is hidden. A bag is half or 90 % colonized from the first photo from which on two"
        " running show it, or from the latest photo alone, and full at"
        f" {limits.full_coverage_pct:g} % with the interval's low end over {limits.ready_coverage_pct:g} % in"
        " two photos running; these times lie between that photo and the one before. A bag is lost from the"
        " onset of a patch that a person called contaminated, not from the verdict; what no photo shows, or"
        f" none any more, came by the verdict at the latest. The accepted share of bags lost is"
        f" {to_pct(limits.contamination_risk):g} %."
    )


def _analysed(results: Results) -> Iterator[str]:
    yield (
        "The half and 90 % days of fits.csv are where a smoothing spline through a bag's scores (Wahba 1978,"
        " doi:10.1111/j.2517-6161.1978.tb01050.x), on the arcsine scale (Freeman and Tukey 1950,"
        " doi:10.1214/aoms/1177729756), passes 50 and 90 %; their 90 % intervals are where the edges of its"
        " band do. Bend and scatter are shared by the trial's bags and found by restricted likelihood."
        " Greatest rate and lag are of logistic, modified Gompertz or Richards models in the form of"
        " Zwietering and others (1990, doi:10.1128/aem.56.6.1875-1881.1990), chosen bag by bag by AICc"
        " (Hurvich and Tsai 1989, doi:10.1093/biomet/76.2.297). Where a figure isn't identified there is"
        " none, and fits.csv says why; a bag can have the days and no model."
    )
    if not isinstance(results.comparison, str):
        yield results.comparison.method
    if not isinstance(results.risk, str):
        risk = results.risk
        yield (
            f"Losses are counted to {risk.horizon}; limits are one-sided exact 95 % limits (Clopper and"
            f" Pearson 1934) of as many independent bags as the followed ones are worth when two bags of one"
            f" {risk.clusters} correlate by {risk.correlation:.2f}. Trends are tested by exchanging"
            f" batches or bags between levels (Cochran, Armitage); where not all ways can be tried, they are"
            f" drawn with the seed {SEED}."
        )
    if not isinstance(results.yields, str) and any(bag.flushes for bag in results.yields.bags):
        yield (
            f"Yields ({results.yields.basis.words}) are fresh grams per bag spawned: lost bags count what"
            " they gave before, and bags that can still give don't count. Biological efficiency is"
            " fresh weight in percent of the dry substrate, of the bags harvested, with Student's t interval."
            f" {METHOD}"
        )
