"""The last sections: what can't be said, what to run next, deviations, versions."""

from __future__ import annotations

from colscan.growth.next_run import CHANCE
from colscan.growth.risk import LevelRisk
from colscan.hints import as_typed
from colscan.present.report.blocks import Block, Listing, Section, Table, Text
from colscan.present.report.content import ReportContent
from colscan.present.table import Cell
from colscan.units import to_pct


def show_unsaid(content: ReportContent) -> Section:
    """Return what the data can't say."""
    return Section(name="unsaid", heading="What can't be said", blocks=(Listing(items=content.unsaid),))


def show_next(content: ReportContent) -> Section:
    """Return how many bags the open questions need."""
    next_run = content.next_run
    blocks: list[Block] = [Listing(items=next_run.sentences)]
    if next_run.levels:
        blocks.append(
            Table(
                caption="Bags for the accepted share lost, if none of the further ones is lost",
                header=(
                    "supplement",
                    "bags",
                    "followed",
                    "lost",
                    "more bags",
                    "in further runs as large as now",
                ),
                rows=tuple(
                    (own.level.name, own.spawned, own.followed, own.lost, _more(own), own.more_runs)
                    for own in next_run.levels
                ),
            )
        )
    if next_run.times:
        blocks.append(
            Table(
                caption="Bags of each strain at each of two levels to find a difference in time with"
                f" {to_pct(CHANCE):g} % chance",
                header=("difference in the half-colonized day", "bags"),
                rows=tuple((one.difference, one.bags or "too many") for one in next_run.times),
            )
        )
    name = as_typed(content.trial.name)
    blocks.append(
        Text(
            text=f"colscan new NEXT --from {name} begins the next trial from this one, and says what is other"
            " there; colscan plan draws its bags by lot over heat runs, mixes and places."
        )
    )
    return Section(name="next", heading="What to run next", blocks=tuple(blocks))


def _more(own: LevelRisk) -> Cell:
    return "none: it is shown" if own.acceptable else own.more or ""


def show_deviations(content: ReportContent) -> Section:
    """Return where the trial went otherwise than planned."""
    rows = tuple((one.about, one.text) for one in content.deviations)
    block: Block = (
        Table(caption="What was otherwise than planned", header=("about", "what"), rows=rows)
        if rows
        else Text(text="Nothing was recorded that differs from the plan.")
    )
    return Section(name="deviations", heading="Deviations from the plan", blocks=(block,))


def show_versions(content: ReportContent) -> Section:
    """Return what the numbers were made from and with."""
    versions = content.versions
    blocks = (
        Table(
            caption="Programs",
            header=("program", "version"),
            rows=tuple(versions.programs.items()),
        ),
        Table(
            caption="Versions of the scoring method",
            header=("method", "scores"),
            rows=tuple(versions.methods.items()),
        ),
        Table(
            caption="Data: SHA-256 of the trial's files, the first 16 digits",
            header=("file", "SHA-256"),
            rows=tuple((name, digest[:16]) for name, digest in versions.files.items()),
        ),
    )
    return Section(name="versions", heading="Data and method versions", blocks=blocks)
