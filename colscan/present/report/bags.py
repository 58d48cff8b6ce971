"""The bags themselves: pictures over time, curves, and what became of each."""

from __future__ import annotations

from collections import defaultdict

from colscan.growth.curve import BagFit, Estimate
from colscan.growth.model import BagStatus
from colscan.growth.outcomes import Milestone, Outcome
from colscan.present.report.blocks import Block, Section, Strip, Table, Text
from colscan.present.report.content import BagPictures, ReportContent
from colscan.present.report.drawings import drawings
from colscan.present.report.words import say_end, say_span
from colscan.trial.model import Bag
from colscan.units import to_pct

_NO_PICTURES = BagPictures(pictures=(), not_shown=0)


def show_pictures(content: ReportContent) -> Section:
    """Return each bag's face over time."""
    intro = (
        "Each picture is the side in view, cut out of that day's photo, with the light taken out as far as"
        " the card tells it. Under it: days since spawning, colonized % and its 90 % interval."
    )
    statuses = {one.bag: one for one in content.statuses}
    outcomes = {one.bag.bag: one for one in content.outcomes}
    blocks: list[Block] = [Text(text=intro)]
    if content.photos_gone:
        gone = ", ".join(content.photos_gone)
        blocks.append(Text(text=f"Photos whose kept file is gone or damaged, and so not shown: {gone}."))
    for bag in content.trial.bags:
        shown = content.pictures.get(bag.bag, _NO_PICTURES)
        text = _say_bag(statuses[bag.bag], outcomes.get(bag.bag), shown)
        blocks.append(Strip(heading=_title(bag), text=text, pictures=shown.pictures))
    return Section(name="bags", heading="Each bag over time", blocks=tuple(blocks))


def _title(bag: Bag) -> str:
    return f"{bag.bag}: {bag.strain}, {'blank' if bag.role == 'blank' else bag.treatment}"


def _say_bag(status: BagStatus, outcome: Outcome | None, shown: BagPictures) -> str:
    said = [f"{status.advice.capitalize()}: {status.why}."]
    if outcome is not None:
        said.insert(0, f"{say_end(outcome).capitalize()}.")
    if shown.not_shown:
        said.append(f"{shown.not_shown} more photos are not shown.")
    return " ".join(said)


def show_curves(content: ReportContent) -> Section:
    """Return the chart of all scores, and the days of each bag as a table."""
    blocks: list[Block] = drawings(
        content,
        ("curves", _describe_curves(content), "Colonized % of the side in view over days since spawning."),
        (
            "white",
            "How white each bag is over days since spawning.",
            "How white the bags are: thin growth counts less.",
        ),
    ) or [Text(text="No bag has been measured yet: there is no curve to draw.")]
    blocks += [_days(content), _fits(content)]
    return Section(name="curves", heading="Curves", blocks=tuple(blocks))


def _describe_curves(content: ReportContent) -> str:
    by_strain: defaultdict[str, list[str]] = defaultdict(list)
    for one in content.outcomes:
        by_strain[one.bag.strain].append(f"{one.bag.bag} ({one.bag.treatment}) {_say_half(one)}")
    said = [f"{strain}: {', '.join(bags)}" for strain, bags in by_strain.items()]
    return f"Colonization curves. Half colonized on day: {'; '.join(said)}."


def _say_half(one: Outcome) -> str:
    return say_span(one.half)


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
            one.model.shape if one.model else "", _remark(one),
        )
        for one in content.fits
    ]  # fmt: skip
    return Table(
        caption="The bags' curves, with 90 % intervals; days since spawning",
        header=(
            "bag", "strain", "supplement", "since", "leapt off on day", "greatest rate, points a day",
            "half on day", "90 % on day", "model", "remark",
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


def _remark(fit: BagFit) -> str:
    left_out = ", ".join(photo.photo for photo in fit.outliers)
    return " ".join(part for part in (fit.why_not, left_out and f"Left out: {left_out}.") if part)
