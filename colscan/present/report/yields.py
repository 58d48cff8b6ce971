"""What the bags gave."""

from __future__ import annotations

from colscan.growth.crop.model import BagYield, LevelYield, Mean, Standing, Yields
from colscan.present.report.blocks import Block, Listing, Section, Table, Text
from colscan.present.report.content import ReportContent
from colscan.present.report.drawings import drawings
from colscan.present.table import Cell


def show_yields(content: ReportContent) -> Section:
    """Return what levels and bags gave."""
    yields = content.yields
    if isinstance(yields, str):
        blocks: list[Block] = [Text(text=yields)]
    elif any(one.flushes for one in yields.bags):
        blocks = _blocks(yields, content)
    else:
        blocks = [Text(text="No harvest is recorded.")]
    return Section(name="yields", heading="Yields", blocks=tuple(blocks))


def _blocks(yields: Yields, content: ReportContent) -> list[Block]:
    alt = " ".join(("Yields by supplement.", *yields.sentences))
    return [
        Listing(items=yields.sentences),
        *drawings(content, ("yield", alt, "Grams per bag spawned.")),
        Table(
            caption=f"By strain and supplement, compared: {yields.basis.words}. Means with 90 % intervals; a"
            " lost bag counts what it gave before, mostly nothing",
            header=(
                "strain", "supplement", "bags", "counted", "lost", "g per bag spawned", "g a day",
                "g more than the lowest level", "biological efficiency of those harvested",
                "the same with spawn",
            ),
            rows=tuple(_level(one) for one in yields.levels),
        ),
        Table(
            caption="By bag: days since spawning and grams of each flush",
            header=("bag", "strain", "supplement", "standing", "flushes", "g in all"),
            rows=tuple(_bag(one) for one in yields.bags),
        ),
    ]  # fmt: skip


def _level(own: LevelYield) -> tuple[Cell, ...]:
    per_day = "" if own.per_day_g is None else f"{own.per_day_g:.1f}"
    return (
        own.strain, own.treatment, own.bags, own.counted, own.standings.get(Standing.LOST, 0),
        _mean(own.grams), per_day, _mean(own.gain), _efficiency(own.efficiency, own.bags),
        _efficiency(own.efficiency_with_spawn, own.bags),
    )  # fmt: skip


def _efficiency(mean: Mean | None, spawned: int) -> str:
    """It is of the bags harvested: how many, where that isn't all of them."""
    of = f"; {mean.bags} of {spawned} bags" if mean and mean.bags < spawned else ""
    return _mean(mean, " %") + of


def _mean(mean: Mean | None, unit: str = "") -> str:
    if mean is None:
        return ""
    interval = "" if mean.low is None or mean.high is None else f" ({mean.low:.0f} to {mean.high:.0f})"
    return f"{mean.value:.0f}{unit}{interval}"


def _bag(own: BagYield) -> tuple[Cell, ...]:
    flushes = "; ".join(f"day {flush.days:.1f}: {flush.fresh_g:g} g" for flush in own.flushes)
    return (own.bag.bag, own.bag.strain, own.bag.treatment, own.standing, flushes, f"{own.fresh_g:g}")
