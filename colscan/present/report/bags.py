"""The bags themselves: pictures over time, curves, and what became of each."""

from __future__ import annotations

from collections import defaultdict

from colscan.growth.model import BagStatus
from colscan.growth.outcomes import Outcome
from colscan.present.report.blocks import Block, Section, Strip, Table, Text
from colscan.present.report.content import BagPictures, ReportContent
from colscan.present.report.drawings import drawings
from colscan.present.report.words import say_end, say_span
from colscan.trial.model import Bag
from colscan.units import count_of

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
    bare = []
    for bag in content.trial.bags:
        shown = content.pictures.get(bag.bag, _NO_PICTURES)
        text = _say_bag(statuses[bag.bag], outcomes.get(bag.bag), shown)
        if shown.pictures:
            blocks.append(Strip(heading=_title(bag), text=text, pictures=shown.pictures))
        else:
            bare.append((_title(bag), text))
    if bare:
        blocks.append(
            Table(caption="Bags without a picture", header=("bag", "where it stands"), rows=tuple(bare))
        )
    return Section(name="bags", heading="Each bag over time", blocks=tuple(blocks))


def _title(bag: Bag) -> str:
    return f"{bag.bag}: {bag.strain}, {'blank' if bag.role == 'blank' else bag.treatment}"


def _say_bag(status: BagStatus, outcome: Outcome | None, shown: BagPictures) -> str:
    said = [f"{status.advice.capitalize()}: {status.why}."]
    if outcome is not None:
        said.insert(0, f"{say_end(outcome).capitalize()}.")
    if shown.not_shown:
        are = "is" if shown.not_shown == 1 else "are"
        said.append(f"{count_of(shown.not_shown, 'more photo')} {are} not shown.")
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
    return Section(name="curves", heading="Curves", blocks=tuple(blocks))


def _describe_curves(content: ReportContent) -> str:
    by_strain: defaultdict[str, list[str]] = defaultdict(list)
    for one in content.outcomes:
        by_strain[one.bag.strain].append(f"{one.bag.bag} ({one.bag.treatment}) {_say_half(one)}")
    said = [f"{strain}: {', '.join(bags)}" for strain, bags in by_strain.items()]
    return f"Colonization curves. Half colonized on day: {'; '.join(said)}."


def _say_half(one: Outcome) -> str:
    return say_span(one.half)
