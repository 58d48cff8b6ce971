"""What was lost to contamination, by level, and where the losses come from."""

from __future__ import annotations

from colscan.growth.risk import LevelRisk, LossSource, RiskReport, SeriesRisk
from colscan.growth.risk.sentences import pct
from colscan.present.report.blocks import Block, Listing, Section, Table, Text
from colscan.present.report.content import ReportContent
from colscan.present.report.drawings import drawings
from colscan.present.table import Cell
from colscan.units import to_pct

_HEADER = (
    "supplement", "bags", "followed to the end", "lost", "not there yet", "gone", "heat runs",
    "lost: at most", "if all suspects were", "pooled",
)  # fmt: skip


def show_losses(content: ReportContent) -> Section:
    """Return the losses: by strain and supplement, then where they come from."""
    blocks = [Text(text=content.risk)] if isinstance(content.risk, str) else _blocks(content.risk, content)
    return Section(name="losses", heading="Losses to contamination", blocks=tuple(blocks))


def _blocks(risk: RiskReport, content: ReportContent) -> list[Block]:
    blocks: list[Block] = [
        Text(
            text=f"You accept to lose {to_pct(risk.accepted):g} % of bags before {risk.horizon}. 'At most'"
            " is the share that may truly be lost, 95 % sure; bags of one heat run share their luck, so they"
            " count as fewer."
        )
    ]
    # All strains together first: the answer before its parts.
    series = sorted(risk.series, key=lambda one: one.strain is not None)
    overall = " ".join(line for one in risk.overall for line in one.sentences)
    blocks += drawings(content, ("risk", f"Bags lost by supplement. {overall}", "Share lost by supplement."))
    for one in series:
        blocks += _series(one)
    if risk.sources:
        blocks.append(
            Table(
                caption="Where the losses come from; expected: if only strain and level made a difference",
                header=("losses by", "which", "bags followed", "lost", "expected"),
                rows=tuple(_source(one) for one in risk.sources),
            )
        )
    # What the plan can't tell apart stands under what can't be said.
    notes = tuple(note for note in risk.notes if note not in content.unsaid)
    if notes:
        blocks.append(Listing(items=notes))
    return blocks


def _series(series: SeriesRisk) -> list[Block]:
    of = "no supplement" if series.supplement == "none" else series.supplement
    base = f", % of {series.base}" if series.base else ""
    rows = tuple(_level(one) for one in series.levels)
    caption = f"{series.strain or 'All strains'}: {of}{base}"
    return [Table(caption=caption, header=_HEADER, rows=rows), Listing(items=series.sentences)]


def _level(own: LevelRisk) -> tuple[Cell, ...]:
    return (
        own.level.name, own.spawned, own.followed, own.lost, own.running, own.gone, own.runs,
        _pct(own.limit), _pct(own.limit_at_worst), _pct(own.pooled),
    )  # fmt: skip


def _source(own: LossSource) -> tuple[Cell, ...]:
    expected = None if own.expected is None else f"{own.expected:.1f}"
    return (own.kind, own.name, own.followed, own.lost, expected)


def _pct(share: float | None) -> str:
    return "" if share is None else pct(share)
