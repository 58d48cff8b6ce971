"""`colscan risk`: how large the risk to lose a bag is at each level, and where losses come from."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import (
    Number,
    format_option,
    more_trial_dirs_argument,
    screen_of_stdout,
    trial_dir_argument,
)
from colscan.errors import TrialError

if TYPE_CHECKING:
    from colscan.growth.risk import LevelRisk, LossSource, RiskReport, SeriesRisk
    from colscan.present.table import Cell

SCREEN = (
    "level", "bags followed", "lost", "not there yet", "gone", "heat runs", "count as", "lost, %", "at most",
    "at worst", "if not shared", "pooled", "of 100 bags lose",
)  # fmt: skip
SOURCES = ("losses by", "which", "bags followed", "lost", "expected by strain and level")
LEAST_EXPECTED = 1.0
"""Without a loss, and fewer than that to be expected, a heat run or place isn't worth a line on a screen."""
COLUMNS = (
    "what", "strain", "supplement", "base", "level_pct", "spawned", "followed", "lost", "clean", "running",
    "gone", "suspects", "front_only", "clusters", "count_as", "share_pct", "low_pct", "limit_pct",
    "limit_at_worst_pct", "limit_if_independent_pct", "pooled_pct", "acceptable", "more_bags", "highest_pct",
    "trend_z", "trend_p", "exchanged", "seed", "dose_pct", "dose_low_pct", "dose_high_pct", "source_kind",
    "source", "expected", "accepted_pct", "horizon", "correlation", "interim",
)  # fmt: skip


@click.command()
@trial_dir_argument
@more_trial_dirs_argument
@click.option(
    "--accept", metavar="PCT", type=Number(),
    help="Share of bags that you accept to lose; contamination_risk of trial.toml by default.",
)  # fmt: skip
@format_option
def risk(trial_dir: Path, more: tuple[Path, ...], accept: float | None, output_format: str) -> None:
    """Say what each level may lose, and the highest acceptable one.

    Counted are bags called contaminated, against bags followed to the
    horizon: clean so far is not clean. 'At most' is the share that may truly
    be lost, 95 % sure; bags of one heat run share their luck, so they count as
    fewer. Acceptable is a level whose 'at most' is within your limit, as are
    all levels below. Several trials are taken together: their heat runs stay
    apart, their levels are matched by supplement, percent and base.

    \b
    Example:
      colscan risk hornbeam --accept 20
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.growth.risk import assess_risk
    from colscan.ledger import read_ledger
    from colscan.present import render_rows
    from colscan.trial import load_trial

    folders = (trial_dir, *more)
    if len({folder.resolve() for folder in folders}) < len(folders):
        msg = "a trial is given twice: its bags would count twice"
        raise TrialError(msg, "Name each trial's folder once.")
    trials = [(load_trial(folder), read_ledger(folder)) for folder in folders]
    accepted = None if accept is None else accept / 100
    report = assess_risk(trials, now=datetime.now(UTC), accepted=accepted)
    if output_format == "table":
        _print_tables(report)
    else:
        click.echo(render_rows(COLUMNS, _data_rows(report), output_format), nl=False)
    for note in (_say_columns(report), *report.notes):
        click.echo(_wrap(note), err=True)


def _print_tables(report: RiskReport) -> None:
    from colscan.present import render_rows

    said = f"{', '.join(report.trials)}: bags lost before {report.horizon}; you accept"
    click.echo(f"{said} {100 * report.accepted:g} %{' (interim)' if report.interim else ''}")
    for series in report.series:
        base = f", % of {series.base}" if series.base else ""
        of = series.supplement if series.supplement != "none" else "no supplement"
        click.echo(f"\n{series.strain or 'All strains'}: {of}{base}")
        rows = [_screen_row(level) for level in series.levels]
        click.echo(render_rows(SCREEN, rows, "table", screen=screen_of_stdout()), nl=False)
        for line in series.sentences:
            click.echo(_wrap(line))
    told = [own for own in report.sources if own.lost or (own.expected or 0) >= LEAST_EXPECTED]
    if told:
        click.echo()
        rows = [_source_row(source) for source in told]
        click.echo(render_rows(SOURCES, rows, "table", screen=screen_of_stdout()), nl=False)


def _wrap(line: str) -> str:
    width = screen_of_stdout().width
    # A number and its % stay on one line.
    together = line.replace(" %", "\N{NO-BREAK SPACE}%")
    wrapped = click.wrap_text(together, width=width, initial_indent="  ", subsequent_indent="    ")
    return wrapped.replace("\N{NO-BREAK SPACE}", " ")


def _say_columns(report: RiskReport) -> str:
    """What the table's columns are."""
    return (
        "At most: upper one-sided 95 % limit, for as many independent bags as those followed count as"
        f" (correlation {report.correlation:.2g} between bags of one {report.clusters}); 'if not shared'"
        " without that. Pooled: share lost if it only rises with the level. Of 100 bags lose: with 90 %"
        " interval."
    )


def _screen_row(own: LevelRisk) -> list[Cell]:
    from colscan.growth.risk.sentences import pct

    def shown(share: float | None) -> str:
        return "" if share is None else pct(share).removesuffix(" %")

    expected = ""
    if own.share is not None and own.low is not None and own.high is not None:
        expected = f"{100 * own.share:.0f} ({100 * own.low:.0f}-{100 * own.high:.0f})"
    return [
        own.level.name, own.followed, own.lost, own.running, own.gone, own.runs, f"{own.effective:.1f}",
        shown(own.share), shown(own.limit), shown(own.limit_at_worst), shown(own.limit_if_independent),
        shown(own.pooled), expected,
    ]  # fmt: skip


def _source_row(own: LossSource) -> list[Cell]:
    expected = "" if own.expected is None else f"{own.expected:.1f}"
    return [own.kind, own.name, own.followed, own.lost, expected]


def _data_rows(report: RiskReport) -> list[list[Cell]]:
    common: dict[str, Cell] = {
        "accepted_pct": _pct(report.accepted), "horizon": report.horizon,
        "correlation": round(report.correlation, 3), "interim": "yes" if report.interim else "no",
    }  # fmt: skip
    rows: list[dict[str, Cell]] = []
    for series in report.series:
        kind: dict[str, Cell] = {
            "strain": series.strain or "all", "supplement": series.supplement, "base": series.base or None
        }  # fmt: skip
        rows += [{"what": "level", **kind, **_level_cells(level)} for level in series.levels]
        rows.append({"what": "series", **kind, **_series_cells(series)})
    rows += [
        {
            "what": "source", "source_kind": source.kind, "source": source.name, "followed": source.followed,
            "lost": source.lost, "expected": _rounded(source.expected),
        }
        for source in report.sources
    ]  # fmt: skip
    return [[{**common, **row}.get(column) for column in COLUMNS] for row in rows]


def _level_cells(own: LevelRisk) -> dict[str, Cell]:
    return {
        "level_pct": own.level.pct, "spawned": own.spawned, "followed": own.followed, "lost": own.lost,
        "clean": own.clean, "running": own.running, "gone": own.gone, "suspects": own.suspects,
        "front_only": own.not_looked_round, "clusters": own.runs, "count_as": round(own.effective, 2),
        "share_pct": _pct(own.share), "low_pct": _pct(own.low), "limit_pct": _pct(own.limit),
        "limit_at_worst_pct": _pct(own.limit_at_worst),
        "limit_if_independent_pct": _pct(own.limit_if_independent), "pooled_pct": _pct(own.pooled),
        "acceptable": "yes" if own.acceptable else "no", "more_bags": own.more,
    }  # fmt: skip


def _series_cells(own: SeriesRisk) -> dict[str, Cell]:
    return {
        "highest_pct": None if own.highest is None else own.highest.pct,
        "trend_z": _rounded(own.trend.z), "trend_p": own.trend.p and float(f"{own.trend.p:.3g}"),
        "exchanged": own.trend.exchanged or None, "seed": own.trend.seed, "dose_pct": _rounded(own.dose.pct),
        "dose_low_pct": _rounded(own.dose.low_pct), "dose_high_pct": _rounded(own.dose.high_pct),
    }  # fmt: skip


def _pct(share: float | None) -> float | None:
    return None if share is None else round(100 * share, 2)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
