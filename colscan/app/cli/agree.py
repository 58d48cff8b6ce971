"""`colscan agree`: the scorer held against what people saw on the same bags."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import format_option, screen_of_stdout, trial_dir_argument

if TYPE_CHECKING:
    from colscan.growth.agree import Agreement, Band, Estimate, Limits
    from colscan.present.table import Cell

SCREEN = (
    "held against", "seen", "pairs", "bags", "bias (95 % interval)", "limits of agreement",
    "mean difference", "concordance", "in its interval",
)  # fmt: skip
COLUMNS = (
    "held_against", "band", "seen_low_pct", "seen_high_pct", "pairs", "bags", "bias_points",
    "bias_low_points", "bias_high_points", "lower_limit_points", "lower_limit_low_points",
    "lower_limit_high_points", "upper_limit_points", "upper_limit_low_points", "upper_limit_high_points",
    "mean_absolute_points", "concordance", "precision", "accuracy", "in_interval_pct",
)  # fmt: skip


@click.command()
@trial_dir_argument
@click.option(
    "-o", "--output", metavar="PATH", type=click.Path(path_type=Path),
    help="Where the plot goes, without .png or .svg; else agree in TRIAL_DIR.",
)  # fmt: skip
@format_option
def agree(trial_dir: Path, output: Path | None, output_format: str) -> None:
    """Hold the scores against what you saw on the same bags.

    Takes estimates.csv (at, bag, photo_sha256, coverage_pct, by, blind) and
    painted masks (masks/PHOTO-BAG.png, where PHOTO is the first 8 letters of
    the photo's SHA-256, as in the names under photos/). Estimate without
    looking at the scores and write blind = yes: only those make the main
    figure, the others stand apart. All in points of coverage, score minus seen.

    Writes agree.png and agree.svg: each pair, and the differences.

    \b
    Example:
      colscan agree hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.masks import read_masks
    from colscan.app.put import chart_paths, output_path, put_chart
    from colscan.growth.agree import agreement
    from colscan.growth.agree_words import say_agreement
    from colscan.ledger import read_ledger
    from colscan.present import render_rows
    from colscan.present.agree_chart import draw_agreement
    from colscan.trial import load_trial

    trial, ledger = load_trial(trial_dir), read_ledger(trial_dir)
    paths = chart_paths(output_path(output, trial_dir / "agree"))
    masks = read_masks(trial_dir, trial, ledger)
    for error in masks.errors:
        click.echo(f"Left out: {error}", err=True)
    check = agreement(trial, ledger, masks.painted)
    if output_format == "table":
        rows = [row for one in check.agreements for row in _screen_rows(one)]
        text = render_rows(SCREEN, rows, output_format, screen=screen_of_stdout())
    else:
        rows = [row for one in check.agreements for row in _data_rows(one)]
        text = render_rows(COLUMNS, rows, output_format)
    click.echo(text, nl=False)
    for sentence in say_agreement(check):
        click.echo(sentence, err=True)
    put_chart(draw_agreement(trial, check), paths)
    click.echo(f"The plot is in {' and '.join(map(str, paths))}", err=True)


def _screen_rows(one: Agreement) -> list[list[Cell]]:
    limits = "" if one.limits is None else f"{_show(one.limits.lower)} to {_show(one.limits.upper)}"
    bias = f"{100 * one.whole.bias:+.1f}" if one.limits is None else _show(one.limits.bias, interval=True)
    whole: list[Cell] = [
        one.kind,
        _range(one.whole),
        len(one.pairs),
        one.bags,
        bias,
        limits,
        f"{100 * one.mean_abs:.1f}",
        _show_concordance(one.whole),
        f"{100 * one.held:.0f} %",
    ]
    return [whole, *(_band_screen(band) for band in one.bands)]


def _band_screen(band: Band) -> list[Cell]:
    bias, mean_abs = f"{100 * band.bias:+.1f}", f"{100 * band.mean_abs:.1f}"
    return ["", _range(band), band.pairs, "", bias, "", mean_abs, _show_concordance(band), ""]


def _range(band: Band) -> str:
    return f"{100 * band.low:.0f}-{100 * band.high:.0f} %"


def _show(estimate: Estimate, *, interval: bool = False) -> str:
    ends = f" ({100 * estimate.low:+.1f} to {100 * estimate.high:+.1f})" if interval else ""
    return f"{100 * estimate.value:+.1f}{ends}"


def _show_concordance(band: Band) -> str:
    return "" if band.concordance is None else f"{band.concordance.value:.3f}"


def _data_rows(one: Agreement) -> list[list[Cell]]:
    from colscan.growth.agree import MIDDLE

    whole = [
        one.kind,
        "all",
        *_range_data(one.whole),
        len(one.pairs),
        one.bags,
        *_ends(one.limits, one.whole),
    ]
    rows: list[list[Cell]] = [[*whole, *_parts(one.whole), round(100 * one.held, 1)]]
    if one.middle is not None:
        ends: list[Cell] = [100 * end for end in MIDDLE]
        own: list[Cell] = [one.kind, "middle", *ends, one.middle.pairs, None]
        rows.append([*own, *_ends(one.middle, one.whole), *[None] * 5])
    for band in one.bands:
        own = [one.kind, "band", *_range_data(band), band.pairs, None]
        rows.append([*own, *_ends(None, band), *_parts(band), None])
    return rows


def _ends(limits: Limits | None, band: Band) -> list[Cell]:
    """Bias and limits with their intervals; of a band its bias alone."""
    if limits is None:
        return [round(100 * band.bias, 4), *[None] * 8]
    return [
        round(100 * value, 4)
        for estimate in (limits.bias, limits.lower, limits.upper)
        for value in (estimate.value, estimate.low, estimate.high)
    ]


def _range_data(band: Band) -> list[Cell]:
    return [round(100 * band.low, 2), round(100 * band.high, 2)]


def _parts(band: Band) -> list[Cell]:
    whole = band.concordance
    parts: list[Cell] = [None] * 3
    if whole is not None:
        parts = [round(value, 6) for value in (whole.value, whole.correlation, whole.accuracy)]
    return [round(100 * band.mean_abs, 4), *parts]
