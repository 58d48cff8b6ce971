"""`colscan compare`: which treatment is sooner, by how much, and whether it can be chance."""

from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan import units
from colscan.app.cli.options import format_option, screen_of_stdout, trial_dir_argument

if TYPE_CHECKING:
    from collections.abc import Callable

    from colscan.growth.compare.model import Comparison, Contrast, DayCount, TimesAtLevel
    from colscan.growth.curve import Estimate
    from colscan.growth.outcomes import Span
    from colscan.present.table import Cell, Screen

MILESTONES = {"half": "half", "90": "90 %", "full": "full"}
TIMES_SCREEN = (
    "strain", "treatment", "bags", "heat runs", "full", "lost", "running", "half by day", "90 % by day",
    "full by day",
)  # fmt: skip
CONTRASTS_SCREEN = ("strain", "what", "days sooner", "times as fast", "bags", "heat runs", "p", "p (Holm)")
COLUMNS = (
    "row", "interim", "scope", "treatment", "control", "milestone", "day", "bags", "heat_runs", "came",
    "full", "lost", "running", "gone", "median_after_days", "median_by_days", "median_earliest_days",
    "median_latest_days", "median_after_degree_days", "median_by_degree_days", "days_sooner",
    "days_sooner_low", "days_sooner_high", "degree_days_sooner", "degree_days_sooner_low",
    "degree_days_sooner_high", "rate_ratio", "rate_ratio_low", "rate_ratio_high", "rate_bags", "p", "p_holm",
    "comparisons", "labellings", "exact", "seed", "exchanged_within", "why_no_test",
)  # fmt: skip


@click.command()
@trial_dir_argument
@click.option("--control", metavar="TREATMENT", help="What the others are held against; by default none.")
@click.option(
    "--milestone",
    type=click.Choice(tuple(MILESTONES)),
    default="half",
    show_default=True,
    help="How far bags must have come: choose before you look.",
)
@format_option
def compare(trial_dir: Path, control: str | None, milestone: str, output_format: str) -> None:
    """Say which treatment is sooner, and whether it can be chance.

    Days sooner and rates come with a 90 % interval. p is the share of all ways
    to deal the treatments to the bags that part them as clearly as yours did;
    "p (Holm)" allows for how many comparisons were made. Before the trial's
    planned end there is none.

    \b
    Example:
      colscan compare hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.growth.compare import compare as compare_bags
    from colscan.growth.curve import fit_bags
    from colscan.growth.outcomes import Milestone
    from colscan.ledger import read_ledger
    from colscan.trial import load_trial

    trial, ledger = load_trial(trial_dir), read_ledger(trial_dir)
    found = compare_bags(
        trial,
        ledger,
        units.now(),
        fits=fit_bags(trial, ledger),
        control=control,
        milestone=Milestone(MILESTONES[milestone]),
    )
    if output_format == "table":
        click.echo(_show(found, screen_of_stdout()), nl=False)
    else:
        from colscan.present import render_rows

        click.echo(render_rows(COLUMNS, data_rows(found), output_format), nl=False)


def _show(found: Comparison, screen: Screen) -> str:
    """The answer in sentences, then the numbers."""
    said = [_wrap(line, screen.width) for line in found.sentences]
    parts = ["\n".join(said) + "\n"]
    parts.append(_show_times(found, screen))
    if found.contrasts:
        parts.append(_show_contrasts(found, screen))
    parts.append(textwrap.fill(found.method, screen.width) + "\n")
    return "\n".join(parts)


def _wrap(line: str, width: int) -> str:
    # A number and its % stay on one line.
    together = line.replace(" %", "\N{NO-BREAK SPACE}%")
    wrapped = textwrap.fill(
        together, width, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False
    )
    return wrapped.replace("\N{NO-BREAK SPACE}", " ")


def _show_times(found: Comparison, screen: Screen) -> str:
    """Bags counted on the latest day that a strain's treatments have all come to, and the medians."""
    from colscan.growth.compare.times import headline
    from colscan.present import render_rows

    scopes = dict.fromkeys(times.scope for times in found.times)
    days = [count.day for scope in scopes for count in headline(found.days, scope)]
    rows, columns, counted = _time_rows(found), list(TIMES_SCREEN), f"By day {days[0]:.0f}"
    if len(set(days)) > 1:
        columns.insert(2, "by day")
        rows = [[*row[:2], f"{day:.0f}", *row[2:]] for day, row in zip(days, rows, strict=True)]
        counted = "By the day named"
    title = f"{counted}, and the day by which half of all bags spawned had come so far (90 % interval):"
    return f"{title}\n{render_rows(columns, rows, 'table', screen=screen)}"


def _time_rows(found: Comparison) -> list[list[Cell]]:
    from colscan.growth.compare.times import headline

    rows: list[list[Cell]] = []
    for scope in dict.fromkeys(times.scope for times in found.times):
        for count in headline(found.days, scope):
            own = [t for t in found.times if (t.scope, t.treatment) == (scope, count.treatment)]
            counts: list[Cell] = [count.bags, own[0].heat_runs, count.full, count.lost, count.running]
            rows.append([scope, count.treatment, *counts, *map(_show_median, own)])
    return rows


def _show_median(times: TimesAtLevel) -> str:
    if not times.median.came:
        return "not yet" if times.running else "never"
    by = f"{times.median.by_days:.1f}"
    if not times.earliest_days and math.isinf(times.latest_days):
        return by
    latest = "..." if math.isinf(times.latest_days) else f"{times.latest_days:.1f}"
    return f"{by} ({times.earliest_days:.1f}-{latest})"


def _show_contrasts(found: Comparison, screen: Screen) -> str:
    from colscan.present import render_rows

    tested = any(contrast.test is not None for contrast in found.contrasts)
    columns = len(CONTRASTS_SCREEN) - (0 if tested else 2)
    rows = [_contrast_cells(contrast)[:columns] for contrast in found.contrasts]
    table = render_rows(CONTRASTS_SCREEN[:columns], rows, "table", screen=screen)
    return f"Held against {found.control}, to {found.milestone} colonized (90 % interval):\n{table}"


def _contrast_cells(contrast: Contrast) -> list[Cell]:
    from colscan.growth.compare.sentences import days_decimals, ratio_decimals, say_p

    what = f"{contrast.treatment}, each 1 %" if contrast.kind == "trend" else contrast.treatment
    test = contrast.test
    return [
        contrast.scope,
        what,
        _show_effect(contrast, contrast.days_sooner, days_decimals),
        _show_effect(contrast, contrast.rate_ratio, ratio_decimals),
        contrast.bags,
        contrast.heat_runs,
        "" if test is None else say_p(test.p),
        "" if test is None else say_p(test.p_holm),
    ]


def _show_effect(
    contrast: Contrast, effect: Estimate | None, decimals_told: Callable[[Contrast, Estimate], int]
) -> str:
    if effect is None:
        return ""
    decimals = decimals_told(contrast, effect)
    unbounded = math.isinf(effect.high) and effect.low <= 0
    value, low, high = (
        # No minus before what is rounded to nothing.
        "..." if math.isinf(number) else f"{round(number, decimals) + 0.0:.{decimals}f}"
        for number in (effect.value, effect.low, effect.high)
    )
    return f"{value} (open)" if unbounded else f"{value} ({low} to {high})"


def data_rows(found: Comparison) -> list[list[Cell]]:
    """Return a comparison as rows of COLUMNS: `times`, `day`, then `level` and `trend`.

    What is not known, or open, is None.
    """
    records: list[dict[str, Cell]] = [
        *map(_times_record, found.times),
        *map(_day_record, found.days),
        *map(_contrast_record, found.contrasts),
    ]
    interim = "yes" if found.interim else "no"
    return [[record.get(name) for name in COLUMNS] for record in ({**r, "interim": interim} for r in records)]


def _times_record(times: TimesAtLevel) -> dict[str, Cell]:
    return {
        "row": "times",
        "scope": times.scope,
        "treatment": times.treatment,
        "milestone": times.milestone,
        "bags": times.bags,
        "heat_runs": times.heat_runs,
        "came": times.came,
        "lost": times.lost,
        "running": times.running,
        "gone": times.left,
        **_span_record("median_{}_days", times.median),
        "median_earliest_days": _rounded(times.earliest_days),
        "median_latest_days": _rounded(times.latest_days),
        **_span_record("median_{}_degree_days", times.median_degree_days),
    }


def _span_record(name: str, span: Span | None) -> dict[str, Cell]:
    if span is None:
        return {}
    return {name.format("after"): _rounded(span.after_days), name.format("by"): _rounded(span.by_days)}


def _day_record(count: DayCount) -> dict[str, Cell]:
    return {
        "row": "day",
        "scope": count.scope,
        "treatment": count.treatment,
        "day": count.day,
        "bags": count.bags,
        "full": count.full,
        "lost": count.lost,
        "running": count.running,
        "gone": count.gone,
    }


def _contrast_record(contrast: Contrast) -> dict[str, Cell]:
    from colscan.growth.compare.model import SEED

    record: dict[str, Cell] = {
        "row": contrast.kind,
        "scope": contrast.scope,
        "treatment": contrast.treatment,
        "control": contrast.control,
        "milestone": contrast.milestone,
        "bags": contrast.bags,
        "heat_runs": contrast.heat_runs,
        **_effect_record("days_sooner", contrast.days_sooner),
        **_effect_record("degree_days_sooner", contrast.degree_days_sooner),
        **_effect_record("rate_ratio", contrast.rate_ratio),
        "rate_bags": contrast.rate_bags,
        "exchanged_within": contrast.exchanged_within,
        "why_no_test": contrast.why_no_test,
    }
    test = contrast.test
    if test is not None:
        record |= {"p": round(test.p, 6), "p_holm": round(test.p_holm, 6), "comparisons": test.comparisons}
        record |= {"labellings": test.labellings, "exact": "yes" if test.exact else "no", "seed": SEED}
    return record


def _effect_record(name: str, effect: Estimate | None) -> dict[str, Cell]:
    if effect is None:
        return {}
    ends = {f"{name}_low": _rounded(effect.low), f"{name}_high": _rounded(effect.high)}
    return {name: _rounded(effect.value), **ends}


def _rounded(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None
