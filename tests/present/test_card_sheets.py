"""Card sheets, rasterised as a printer would: tags, ruler, margins, and text that stays on its card."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pypdfium2
import pytest
from hornbeam import make_bag, make_trial
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pypdfium2.raw import FPDF_PAGEOBJ_IMAGE

from colscan.locate.cards import find_cards
from colscan.present.bag_card import tag_cells
from colscan.present.card_sheets import draw_card_sheets, letters_lacking
from colscan.present.paper import (
    ELLIPSIS,
    MARGIN_MM,
    NO_GLYPH,
    PAPERS,
    fit_text,
    printable,
    text_width_mm,
)
from colscan.trial.model import Shelf, Trial

DPI = 300
MM_PER_PX = 25.4 / DPI
LONG = "a strain whose name somebody wrote out in full, with all that was known of it, 12"
# Eleven bags, one more than a page of A4 holds; the highest and lowest tags; names of all kinds.
TAGS = (0, 579, 17, 301, 5, 44, 128, 256, 512, 99, 333)
STRAINS = ("PO-3", LONG, "Вешенка обыкновенная", "Πλευρώτης", "W" * 60, "平菇")


def plan() -> Trial:
    """A trial with short, long and non-Latin names, one bag without a card, and a named shelf."""
    bags = [
        make_bag(f"B{i:02}" if i else "BAG-WITH-A-VERY-LONG-CODE-0001", tag=tag, strain=STRAINS[i % 6])
        for i, tag in enumerate(TAGS)
    ]
    return make_trial(*bags, make_bag("B99"), shelves=(Shelf(name="upper", cards=(582,)),))


class Sheets:
    """Pages of a PDF at 300 dpi."""

    def __init__(self, paper: str) -> None:
        self.paper = PAPERS[paper]
        self.pdf = draw_card_sheets(plan(), self.paper)
        document = pypdfium2.PdfDocument(self.pdf)
        self.images = [sheet.render(scale=DPI / 72).to_numpy()[:, :, 2::-1].copy() for sheet in document]
        self.tags = [read_tags(image) for image in self.images[1:]]

    @property
    def left_mm(self) -> float:
        """Where the cards begin: two of 90 mm stand in the middle of the page."""
        return (self.paper.width_mm - 180.0) / 2


def read_tags(image: NDArray[np.uint8]) -> dict[int, NDArray[np.float64]]:
    """The tags on a page and their corners in mm, as OpenCV's detector reads them by itself."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    gray = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    corners, tags, _ = cv2.aruco.ArucoDetector(family, parameters).detectMarkers(gray)
    assert len(set(tags.ravel())) == len(tags)
    return {
        int(tag): (quad.reshape(4, 2).astype(float) + 0.5) * MM_PER_PX
        for tag, quad in zip(tags.ravel(), corners, strict=True)
    }


@pytest.fixture(scope="module", params=["letter", "a4"])
def sheets(request: pytest.FixtureRequest) -> Sheets:
    """The plan's sheets on each paper."""
    return Sheets(request.param)


def ink(
    image: NDArray[np.uint8], x_mm: tuple[float, float], y_mm: tuple[float, float]
) -> NDArray[np.float64]:
    """How dark a part of a page is, 0 for paper to 1 for black."""
    (x0, x1), (y0, y1) = ([round(value / MM_PER_PX) for value in span] for span in (x_mm, y_mm))
    return 1.0 - image[y0:y1, x0:x1].mean(-1) / 255.0


def test_every_tag_is_read_at_36_mm(sheets: Sheets) -> None:
    """All tags of the plan and the shelves', each side 36 mm within 1 %."""
    corners_mm = {tag: quad for page in sheets.tags for tag, quad in page.items()}
    assert sorted(corners_mm) == sorted([*TAGS, *range(580, 587)])
    for quad in corners_mm.values():
        assert np.hypot(*(np.roll(quad, -1, 0) - quad).T) == pytest.approx([36.0] * 4, rel=0.01)


def test_the_scanner_reads_them_too(sheets: Sheets) -> None:
    """`find_cards` on the pages at a third of the size: the same tags, upright, 36 mm within 1 %."""
    for image, page in zip(sheets.images[1:], sheets.tags, strict=True):
        small = cv2.resize(image, None, fx=1 / 3, fy=1 / 3, interpolation=cv2.INTER_AREA)
        cards = find_cards(small)
        assert [card.tag for card in cards] == sorted(page)
        assert [card.mm_per_px for card in cards] == pytest.approx([3 * MM_PER_PX] * len(cards), rel=0.01)


def test_tags_stand_where_the_card_has_them(sheets: Sheets) -> None:
    """In the order of the plan, two a row: upright, 7 mm from the left and top of a card of 90 x 50 mm."""
    rows = {"Letter": 4, "A4": 5}[sheets.paper.name]
    planned = [TAGS[begin : begin + 2 * rows] for begin in range(0, len(TAGS), 2 * rows)]
    for page, tags in zip(sheets.tags, [*planned, tuple(range(580, 587))], strict=True):
        for place, tag in enumerate(tags):
            row, column = divmod(place, 2)
            corner = (sheets.left_mm + 7.0 + 90.0 * column, MARGIN_MM + 6.0 + 7.0 + 50.0 * row)
            assert page[tag][0] == pytest.approx(corner, abs=0.15)


def test_ruler_is_100_mm(sheets: Sheets) -> None:
    """On each page: eleven long ticks, 10 mm apart, from first to last 100.0 mm."""
    for image in sheets.images:
        foot = sheets.paper.height_mm - MARGIN_MM - 1.0
        dark = ink(image, (0.0, sheets.paper.width_mm), (foot - 3.6, foot - 3.0)).mean(0)
        ticks = [run.mean() for run in np.split(np.flatnonzero(dark > 0.3), _gaps(dark > 0.3))]
        assert np.diff(ticks) * MM_PER_PX == pytest.approx([10.0] * 10, abs=0.1)
        assert (ticks[-1] - ticks[0]) * MM_PER_PX == pytest.approx(100.0, abs=0.05)


def _gaps(dark: NDArray[np.bool_]) -> NDArray[np.int64]:
    return np.flatnonzero(np.diff(np.flatnonzero(dark)) > 1) + 1


def test_nothing_crosses_a_margin(sheets: Sheets) -> None:
    """The margins of common printers are white, and pages have the paper's size."""
    for image in sheets.images:
        height, width = image.shape[:2]
        assert (width * MM_PER_PX, height * MM_PER_PX) == pytest.approx(
            (sheets.paper.width_mm, sheets.paper.height_mm), abs=2 * MM_PER_PX
        )
        margin = int(MARGIN_MM / MM_PER_PX)
        inside = image[margin : height - margin, margin : width - margin]
        assert (image < 255).sum() == (inside < 255).sum() > 0


def test_text_keeps_to_its_card(sheets: Sheets) -> None:
    """White a cell around each tag, and 2 mm along each card's edge but for the marks at its corners."""
    for image, page in zip(sheets.images[1:], sheets.tags, strict=True):
        for quad in page.values():
            x, y = quad[0] - 7.0
            around = ((x + 43.3, x + 47.3), (x + 0.2, x + 6.8))
            assert not any(ink(image, across, (y + 3.0, y + 47.0)).any() for across in around)
            assert not ink(image, (x + 88.0, x + 90.0), (y + 2.5, y + 47.5)).any()
            assert not ink(image, (x + 2.5, x + 87.5), (y + 48.0, y + 50.0)).any()
            assert ink(image, (x + 47.3, x + 88.0), (y + 5.0, y + 46.0)).any()


def test_guide_fits_its_page(sheets: Sheets) -> None:
    """The first page's text ends above its ruler with a gap."""
    ruler = sheets.paper.height_mm - MARGIN_MM - 9.0
    assert not ink(sheets.images[0], (0.0, sheets.paper.width_mm), (ruler - 8.0, ruler)).any()


def test_vectors_alone(sheets: Sheets) -> None:
    """No picture is in the file: tags and letters are sharp on any printer."""
    for page in pypdfium2.PdfDocument(sheets.pdf):
        assert list(page.get_objects(filter=[FPDF_PAGEOBJ_IMAGE])) == []
        assert next(page.get_objects(), None) is not None


def test_same_plan_same_bytes(sheets: Sheets) -> None:
    """Neither a date nor chance is in the file."""
    assert draw_card_sheets(plan(), sheets.paper) == sheets.pdf


def test_blind_cards_tell_nothing() -> None:
    """Blind cards are the same bytes whatever strain and treatment are; open ones aren't."""
    trial = make_trial(make_bag("B01", tag=1, strain="PO-3"))
    other = replace(trial, bags=tuple(replace(bag, strain="HE-2", supplement_pct=8.0) for bag in trial.bags))
    letter = PAPERS["letter"]
    assert draw_card_sheets(trial, letter, blind=True) == draw_card_sheets(other, letter, blind=True)
    assert draw_card_sheets(trial, letter) != draw_card_sheets(other, letter)


def test_tag_0_is_the_published_one() -> None:
    """The code of tag 0, 0xd5d628584 (tag36h11.c of the AprilTag library, row by row), half a turn round."""
    bits = np.array([int(bit) for bit in f"{0xD5D628584:036b}"]).reshape(6, 6)
    cells = tag_cells(0)
    assert (~cells[1:-1, 1:-1] == bits[::-1, ::-1].astype(bool)).all()
    assert cells.sum() - cells[1:-1, 1:-1].sum() == 28


def test_letters_the_font_lacks() -> None:
    """Latin with accents, Cyrillic and Greek print; Chinese is told and becomes a hollow square."""
    assert set(letters_lacking(plan())) == set("平菇")
    assert printable("Вешенка Πλευρώτης Džđ ế 4 %") == "Вешенка Πλευρώτης Džđ ế 4 %"
    assert printable("e\u0301\t平") == f"é {NO_GLYPH}"


@settings(max_examples=40)
@given(st.text("abWi 8%-$_^\\", min_size=1, max_size=60), st.booleans())
def test_text_fits_or_is_shortened_visibly(text: str, bold: bool) -> None:
    """Text fits its room; what is shortened has the ellipsis between its own two ends."""
    short, size_mm = fit_text(text, 39.0, (8.0, 3.0), bold=bold)
    assert text_width_mm(short, size_mm=size_mm, bold=bold) <= 39.0
    if short != text:
        assert size_mm == 3.0
        head, tail = short.split(ELLIPSIS)
        assert text.startswith(head)
        assert text.endswith(tail)
