"""An SVG file as elements of a page that holds others."""

from __future__ import annotations

import re
from xml.etree import ElementTree

_SVG, _LINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
LEAST_LETTERS_REM = 9 / 16
"""A chart isn't shown so narrow that its smallest letters are under this (9 px): it scrolls instead."""
_LETTERS = re.compile(r"scale\(([0-9.]+) -\1\)")
"""Letters are drawn as shapes in hundredths of their size, upside down."""
_REFERENCE = re.compile(r"url\(#([^)]+)\)")


def inline_svg(svg: bytes, *, prefix: str, alt: str) -> str:
    """Return an SVG file's elements for a page, ids and references to them prefixed, labelled for all.

    Two charts share ids where they share a letter's shape, and a style sheet in one would count for the
    whole page: its rules become the drawing's own. Comments, metadata and size are left out.

    Parameters
    ----------
    svg : bytes
        One of our charts.
    prefix : str
        Put before each id.
    alt : str
        What it shows.
    """
    ElementTree.register_namespace("", _SVG)
    ElementTree.register_namespace("xlink", _LINK)
    root = ElementTree.fromstring(svg)
    rules = _take_out(root)
    for element in root.iter():
        for name, value in list(element.items()):
            if name == "id":
                element.set(name, prefix + value)
            elif name in ("href", f"{{{_LINK}}}href") and value.startswith("#"):
                element.set(name, f"#{prefix}{value[1:]}")
            elif "url(#" in value:
                element.set(name, _REFERENCE.sub(rf"url(#{prefix}\1)", value))
    # As large as it was drawn where there is room, else smaller, down to where letters can still be read.
    drawn = root.attrib.pop("width")
    sizes = f"max-width: {drawn}; min-width: min({_least_width_rem(root):.4g}rem, {drawn})"
    root.set("style", f"{rules}; {sizes}".removeprefix("; "))
    for name in ("height", "version"):
        root.attrib.pop(name, None)
    root.set("role", "img")
    root.set("aria-label", alt)
    return ElementTree.tostring(root, encoding="unicode")


def _least_width_rem(root: ElementTree.Element) -> float:
    """The width at which the smallest letters of a drawing can still be read; 0 without any."""
    found = (_LETTERS.search(element.get("transform", "")) for element in root.iter())
    smallest = min((100 * float(one[1]) for one in found if one), default=None)
    width = float(root.get("viewBox", "").split()[2])
    return width / smallest * LEAST_LETTERS_REM if smallest else 0.0


def _take_out(root: ElementTree.Element) -> str:
    """Remove metadata and style sheets; return the declarations of the latter that were for all elements."""
    rules = ""
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag == f"{{{_SVG}}}style":
                rules += "".join(re.findall(r"\*\s*\{([^}]*)\}", child.text or ""))
            if child.tag in (f"{{{_SVG}}}style", f"{{{_SVG}}}metadata"):
                parent.remove(child)
    return rules
