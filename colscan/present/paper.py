"""Pages drawn in millimetres, and text that fits where it is put."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from typing import TYPE_CHECKING
from unicodedata import normalize

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties
    from matplotlib.path import Path as Outline

MM_PER_INCH = 25.4
_POINTS_PER_MM = 72 / MM_PER_INCH
MARGIN_MM = 12.7
"""Half an inch. Common printers leave less bare: lasers about 4 mm, inkjets up to 12.7 at the foot."""
NO_GLYPH = "\u25a1"
"""A hollow square, where the font has no letter."""
ELLIPSIS = "\u2026"
PointsMm = Sequence[tuple[float, float]] | NDArray[np.float64]
"""x, y from the page's top left corner."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A size of paper, upright."""

    name: str
    width_mm: float
    height_mm: float


PAPERS = {
    "letter": Paper(name="Letter", width_mm=8.5 * MM_PER_INCH, height_mm=11 * MM_PER_INCH),
    "a4": Paper(name="A4", width_mm=210.0, height_mm=297.0),
}


class Page:
    """One page; all but pictures is vectors, and the font goes into the file: no printer needs it."""

    def __init__(self, paper: Paper) -> None:
        from matplotlib.figure import Figure
        from matplotlib.transforms import Affine2D

        self.paper = paper
        size_inches = (paper.width_mm / MM_PER_INCH, paper.height_mm / MM_PER_INCH)
        self.figure = Figure(figsize=size_inches, facecolor="white")
        # No axes: their limits would be worked out anew for each letter.
        to_inches = Affine2D().scale(1 / MM_PER_INCH, -1 / MM_PER_INCH).translate(0, size_inches[1])
        self._to_page = to_inches + self.figure.dpi_scale_trans

    def line(
        self, points_mm: PointsMm, *, width_mm: float = 0.2, grey: float = 0.0, dashed: bool = False
    ) -> None:
        """Draw a line through points; grey is 0 for black to 1 for white."""
        from matplotlib.lines import Line2D

        x, y = np.asarray(points_mm, np.float64).T
        drawn = Line2D(
            x, y, color=str(grey), linewidth=width_mm * _POINTS_PER_MM, transform=self._to_page,
            linestyle=(0, (4, 3)) if dashed else "solid", solid_capstyle="butt", dash_capstyle="butt",
            solid_joinstyle="miter",
        )  # fmt: skip
        self.figure.add_artist(drawn)

    def area(self, polygons_mm: Iterable[PointsMm], *, grey: float = 0.0) -> None:
        """Fill polygons as one shape, so that no seam shows where they touch."""
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path as Outline

        rings = [Outline(np.vstack([ring, ring[:1]]), closed=True) for ring in map(np.asarray, polygons_mm)]
        whole = Outline.make_compound_path(*rings)
        shape = PathPatch(whole, facecolor=str(grey), linewidth=0, transform=self._to_page)
        self.figure.add_artist(shape)

    def text(self, at_mm: tuple[float, float], text: str, *, size_mm: float, bold: bool = False) -> None:
        """Write a line of text, its baseline beginning at a point; the size is that of the em."""
        from matplotlib.text import Text

        if not text.strip():
            return
        font = _font(bold).copy()
        font.set_size(size_mm * _POINTS_PER_MM)
        # A dollar sign is a dollar sign, not the start of a formula.
        written = Text(*at_mm, text, fontproperties=font, transform=self._to_page, parse_math=False)
        self.figure.add_artist(written)

    def picture(
        self, corner_mm: tuple[float, float], size_mm: tuple[float, float], rgb: NDArray[np.uint8]
    ) -> None:
        """Put a picture in a rectangle, its pixels as they are."""
        (x, y), (wide, high) = corner_mm, size_mm
        whole = (self.paper.width_mm, self.paper.height_mm)
        place = (x / whole[0], 1 - (y + high) / whole[1], wide / whole[0], high / whole[1])
        axes = self.figure.add_axes(place)
        axes.axis("off")
        axes.imshow(rgb, aspect="auto", interpolation="none")


def write_pdf(pages: Sequence[Page], title: str) -> bytes:
    """Return the pages as a PDF; the same pages give the same bytes.

    Parameters
    ----------
    pages : sequence of Page
        One or more, in order.
    title : str
        The document's title.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_pdf import PdfPages

    buffer = BytesIO()
    metadata = {"Title": title, "Creator": "colscan", "Producer": None, "CreationDate": None}
    # 42: outlines as TrueType, which screens draw sharper than a PDF's own kind, and text can be searched.
    with rc_context({"pdf.fonttype": 42}), PdfPages(buffer, metadata=metadata) as pdf:
        for page in pages:
            pdf.savefig(page.figure)
    return buffer.getvalue()


def text_width_mm(text: str, *, size_mm: float, bold: bool = False) -> float:
    """Return how far a line of text reaches from where it begins, or a hair more."""
    if not text.strip():
        return 0.0
    return float(size_mm * np.asarray(_outline(text, bold).vertices)[:, 0].max())


def fit_text(
    text: str, width_mm: float, sizes_mm: Sequence[float], *, bold: bool = False
) -> tuple[str, float]:
    """Return a text and the size at which it fits a width, shortened in its middle where no size is enough.

    The middle, as the ends are what tells names apart: `oyster 12` from `oyster 13`.

    Parameters
    ----------
    text : str
        One line.
    width_mm : float
        The room there is.
    sizes_mm : sequence of float
        Sizes to try, from large to small.
    bold : bool
        Whether it will be written in bold letters.

    Returns
    -------
    str, float
        The text, with `…` for what was left out, and the size in mm.
    """
    for size in sizes_mm:
        if text_width_mm(text, size_mm=size, bold=bold) <= width_mm:
            return text, size
    for kept in range(len(text) - 1, 1, -1):
        head = (kept + 1) // 2
        short = text[:head].rstrip() + ELLIPSIS + text[len(text) - (kept - head) :].lstrip()
        if text_width_mm(short, size_mm=sizes_mm[-1], bold=bold) <= width_mm:
            return short, sizes_mm[-1]
    return ELLIPSIS, sizes_mm[-1]


def wrap_text(text: str, width_mm: float, size_mm: float) -> list[str]:
    """Return a text in lines, broken at spaces, as many words in each as a width holds.

    A word that is wider than a line is shortened.
    """
    lines: list[str] = []
    for whole in text.split():
        word, _ = fit_text(whole, width_mm, (size_mm,))
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_mm(longer, size_mm=size_mm) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def printable(text: str) -> str:
    """Return a text in one line, with a hollow square for each letter that the font lacks."""
    composed = normalize("NFC", text)  # the font has more letters with accents than accents
    letters = (letter if letter.isprintable() else " " for letter in composed)
    return "".join(letter if ord(letter) in _letters() else NO_GLYPH for letter in letters)


@cache
def _font(bold: bool) -> FontProperties:
    from matplotlib.font_manager import FontProperties

    return FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")


@cache
def _letters() -> frozenset[int]:
    """The code points that both weights of the font have."""
    from matplotlib.font_manager import findfont
    from matplotlib.ft2font import FT2Font

    return frozenset.intersection(
        *(frozenset(FT2Font(findfont(_font(b))).get_charmap()) for b in (False, True))
    )


@cache
def _outline(text: str, bold: bool) -> Outline:
    """The letters' outlines for an em of 1; a dollar sign is a dollar sign, not the start of a formula."""
    from matplotlib.path import Path as Outline
    from matplotlib.textpath import text_to_path

    vertices, codes = text_to_path.get_text_path(_font(bold), text, ismath=False)
    return Outline(np.asarray(vertices) / text_to_path.FONT_SCALE, codes)
