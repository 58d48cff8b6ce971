"""The treatments held against each other."""

from __future__ import annotations

import math
from collections.abc import Callable

from colscan.growth.compare import Comparison
from colscan.growth.compare.model import Contrast, DayCount, TimesAtLevel
from colscan.growth.compare.sentences import days_decimals, is_bounded, ratio_decimals
from colscan.growth.curve import Estimate
from colscan.present.report.blocks import Block, Listing, Section, Table, Text
from colscan.present.report.content import ReportContent
from colscan.present.report.drawings import drawings
from colscan.present.report.words import say_span
from colscan.present.table import Cell

MOST_IN_ALT = 4
"""Sentences of a chart's alternative text: all of them stand beside it."""


def show_comparison(content: ReportContent) -> Section:
    """Return what comes of comparing the treatments: in sentences, then in numbers that can be cited."""
    found = content.comparison
    blocks = [Text(text=found)] if isinstance(found, str) else _blocks(found, content)
    return Section(name="comparison", heading="Comparison", blocks=tuple(blocks))


def _blocks(found: Comparison, content: ReportContent) -> list[Block]:
    headline = " ".join(found.sentences[:MOST_IN_ALT])
    blocks: list[Block] = [
        Listing(items=tuple(said for said in found.sentences if said not in found.not_told_apart)),
        *drawings(
            content,
            (
                "full",
                f"What became of all bags spawned, day by day. {headline}",
                "All bags spawned, day by day.",
            ),
        ),
    ]
    last = {(one.scope, one.treatment): one for one in found.days}
    blocks += [
        Table(
            caption="All bags spawned, by the last day with a photo",
            header=("strain", "supplement", "day", "bags", "full", "lost", "still running", "gone"),
            rows=tuple(_day(one) for one in last.values()),
        ),
        Table(
            caption="When half of all bags spawned had come so far (days since spawning; 90 % interval)",
            header=(
                "strain", "supplement", "so far", "bags", "heat runs", "came", "lost",
                "median between days",
                "interval",
            ),
            rows=tuple(_times(one) for one in found.times),
        ),
        Table(
            caption=f"Against {found.control}: time to {found.milestone}, and the greatest rate, with 90 %"
            " intervals; p after Holm over the comparisons of a strain",
            header=(
                "strain", "supplement", "bags", "heat runs", "days sooner", "degree-days sooner",
                "rate, times", "p", "why no p",
            ),
            rows=tuple(_contrast(one) for one in found.contrasts),
        ),
    ]  # fmt: skip
    return [*blocks, Text(text=found.method), *content.by_level]


def _day(one: DayCount) -> tuple[Cell, ...]:
    return (one.scope, one.treatment, f"{one.day:.1f}", one.bags, one.full, one.lost, one.running, one.gone)


def _times(one: TimesAtLevel) -> tuple[Cell, ...]:
    return (
        one.scope, one.treatment, one.milestone, one.bags, one.heat_runs, one.came, one.lost,
        _median(one), _interval(one),
    )  # fmt: skip


def _interval(one: TimesAtLevel) -> str:
    """Of the median: empty where nothing bounds it, never where too many are lost for half to come."""
    if math.isinf(one.earliest_days):
        return "never"
    if not one.earliest_days and math.isinf(one.latest_days):
        return ""
    return f"{one.earliest_days:.1f} to {_bound(one.latest_days)}"


def _median(one: TimesAtLevel) -> str:
    if one.median.came:
        return say_span(one.median)
    return "not yet" if one.running else "never"


def _contrast(one: Contrast) -> tuple[Cell, ...]:
    trend = one.kind == "trend"
    p = "" if one.test is None else f"{one.test.p_holm:.2g}"
    return (
        one.scope, f"{one.treatment}, per 1 %" if trend else one.treatment, one.bags, one.heat_runs,
        _effect(one.days_sooner, lambda effect: days_decimals(one, effect)),
        _effect(one.degree_days_sooner, lambda _: int(trend)),
        _effect(one.rate_ratio, lambda effect: ratio_decimals(one, effect)), p,
        one.why_no_test,
    )  # fmt: skip


def _effect(effect: Estimate | None, decimals_told: Callable[[Estimate], int]) -> str:
    if effect is None:
        return ""
    decimals = decimals_told(effect)
    ends = f"{_bound(effect.low, decimals)} to {_bound(effect.high, decimals)}"
    return f"{_bound(effect.value, decimals)} ({ends if is_bounded(effect) else 'open'})"


def _bound(value: float, decimals: int = 1) -> str:
    # No minus before what is rounded to nothing.
    return f"{round(value, decimals) + 0.0:.{decimals}f}" if math.isfinite(value) else "no limit"
