"""How treatments look in charts: colour by level, with a marker and a line of their own."""

from __future__ import annotations

from dataclasses import dataclass

from colscan.trial.model import Bag

# Ends of matplotlib's plasma: even steps in lightness, so levels keep their order in greyscale and for all
# kinds of colour vision; its yellow end is left out, too faint on white.
_SCALE = "plasma"
_LIGHTEST, _DARKEST = 0.76, 0.02
_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "p")
_LINES: tuple[tuple[float, tuple[float, ...]], ...] = (
    (0, (1, 0)), (0, (5, 2)), (0, (1, 1)), (0, (5, 2, 1, 2)), (0, (9, 2)), (0, (5, 1, 1, 1, 1, 1)),
)  # fmt: skip
BLANK_LABEL = "blank (no spawn)"


@dataclass(frozen=True, slots=True, kw_only=True)
class LineStyle:
    """How the line of a treatment is drawn; `colour` is sRGB 0-1."""

    label: str
    colour: tuple[float, float, float]
    marker: str
    line: tuple[float, tuple[float, ...]]


_BLANK = LineStyle(label=BLANK_LABEL, colour=(0.45, 0.45, 0.45), marker="x", line=(0, (1, 3)))


def style_treatments(bags: tuple[Bag, ...]) -> dict[str, LineStyle]:
    """Return the style of each treatment by its label, lowest level first; blanks last.

    The same levels of two supplements share their colour and differ in marker and line.

    Parameters
    ----------
    bags : tuple of Bag
        All bags of the trial, so that every chart of it uses the same styles.
    """
    from matplotlib import colormaps

    treatments = sorted({(b.supplement_pct, b.supplement, b.treatment) for b in bags if b.role == "trial"})
    levels = sorted({level for level, _, _ in treatments})
    step = (_DARKEST - _LIGHTEST) / max(1, len(levels) - 1)
    styles = {}
    for index, (level, _, label) in enumerate(treatments):
        red, green, blue, _ = colormaps[_SCALE](_LIGHTEST + step * levels.index(level))
        styles[label] = LineStyle(
            label=label,
            colour=(red, green, blue),
            marker=_MARKERS[index % len(_MARKERS)],
            line=_LINES[index % len(_LINES)],
        )
    if any(bag.role == "blank" for bag in bags):
        styles[BLANK_LABEL] = _BLANK
    return styles


def style_of(bag: Bag, styles: dict[str, LineStyle]) -> LineStyle:
    """Return the style of a bag's line."""
    return styles[BLANK_LABEL if bag.role == "blank" else bag.treatment]


def style_named(treatment: str, styles: dict[str, LineStyle]) -> LineStyle:
    """Return the style of a treatment by its name; a control of another name has the lowest level's."""
    return styles.get(treatment) or next(iter(styles.values()))
