"""What a trial's data can't say, and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime

from colscan.flags import Flag
from colscan.growth.model import BagRecord
from colscan.growth.outcomes import Outcome, lost_span
from colscan.growth.records import records_of
from colscan.growth.risk import RiskReport
from colscan.ledger import Ledger
from colscan.trial.confounding import find_confounded
from colscan.trial.model import Trial
from colscan.trial.power import ALPHA, smallest_p

_ALWAYS = (
    "The camera sees one side of each bag: what grows at its back, at its bottom or inside is not in these"
    " numbers.",
    "A suspect patch is a place that looks like neither substrate nor mycelium. What it is, a picture can't"
    " say; only what people called it counts as contamination.",
)
OFTEN = 0.1
"""Share of the scores from which a flag is worth a sentence of its own."""


def find_unsaid(
    trial: Trial,
    ledger: Ledger,
    now: datetime,
    *,
    outcomes: Sequence[Outcome],
    risk: RiskReport | None,
) -> tuple[str, ...]:
    """Return what can't be said from a trial, a sentence each, the gravest first.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    now : datetime
        Today, aware.
    outcomes : sequence of Outcome
        What became of the bags.
    risk : RiskReport or None
        What they show of the risk to lose one; None when there is none.
    """
    found = []
    if trial.is_interim(now):
        found.append("The trial is still running: all results are interim, and none carries a p-value.")
    found += find_confounded(trial.bags)
    if not trial.plan:
        found.append(
            "The plan doesn't say that places, runs and order were drawn by lot, so they may differ with the"
            " level."
        )
    found += _too_few(outcomes)
    found += _open_risk(risk) if risk else []
    found += _unreviewed(records_of(trial, ledger))
    found += _doubtful(ledger)
    return (*found, *_ALWAYS)


def _too_few(outcomes: Sequence[Outcome]) -> list[str]:
    groups = Counter((one.bag.strain, one.bag.treatment) for one in outcomes)
    if not groups:
        return ["There is no bag with spawn in this trial."]
    fewest, strains = min(groups.values()), len({strain for strain, _ in groups})
    found = []
    if fewest == 1:
        found.append("A strain has one bag at a level: how bags of one kind differ isn't known there.")
    if len(groups) > strains and smallest_p(fewest, strains) > ALPHA:
        found.append(
            f"With {fewest} {_bags(fewest)} of a strain at a level not even the clearest difference between"
            f" two levels can reach p = {ALPHA:g}."
        )
    return found


def _open_risk(risk: RiskReport) -> list[str]:
    levels = {own.level.name: own for one in risk.overall for own in one.levels}
    few = [name for name, own in levels.items() if not own.acceptable and (own.share or 0.0) <= risk.accepted]
    if not few:
        return []
    return [
        f"Whether at most {100 * risk.accepted:g} % are lost can't be said for {', '.join(few)}: too few bags"
        " or heat runs were followed to the end."
    ]


def _unreviewed(records: Sequence[BagRecord]) -> list[str]:
    bags = [
        record.bag.bag
        for record in records
        if lost_span(record) is None and any(onset.call in (None, "unsure") for onset in record.onsets)
    ]
    if not bags:
        return []
    return [f"Suspect patches that nobody has called harmless or contaminated: on {', '.join(bags)}."]


def _doubtful(ledger: Ledger) -> list[str]:
    """The flags that many scores carry, with what they mean."""
    counts = Counter(flag for row in ledger.scores for flag in set(row.flags))
    counts.update(flag for row in ledger.photos for flag in set(row.problems))
    scores, photos = len(ledger.scores), len(ledger.photos)
    on_photos = {flag for row in ledger.photos for flag in row.problems}
    found = []
    for flag in Flag:
        of, what = (photos, "photos") if flag in on_photos else (scores, "scores")
        if flag is not Flag.EXPECTED and counts[flag] and counts[flag] >= OFTEN * of:
            found.append(f"{counts[flag]} of {of} {what} are marked {flag}: {flag.meaning}")
    return found


def _bags(count: int) -> str:
    return "bag" if count == 1 else "bags"
