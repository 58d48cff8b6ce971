"""The paragraph on methods that goes with an export."""

from __future__ import annotations

import textwrap
from datetime import datetime

from colscan.ledger import Ledger
from colscan.present.report.content import Versions
from colscan.trial.model import Trial
from colscan.units import to_pct

METHODS_FILE = "methods.txt"


def describe_methods(trial: Trial, ledger: Ledger, versions: Versions, now: datetime) -> str:
    """Return how the numbers were made, in a form that can be cited.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    versions : Versions
        Of programs, method and data.
    now : datetime
        When it was exported.
    """
    paragraphs = [
        _measured(trial, ledger, versions),
        _defined(trial),
        "Programs: " + ", ".join(f"{name} {said}" for name, said in versions.programs.items()) + ".",
        f"Cite as: colscan {versions.programs['colscan']}, data of the trial {trial.name}, exported"
        f" {now:%Y-%m-%d}; the trial's files have the SHA-256 below.",
    ]
    files = [f"{digest}  {name}" for name, digest in versions.files.items()]
    return "\n\n".join([*(textwrap.fill(text, 100) for text in paragraphs), "\n".join(files)]) + "\n"


def _measured(trial: Trial, ledger: Ledger, versions: Versions) -> str:
    methods = ", ".join(versions.methods) or "none yet"
    said = (
        f"{trial.name}: {len(trial.bags)} bags were measured in {len(ledger.photos)} photos with colscan"
        f" {versions.programs['colscan']} (scoring method: {methods})."
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
        f" running show it, and full at {limits.full_coverage_pct:g} % with the interval's low end over"
        f" {limits.ready_coverage_pct:g} % in two photos running; these times lie between that photo and the"
        " one before. A bag is lost from the onset of a patch that a person called contaminated, never from"
        f" the verdict. The accepted share of bags lost is {to_pct(limits.contamination_risk):g} %."
    )
