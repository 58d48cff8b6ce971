"""Sheets that run on from page to page: strips one below the other, none cut through."""

from __future__ import annotations

from collections.abc import Sequence

from colscan.present.paper import MARGIN_MM, Page, Paper, fit_text, printable, text_width_mm, wrap_text

TEXT_MM, LEADING_MM = 3.3, 4.8
_HEAD_MM, _FOOT_MM = 7.0, 7.0
_SMALL_MM = 2.8


class Flow:
    """Pages of one paper, each with a line at its head and room for its number at its foot.

    Parameters
    ----------
    paper : Paper
        What the pages are printed on.
    head : str
        Stands at the head of each page from then on; another may be set.
    width_mm : float
        How wide the strips are; they stand in the page's middle.
    """

    def __init__(self, paper: Paper, head: str, *, width_mm: float) -> None:
        self._paper, self.head = paper, head
        self.pages: list[Page] = []
        self._bottom = paper.height_mm - MARGIN_MM - _FOOT_MM
        self.width = width_mm
        self.left = (paper.width_mm - width_mm) / 2
        self._y = 0.0
        self.turn()

    @property
    def page(self) -> Page:
        """The page that is being filled."""
        return self.pages[-1]

    @property
    def fresh(self) -> bool:
        """Whether nothing stands on the page yet."""
        return self._y == MARGIN_MM + _HEAD_MM

    def turn(self) -> None:
        """Begin a page."""
        self.pages.append(Page(self._paper))
        head, size = fit_text(printable(self.head), self.width, (_SMALL_MM, 2.4))
        self.page.text((self.left, MARGIN_MM + 3.0), head, size_mm=size)
        self._y = MARGIN_MM + _HEAD_MM

    def keep(self, height_mm: float) -> None:
        """Begin a page unless so much still fits on this one."""
        if self._y + height_mm > self._bottom and not self.fresh:
            self.turn()

    def take(self, height_mm: float) -> float:
        """Return the top of a strip of so much height, on this page or on one begun for it."""
        self.keep(height_mm)
        self._y += height_mm
        return self._y - height_mm

    def skip(self, height_mm: float) -> None:
        """Leave room below what stands on this page; none at the head of the next."""
        if not self.fresh:
            self._y = min(self._y + height_mm, self._bottom)

    def title(self, text: str, *, size_mm: float) -> None:
        """Write a line in bold letters, smaller and then shortened where it is too long."""
        top = self.take(size_mm * 1.5)
        shown, size = fit_text(
            printable(text), self.width, (size_mm, 0.8 * size_mm, 0.65 * size_mm), bold=True
        )
        self.page.text((self.left, top + size_mm * 1.1), shown, size_mm=size, bold=True)

    def lines(self, lines: Sequence[str]) -> None:
        """Write lines that fit the width."""
        for line in lines:
            top = self.take(LEADING_MM)
            self.page.text((self.left, top + TEXT_MM), line, size_mm=TEXT_MM)

    def paragraph(self, text: str) -> None:
        """Write a text, broken at its spaces."""
        self.lines(wrap_text(printable(text), self.width, TEXT_MM))


def number_pages(pages: Sequence[Page]) -> None:
    """Write a number at the foot of each page."""
    for number, page in enumerate(pages, start=1):
        text = f"page {number} of {len(pages)}"
        x = page.paper.width_mm - MARGIN_MM - 1.0 - text_width_mm(text, size_mm=_SMALL_MM)
        page.text((x, page.paper.height_mm - MARGIN_MM - 1.0), text, size_mm=_SMALL_MM)


def wrap_items(lead: str, items: Sequence[str], width_mm: float) -> list[str]:
    """Return a lead and items with commas in lines of a width; no item is parted, long ones are shortened."""
    lines = [lead]
    for number, item in enumerate(items, start=1):
        shown, _ = fit_text(printable(item), width_mm - 5.0, (TEXT_MM,))
        shown += "," if number < len(items) else ""
        longer = f"{lines[-1]} {shown}".lstrip()
        if text_width_mm(longer, size_mm=TEXT_MM) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(shown)
    return lines
