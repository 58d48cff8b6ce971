"""What stands about each bag, in tables: for those who want to look one up."""

from __future__ import annotations

from collections.abc import Iterator

from colscan.growth.curve import BagFit, Estimate
from colscan.growth.outcomes import Milestone
from colscan.present.report.blocks import Block, Listing, Section, Table
from colscan.present.report.content import ReportContent
from colscan.present.report.words import say_end, say_span
from colscan.units import to_pct


def show_numbers(content: ReportContent) -> Section:
    """Return what stands about each bag: as planned, when it came how far, its curve."""
    remarks: dict[str, list[str]] = {}
    for fit in content.fits:
        for text in _remarks(fit):
            remarks.setdefault(text, []).append(fit.bag.bag)
    notes = Listing(
        items=tuple(f"{text}: {', '.join(dict.fromkeys(bags))}" for text, bags in remarks.items())
    )
    blocks: list[Block] = [_bags(content), _days(content)]
    if any(fit.half_days or fit.model for fit in content.fits):
        blocks.append(_fits(content))
    if remarks:
        blocks.append(notes)
    return Section(name="numbers", heading="The numbers bag by bag", blocks=tuple(blocks))


def _bags(content: ReportContent) -> Table:
    rows = [
        (
            bag.bag, bag.strain, bag.treatment, bag.heat_run, bag.mix_batch, bag.spawn_lot,
            " ".join(part for part in (bag.shelf, bag.position) if part),
            f"{bag.inoculated_at.astimezone(content.trial.zone):%Y-%m-%d %H:%M}",
            bag.role if bag.role != "trial" else "", bag.note,
        )
        for bag in content.trial.bags
    ]  # fmt: skip
    header = (
        "bag",
        "strain",
        "supplement",
        "heat run",
        "mix",
        "spawn lot",
        "place",
        "spawned",
        "role",
        "note",
    )
    return Table(caption="Bags as planned", header=header, rows=tuple(rows))


def _days(content: ReportContent) -> Table:
    rows = [
        (
            one.bag.bag, one.bag.strain, one.bag.treatment,
            *(say_span(one.reached(milestone)) for milestone in Milestone), say_end(one),
        )
        for one in content.outcomes
    ]  # fmt: skip
    return Table(
        caption="Days since spawning between which each bag came so far: later than the one photo, at the"
        " latest at the other",
        header=("bag", "strain", "supplement", *Milestone, "what became of it"),
        rows=tuple(rows),
    )


def _fits(content: ReportContent) -> Table:
    rows = [
        (
            one.bag.bag, one.bag.strain, one.bag.treatment,
            f"disturbed on day {one.began_days:.1f}" if one.segment else "",
            _figure(one.lag_days), _rate(one), _figure(one.half_days), _figure(one.ninety_days),
            one.model.shape if one.model else "",
        )
        for one in content.fits
    ]  # fmt: skip
    return Table(
        caption="The bags' curves, with 90 % intervals; days since spawning",
        header=(
            "bag", "strain", "supplement", "since", "leapt off on day", "greatest rate, points a day",
            "half on day", "90 % on day", "model",
        ),
        rows=tuple(rows),
    )  # fmt: skip


def _figure(figure: Estimate | None) -> str:
    return "" if figure is None else f"{figure.value:.1f} ({figure.low:.1f} to {figure.high:.1f})"


def _rate(fit: BagFit) -> str:
    rate = fit.rate_per_day
    if rate is None:
        return ""
    value, low, high = (to_pct(part) for part in (rate.value, rate.low, rate.high))
    return f"{value:.0f} ({low:.0f} to {high:.0f})"


def _remarks(fit: BagFit) -> Iterator[str]:
    """What is missing and what was left out: many bags share the first."""
    if fit.why_not:
        yield f"{fit.why_not[:1].upper()}{fit.why_not[1:]}"
    for photo in fit.outliers:
        yield f"Left out of the curve: {photo.photo}"
