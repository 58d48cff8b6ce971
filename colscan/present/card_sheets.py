"""A trial's card sheets: a page on how to use them, a card a bag, the cards of the shelves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from colscan.present.paper import MARGIN_MM, NO_GLYPH, Page, Paper, fit_text, printable, write_pdf
from colscan.trial.model import SHELF_TAGS, Bag, Trial

if TYPE_CHECKING:
    from colscan.present.bag_card import CardLabel

RULER_MM = 100
COLUMNS = 2
_HEAD_MM, _FOOT_MM = 6.0, 12.0
_MARK_MM = 2.0
_SMALL_MM = 2.8
PRINT_NOTE = "Print at actual size (100 %) on plain white matt paper."


def draw_card_sheets(trial: Trial, paper: Paper, *, blind: bool = False) -> bytes:
    """Return a PDF with the cards of a trial's bags that have a tag, and of its shelves.

    Parameters
    ----------
    trial : Trial
        The plan.
    paper : Paper
        What it will be printed on.
    blind : bool
        Whether strain and treatment stay off the cards.

    Returns
    -------
    bytes
        The same for the same plan.
    """
    from colscan.present.card_guide import draw_guide

    guide = Page(paper)
    draw_guide(guide, trial.name)
    draw_ruler(guide)
    bags = [_bag_label(bag, trial, blind=blind) for bag in trial.bags if bag.tag is not None]
    pages = [guide, *_sheets(paper, bags, trial.name), *_sheets(paper, _shelf_labels(trial), trial.name)]
    return write_pdf(pages, f"Cards of the trial {trial.name}")


def letters_lacking(trial: Trial, more: Iterable[str] = ()) -> str:
    """Return the letters that stand in a trial's names and that the sheets' font lacks, each once.

    Parameters
    ----------
    trial : Trial
        Its name, and those of its bags, strains, supplements and shelves.
    more : iterable of str
        Other texts that are printed.
    """
    names = [trial.name, *trial.shelf_names, *more]
    for bag in trial.bags:
        names += [bag.bag, bag.strain, bag.treatment]
    letters = sorted(set("".join(names)) - {NO_GLYPH})
    return "".join(letter for letter in letters if printable(letter) == NO_GLYPH)


def draw_ruler(page: Page) -> None:
    """Draw a ruler of 100 mm at a page's foot, by which a printer's scale is checked."""
    left, base = (page.paper.width_mm - RULER_MM) / 2, page.paper.height_mm - MARGIN_MM - 1.0
    page.line([(left, base), (left + RULER_MM, base)])
    for mm in range(RULER_MM + 1):
        height = 4.0 if mm % 10 == 0 else 2.6 if mm % 5 == 0 else 1.6
        page.line([(left + mm, base), (left + mm, base - height)], width_mm=0.15)
    for mm in (0, 50, 100):
        page.text((left + mm - 1.0, base - 5.0), str(mm), size_mm=2.5)
    page.text((left + 14.0, base - 5.0), "check: 100 mm long", size_mm=2.5)
    page.text((left + 62.0, base - 5.0), "else: print at 100 %", size_mm=2.5)


def _sheets(paper: Paper, labels: Sequence[CardLabel], name: str) -> list[Page]:
    """Pages of cards, as many on each as there is room for; they touch, so that one cut parts two."""
    from colscan.locate.cards import CARD_MM

    room_mm = paper.height_mm - 2 * MARGIN_MM - _HEAD_MM - _FOOT_MM
    on_page = COLUMNS * int(room_mm // CARD_MM[1])
    return [_sheet(paper, labels[begin : begin + on_page], name) for begin in range(0, len(labels), on_page)]


def _sheet(paper: Paper, labels: Sequence[CardLabel], name: str) -> Page:
    from colscan.locate.cards import CARD_MM
    from colscan.present.bag_card import draw_card

    page = Page(paper)
    left, top = (paper.width_mm - COLUMNS * CARD_MM[0]) / 2, MARGIN_MM + _HEAD_MM
    head, size = fit_text(printable(f"{name}. {PRINT_NOTE}"), COLUMNS * CARD_MM[0], (_SMALL_MM, 2.4))
    page.text((left, MARGIN_MM + 2.8), head, size_mm=size)
    rows = -(-len(labels) // COLUMNS)
    _cut_marks(
        page,
        [left + i * CARD_MM[0] for i in range(COLUMNS + 1)],
        [top + i * CARD_MM[1] for i in range(rows + 1)],
    )
    for place, label in enumerate(labels):
        row, column = divmod(place, COLUMNS)
        draw_card(page, (left + column * CARD_MM[0], top + row * CARD_MM[1]), label)
    draw_ruler(page)
    return page


def _cut_marks(page: Page, across_mm: Sequence[float], down_mm: Sequence[float]) -> None:
    """A small cross at each corner of each card."""
    for x in across_mm:
        for y in down_mm:
            page.line([(x - _MARK_MM, y), (x + _MARK_MM, y)], width_mm=0.1, grey=0.3)
            page.line([(x, y - _MARK_MM), (x, y + _MARK_MM)], width_mm=0.1, grey=0.3)


def _bag_label(bag: Bag, trial: Trial, *, blind: bool) -> CardLabel:
    from colscan.present.bag_card import CardLabel

    assert bag.tag is not None
    day_0 = f"day 0: {bag.inoculated_at.astimezone(trial.zone):%Y-%m-%d}"
    lines = (day_0,) if blind else (bag.strain, bag.treatment, day_0)
    return CardLabel(tag=bag.tag, title=bag.bag, lines=lines)


def _shelf_labels(trial: Trial) -> list[CardLabel]:
    from colscan.present.bag_card import CardLabel

    owner = {tag: shelf.name for shelf in trial.shelves for tag in shelf.cards}
    note = "on the shelf's front edge"
    return [
        CardLabel(tag=tag, title=f"Shelf {owner.get(tag, '')}".strip(), lines=(note,)) for tag in SHELF_TAGS
    ]
