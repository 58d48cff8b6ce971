"""QR codes of an address: letters for a terminal, SVG for a page."""

from __future__ import annotations

import segno

QUIET = 4
"""Modules of white around: the standard's (ISO/IEC 18004, 4 for any but a Micro QR code)."""
# Black on white whatever the terminal's own colours are: not every scanner reads a code in negative.
_UPPER, _LOWER, _PLAIN = {0: "97", 1: "30"}, {0: "107", 1: "40"}, "\x1b[0m"


def qr_letters(text: str) -> str:
    """Return a QR code as lines for a terminal that shows colours, two rows of modules a line."""
    rows = [list(row) for row in segno.make_qr(text, error="l").matrix_iter(border=QUIET)]
    rows += [[0] * len(rows[0])] * (len(rows) % 2)
    return "\n".join(
        "".join(f"\x1b[{_UPPER[up]};{_LOWER[low]}m▀" for up, low in zip(*pair, strict=True)) + _PLAIN
        for pair in zip(rows[::2], rows[1::2], strict=True)
    )


def qr_svg(text: str) -> str:
    """Return a QR code as an SVG element, black on white, that fills the width it is given."""
    return segno.make_qr(text, error="m").svg_inline(
        border=QUIET, omitsize=True, light="#ffffff", svgclass=None
    )
