"""An SVG file as elements of a page that holds others."""

from __future__ import annotations

import re
from xml.etree import ElementTree

_SVG, _LINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
LEAST_WIDTH = "60rem"
"""A wide chart isn't shown narrower: its letters would be under 10 px. It scrolls instead."""
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
    sizes = f"max-width: {drawn}; min-width: min({LEAST_WIDTH}, {drawn})"
    root.set("style", f"{rules}; {sizes}".removeprefix("; "))
    for name in ("height", "version"):
        root.attrib.pop(name, None)
    root.set("role", "img")
    root.set("aria-label", alt)
    return ElementTree.tostring(root, encoding="unicode")


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
