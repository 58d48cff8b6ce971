"""The shelf plan: each shelf as it is seen from the front, with a box for each bag's place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from colscan.present.flow import Flow, number_pages, wrap_items
from colscan.present.paper import MARGIN_MM, Page, Paper, fit_text, printable, text_width_mm, write_pdf
from colscan.trial.model import LAST_BAG_TAG, Bag, Trial
from colscan.trial.shelfplan import ShelfPlan, plan_shelves

SHOWS_TREATMENTS = "Shows strains and treatments: not for the person who judges the bags."
SHOWS_NONE = "Strains and treatments are left off."
NO_SHELVES = (
    "No bag has a planned shelf. Fill the columns shelf and position of bags.csv (like tier 2 place 5), or "
    "let colscan plan --shelf NAME:TIERS draw the places by lot."
)
_HEAD_MM, _FOOT_MM = 17.0, 6.0
_SIDE_MM = MARGIN_MM + 0.5
"""The frames' lines have a width too."""
_GUTTER_MM = 12.8
"""Left of the tiers, for their numbers."""
_PLACE_MM = (12.0, 56.0)
"""Narrowest place, in which 7 point letters still say something, and the widest."""
_TIER_MM = (32.0, 62.0)
_BOARD_MM, _AIR_MM, _GAP_MM = 6.4, 2.0, 1.2
_CARD_MM = (19.0, 5.4)
_CODE_SIZES_MM = (14.0, 11.0, 9.0, 7.6, 6.4, 5.4, 4.6, 3.9, 3.3, 2.8)
_LINE_SIZES_MM = (4.6, 4.0, 3.4, 3.0, 2.7, 2.5)
_LINE_PITCH_MM = (3.9, 5.6)
_NUMBER_MM = 3.6
"""Of a box's height, for its place's number."""
_BLANK_GREY, _BOARD_GREY = 0.86, 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """What of a shelf is drawn on one page: tiers and places, counted from 0, and their sizes in mm."""

    tiers: range
    places: range
    place_mm: float
    tier_mm: float


def draw_shelf_plan(trial: Trial, paper: Paper, *, blind: bool = False) -> bytes:
    """Return a PDF of the trial's shelves, each on a page (large ones on several), the paper lying.

    Parameters
    ----------
    trial : Trial
        The plan.
    paper : Paper
        What it will be printed on.
    blind : bool
        Whether strain and treatment are left off.

    Returns
    -------
    bytes
        The same for the same plan.
    """
    lying = replace(paper, width_mm=paper.height_mm, height_mm=paper.width_mm)
    shelves, homeless = plan_shelves(trial)
    pages = [
        _draw_part(lying, trial, shelf, part, blind=blind)
        for shelf in shelves
        if any(any(tier) for tier in shelf.tiers)
        for part in _parts(lying, shelf)
        if any(_bags_in(shelf, part)) or any(shelf.cards[tier] for tier in part.tiers)
    ]
    pages += _list_unplaced(lying, trial, shelves, homeless)
    number_pages(pages)
    return write_pdf(pages, f"Shelf plan of {trial.name}")


def _parts(paper: Paper, shelf: ShelfPlan) -> list[_Part]:
    """A shelf in pages: as few as the narrowest place and the lowest tier allow, all about as full."""
    across_mm = paper.width_mm - 2 * _SIDE_MM - _GUTTER_MM
    down_mm = paper.height_mm - 2 * MARGIN_MM - _HEAD_MM - _FOOT_MM
    columns = _split(len(shelf.tiers[0]), int(across_mm // _PLACE_MM[0]))
    rows = _split(len(shelf.tiers), int(down_mm // _TIER_MM[0]))
    place_mm = min(_PLACE_MM[1], across_mm / len(columns[0]))
    tier_mm = min(_TIER_MM[1], down_mm / len(rows[0]))
    return [
        _Part(tiers=tiers, places=places, place_mm=place_mm, tier_mm=tier_mm)
        for tiers in rows
        for places in columns
    ]


def _split(count: int, most: int) -> list[range]:
    """Return stretches that hold so many at most, the first the longest by one at most."""
    parts = -(-count // most)
    ends = [-(-count * part // parts) for part in range(parts + 1)]
    return [range(begin, end) for begin, end in pairwise(ends)]


def _draw_part(paper: Paper, trial: Trial, shelf: ShelfPlan, part: _Part, *, blind: bool) -> Page:
    page = Page(paper)
    _write_head(page, trial, shelf, part, blind=blind)
    left = _SIDE_MM + _GUTTER_MM
    width = part.place_mm * len(part.places)
    for row, tier in enumerate(part.tiers):
        top = MARGIN_MM + _HEAD_MM + row * part.tier_mm
        board = top + part.tier_mm - _BOARD_MM
        page.area([_box(left, board, width, _BOARD_MM)], grey=_BOARD_GREY)
        name, size = fit_text(f"tier {tier + 1}", _GUTTER_MM - 1.0, (3.6, 2.8), bold=True)
        page.text((_SIDE_MM, board - 1.0), name, size_mm=size, bold=True)
        for column, place in enumerate(part.places):
            corner = (left + column * part.place_mm + _GAP_MM / 2, top + _AIR_MM)
            room = (part.place_mm - _GAP_MM, board - top - _AIR_MM)
            _draw_place(page, corner, room, place + 1, shelf.tiers[tier][place], blind=blind)
        # On one page only, or it would look as if there were two of the card.
        if part.places.start == 0:
            _draw_shelf_cards(page, shelf.cards[tier], (left, board), width)
    return page


def _write_head(page: Page, trial: Trial, shelf: ShelfPlan, part: _Part, *, blind: bool) -> None:
    width = page.paper.width_mm - 2 * _SIDE_MM
    title, size = fit_text(printable(f"Shelf {shelf.name}"), 0.55 * width, (7.0, 5.6, 4.6), bold=True)
    page.text((_SIDE_MM, MARGIN_MM + 6.5), title, size_mm=size, bold=True)
    name, size = fit_text(printable(f"{trial.name}: shelf plan"), 0.42 * width, (3.4, 2.8))
    x = _SIDE_MM + width - text_width_mm(name, size_mm=size)
    page.text((x, MARGIN_MM + 6.5), name, size_mm=size)
    text, size = fit_text(_explain(shelf, part, blind=blind), width, (3.2, 2.8, 2.5))
    page.text((_SIDE_MM, MARGIN_MM + 12.5), text, size_mm=size)


def _explain(shelf: ShelfPlan, part: _Part, *, blind: bool) -> str:
    """What the picture is of, and what its marks mean, as far as it has them."""
    bags = _bags_in(shelf, part)
    said = ["Seen from the front, tier 1 at the top, place 1 at the left."]
    if len(bags) < len(shelf.tiers) * len(shelf.tiers[0]):
        said.append(f"Here tiers {_span(part.tiers)}, places {_span(part.places)}.")
    if any(bag is not None and bag.role == "blank" for bag in bags):
        said.append("Grey: blank, stays sealed.")
    said.append(SHOWS_NONE if blind else SHOWS_TREATMENTS)
    return " ".join(said)


def _bags_in(shelf: ShelfPlan, part: _Part) -> list[Bag | None]:
    return [shelf.tiers[tier][place] for tier in part.tiers for place in part.places]


def _span(part: range) -> str:
    return f"{part.start + 1} to {part.stop}" if len(part) > 1 else str(part.stop)


def _draw_place(
    page: Page,
    corner_mm: tuple[float, float],
    size_mm: tuple[float, float],
    number: int,
    bag: Bag | None,
    *,
    blind: bool,
) -> None:
    """A place's box: its number, and the bag that stands there; dashed where none does."""
    (left, top), (wide, high) = corner_mm, size_mm
    frame = _box(left, top, wide, high)
    if bag is not None and bag.role == "blank":
        page.area([frame], grey=_BLANK_GREY)
    page.line([*frame, *frame[:2]], width_mm=0.2 if bag is None else 0.45, dashed=bag is None)
    page.text((left + 1.0, top + 3.2), str(number), size_mm=2.5)
    if bag is None:
        return
    _write_bag(page, (left, top + _NUMBER_MM), (wide, high - _NUMBER_MM), bag, _describe(bag, blind=blind))


def _write_bag(
    page: Page,
    corner_mm: tuple[float, float],
    size_mm: tuple[float, float],
    bag: Bag,
    lines: Sequence[str],
) -> None:
    """A bag's code in the middle of what the lines at the foot leave."""
    (left, top), (wide, high) = corner_mm, size_mm
    room = wide - 1.6
    pitch = min(_LINE_PITCH_MM[1], max(_LINE_PITCH_MM[0], high / 8))
    free = high - pitch * len(lines)
    sizes = [size for size in _CODE_SIZES_MM if size <= free] or [*_CODE_SIZES_MM[-1:]]
    code, size = fit_text(printable(bag.bag), room, sizes, bold=True)
    # Capitals are some 0.7 of the em high.
    _centre(page, (left, wide), top + free / 2 + 0.35 * size, code, size, bold=True)
    # The size that the widest tag allows, or short tags would stand out.
    tag_mm = text_width_mm(f"tag {LAST_BAG_TAG}", size_mm=1.0)
    sizes = [size for size in _LINE_SIZES_MM if size <= min(0.9 * pitch, room / tag_mm)]
    sizes = sizes or [*_LINE_SIZES_MM[-1:]]
    for row, line in enumerate(lines):
        text, size = fit_text(printable(line), room, sizes)
        _centre(page, (left, wide), top + free + pitch * (row + 0.62), text, size)


def _describe(bag: Bag, *, blind: bool) -> list[str]:
    """The lines under a code; supplement and level apart, so that neither is shortened for the other."""
    lines = ["blank"] if bag.role == "blank" else [] if blind else [bag.strain]
    if not blind and bag.supplement == "none":
        lines.append("none")
    elif not blind:
        lines += [bag.supplement, f"{bag.supplement_pct:g} %"]
    return [*lines, "no card" if bag.tag is None else f"tag {bag.tag}"]


def _draw_shelf_cards(page: Page, tags: Sequence[int], corner_mm: tuple[float, float], width: float) -> None:
    """A tier's fixed cards on its board's edge, evenly along it."""
    left, board = corner_mm
    wide, high = _CARD_MM
    for number, tag in enumerate(tags):
        x = left + width * (number + 0.5) / len(tags) - wide / 2
        y = board + (_BOARD_MM - high) / 2
        frame = _box(x, y, wide, high)
        page.area([frame], grey=1.0)
        page.line([*frame, *frame[:2]], width_mm=0.45)
        text, size = fit_text(f"card {tag}", wide - 2.0, (3.3,), bold=True)
        _centre(page, (x, wide), y + 3.9, text, size, bold=True)


def _centre(
    page: Page, span_mm: tuple[float, float], y: float, text: str, size: float, *, bold: bool = False
) -> None:
    left, wide = span_mm
    x = left + (wide - text_width_mm(text, size_mm=size, bold=bold)) / 2
    page.text((x, y), text, size_mm=size, bold=bold)


def _list_unplaced(
    paper: Paper, trial: Trial, shelves: Sequence[ShelfPlan], homeless: Sequence[Bag]
) -> list[Page]:
    """A page of the bags that no picture shows, shelf by shelf."""
    loose = [shelf for shelf in shelves if shelf.loose]
    if not loose and not homeless:
        return []
    flow = Flow(paper, f"{trial.name}: shelf plan", width_mm=paper.width_mm - 2 * _SIDE_MM)
    flow.title("Bags without a planned place", size_mm=6.0)
    if not shelves:
        flow.paragraph(NO_SHELVES)
    for shelf in loose:
        bags = [_say_with_place(bag) for bag in shelf.loose]
        flow.skip(3.0)
        flow.title(f"Shelf {shelf.name}", size_mm=4.0)
        flow.lines(wrap_items("", bags, flow.width))
    if homeless:
        flow.skip(3.0)
        flow.title("No shelf", size_mm=4.0)
        flow.lines(wrap_items("", [_say_with_place(bag) for bag in homeless], flow.width))
    return flow.pages


def _say_with_place(bag: Bag) -> str:
    name = f"{bag.bag} (blank)" if bag.role == "blank" else bag.bag
    return f"{name}: {bag.position}" if bag.position else name


def _box(left: float, top: float, wide: float, high: float) -> list[tuple[float, float]]:
    return [(left, top), (left + wide, top), (left + wide, top + high), (left, top + high)]
