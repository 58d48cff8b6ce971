"""Sheets that run on over pages: heads repeated, nothing over a margin, long lists broken between items."""

from __future__ import annotations

import pytest
from planned import Printed

from colscan.present.flow import TEXT_MM, Flow, number_pages, wrap_items
from colscan.present.form import Column, Mark, write_table
from colscan.present.paper import ELLIPSIS, PAPERS, text_width_mm, wrap_text, write_pdf
from colscan.present.weights import say_weight

COLUMNS = (Column("", 6.0), Column("what", 60.0), Column("note", 60.0, bold=True))


@pytest.mark.parametrize("paper", PAPERS)
def test_a_long_table_repeats_its_heads(paper: str) -> None:
    """Each row once and in order, heads on each page, numbers at the feet."""
    flow = Flow(PAPERS[paper], "head of the page", width_mm=180.0)
    write_table(flow, COLUMNS, [(Mark.BOX, f"row{number}.", Mark.BLANK) for number in range(100)])
    number_pages(flow.pages)
    printed = Printed(write_pdf(flow.pages, "test"))
    printed.check_margins(PAPERS[paper])
    printed.check_texts_apart()
    assert [word for word in printed.text.split() if word.startswith("row")] == [
        f"row{number}." for number in range(100)
    ]
    for number, text in enumerate(printed.texts, start=1):
        assert text.startswith("head of the page what note row")
        assert f"page {number} of {len(printed.texts)}" in text


def test_what_is_kept_together_begins_a_page() -> None:
    """A strip that doesn't fit goes to the next page, one higher than a page doesn't make an empty one."""
    flow = Flow(PAPERS["a4"], "", width_mm=180.0)
    flow.keep(1000.0)
    assert len(flow.pages) == 1
    flow.take(200.0)
    flow.keep(100.0)
    assert len(flow.pages) == 2
    assert flow.fresh


def test_items_are_not_parted() -> None:
    """A list is broken between its items; one that is wider than the line is shortened."""
    items = [f"BAG {number}" for number in range(40)] + ["W" * 200]
    lines = wrap_items("Bags:", items, 80.0)
    assert all(text_width_mm(line, size_mm=TEXT_MM) <= 80.0 for line in lines)
    assert " ".join(lines).startswith("Bags: " + ", ".join(items[:-1]))
    assert all(line.endswith(",") for line in lines[:-1])
    assert ELLIPSIS in lines[-1]


def test_a_word_wider_than_its_line() -> None:
    """It is shortened, not written over the margin."""
    lines = wrap_text("short " + "W" * 200 + " end", 60.0, TEXT_MM)
    assert all(text_width_mm(line, size_mm=TEXT_MM) <= 60.0 for line in lines)
    assert (lines[0], lines[-1]) == ("short", "end")
    assert ELLIPSIS in lines[1]


@pytest.mark.parametrize(
    ("mass_g", "said"),
    [(907.18474, "907.2 g = 32.00 oz"), (1360.77711, "1.361 kg = 48.00 oz"), (0.0, "0.0 g = 0.00 oz"),
     (5443.10844, "5.443 kg = 12.000 lb")],
)  # fmt: skip
def test_weights_in_words(mass_g: float, said: str) -> None:
    """2, 3 and 12 lb by the exact pound of 453.59237 g: ounces up to 10 lb, then pounds."""
    assert say_weight(mass_g) == said
