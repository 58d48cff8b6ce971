"""The page of a report: escaped, complete without anything beside it, and readable for everybody."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from colscan.present.report.blocks import Drawing, Listing, Page, Picture, Section, Strip, Table, Text
from colscan.present.report.page import render_page

EVIL = "<script>alert('a')</script>\"'&<b>"
SVG = b"""<?xml version="1.0"?><!-- a comment --><svg xmlns="http://www.w3.org/2000/svg"
 xmlns:xlink="http://www.w3.org/1999/xlink" width="10pt" height="10pt" viewBox="0 0 10 10" version="1.1">
 <metadata>made somewhere</metadata><defs><style type="text/css">*{stroke-linejoin: round}</style></defs>
 <g id="axes"><path id="dot" d="M 0 0"/><g transform="translate(1 2) scale(0.1 -0.1)"/>
 <g transform="translate(1 2) rotate(-90) scale(0.09 -0.09)"/><g transform="scale(0.015625)"/>
 <use xlink:href="#dot" clip-path="url(#clip)" style="fill: url(#clip)"/></g>
 <clipPath id="clip"><rect/></clipPath></svg>"""
# At 0.625 rem, which are 10 px, the letters of 9 hundredths are 9 px high.
SIZES = "stroke-linejoin: round; max-width: 10pt; min-width: min(0.625rem, 10pt)"
LEAST_CONTRAST = 4.5
"""WCAG 2.1, 1.4.3 (AA), for text of usual size."""


class Seen(HTMLParser):
    """Tags with their attributes in order, ids, and the page's text."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.text = ""
        self.feed(page.decode())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep it."""
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_data(self, data: str) -> None:
        """Keep it."""
        self.text += data

    def all(self, *names: str) -> list[dict[str, str]]:
        """The attributes of all tags of these names."""
        return [attributes for tag, attributes in self.tags if tag in names]


def picture(alt: str) -> Picture:
    """A picture whose bytes don't matter here."""
    return Picture(jpeg=b"jpeg", width_px=150, height_px=160, alt=alt, caption=("day 1.0", alt))


@pytest.fixture
def page() -> bytes:
    """A page with a block of every kind, all of whose texts try to break out."""
    drawing = Drawing(svg=SVG, alt=EVIL, caption=EVIL)
    blocks = (
        Text(text=EVIL), Text(text=EVIL, strong=True), Listing(items=(EVIL,)), drawing, drawing,
        Table(caption=EVIL, header=(EVIL, "n"), rows=((EVIL, 3), ("x", None), ("y", 1.5))),
        Strip(heading=EVIL, text=EVIL, pictures=(picture(EVIL),)),
    )  # fmt: skip
    section = Section(name="first", heading=EVIL, blocks=blocks)
    return render_page(Page(title=EVIL, subtitle=EVIL, sections=(section,)))


def test_all_texts_are_escaped(page: bytes) -> None:
    """No text becomes an element; each stands there as it was written."""
    seen = Seen(page)
    assert not seen.all("script", "b")
    assert seen.text.count("<script>alert('a')</script>") >= 12
    assert all(one["alt"] == EVIL for one in seen.all("img"))
    assert all(one["aria-label"] == EVIL for one in seen.all("svg"))


def test_nothing_is_loaded_from_anywhere(page: bytes) -> None:
    """The page's own policy forbids it, and no attribute or style names an address."""
    seen = Seen(page)
    policy = [one["content"] for one in seen.all("meta") if "http-equiv" in one]
    assert policy == [
        "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
    ]
    for tag, attributes in seen.tags:
        for name in ("src", "href", "xlink:href", "srcset", "action", "poster"):
            assert attributes.get(name, "#").startswith(("#", "data:")), (tag, attributes)
    assert not re.search(rb"@import|url\((?!#)", page)


def test_drawings_keep_to_themselves(page: bytes) -> None:
    """Ids are unique, references follow; no style sheet, comment or metadata is left."""
    seen = Seen(page)
    ids = [attributes["id"] for _, attributes in seen.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert {"drawing1-dot", "drawing2-dot", "drawing1-clip"} <= set(ids)
    assert [one["xlink:href"] for one in seen.all("use")] == ["#drawing1-dot", "#drawing2-dot"]
    assert [one["clip-path"] for one in seen.all("use")] == ["url(#drawing1-clip)", "url(#drawing2-clip)"]
    assert len(seen.all("style")) == 1
    assert b"made somewhere" not in page
    assert b"a comment" not in page
    assert [one["style"] for one in seen.all("svg")] == [SIZES] * 2


def test_everybody_can_read_it(page: bytes) -> None:
    """Language, alternative texts, headings in order without a gap, tables with scopes and captions."""
    seen = Seen(page)
    assert seen.all("html") == [{"lang": "en"}]
    assert all(one["alt"] for one in seen.all("img"))
    assert all(one["aria-label"] and one["role"] == "img" for one in seen.all("svg"))
    levels = [int(tag[1]) for tag, _ in seen.tags if re.fullmatch(r"h\d", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))
    assert len(seen.all("caption")) == len(seen.all("table")) == 1
    assert {one["scope"] for one in seen.all("th")} == {"col", "row"}


def test_contrast() -> None:
    """Each colour of text is readable on each ground that the style sheet has (WCAG AA)."""
    css = Seen(render_page(Page(title="", subtitle="", sections=()))).text
    colours = set(re.findall(r"[;{\s]color: (#[0-9a-f]{6})", css))
    grounds = set(re.findall(r"background: (#[0-9a-f]{6})", css))
    assert len(colours) >= 3
    assert "#ffffff" in grounds
    for colour in colours:
        for ground in grounds:
            assert contrast(colour, ground) >= LEAST_CONTRAST, (colour, ground)


def contrast(one: str, other: str) -> float:
    """The contrast of two colours (WCAG 2.1); black on white is 21."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def luminance(colour: str) -> float:
    """Relative luminance of a colour like #1c2126 (WCAG 2.1)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_contrast_of_black_on_white() -> None:
    """21:1 (WCAG 2.1, definition of contrast ratio)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
