"""Which bag codes a spreadsheet would turn into something else.

A grower opens bags.csv in a spreadsheet, saves it, and ``3-4`` has become the fourth
of March: the code in the file is no longer the one on the bag. The same habit made
geneticists rename MARCH1, MARC1 and SEPT2 (Bruford et al. 2020,
doi:10.1038/s41588-020-0669-3). Month names are the English ones.
"""

from __future__ import annotations

import re
import unicodedata

_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
    "november", "december",
)  # fmt: skip
# Any beginning of a month's name of three letters or more counts: MAR, MARC and MARCH.
_MONTH = "(?:" + "|".join(m[:n] for m in _MONTHS for n in range(len(m), 2, -1)) + ")"
_GAP = r"[\s./,-]*"
_DATE = re.compile(
    rf"{_MONTH}{_GAP}\d{{1,4}}(?:{_GAP}\d{{1,4}})?"
    rf"|\d{{1,4}}{_GAP}{_MONTH}(?:{_GAP}\d{{1,4}})?"
    r"|\d{4}-\d{1,2}-\d{1,2}t[\d:.]+z?"
)
_TIME = re.compile(r"\d{1,2}(?::\d{1,2}){0,2}(?:\s*[ap]m|\s+[ap])|\d{1,2}(?::\d{1,2}){1,2}\s*[ap]")
_POWER = re.compile(r"[+-]?[\d.,]*\d[.,]?e[+-]?\d+")
_FIGURES = re.compile(r"[\d\s.,:/'%()+\-$€£¥]*\d[\d\s.,:/'%()+\-$€£¥]*")
_TRUTH = re.compile("true|false")
_ERROR = re.compile(r"#(?:n/a|ref!|value!|name\?|div/0!|null!|num!)")
_READ_AS = (
    (_DATE, "a date"),
    (_TIME, "a time of day"),
    (_POWER, "a number (digits, E, digits is a power of ten)"),
    (_TRUTH, "a logical value"),
    (_ERROR, "an error value"),
)
_FORMULA_STARTS = "=+-@"
_QUOTE = "'"


BREAKS_LINES = "it holds a line break or another character that can't be seen"


def breaks_lines(code: str) -> bool:
    """Return whether a code holds a line break or a control character, which no screen or card shows."""
    return not code.isprintable() and any(unicodedata.category(c) in ("Cc", "Zl", "Zp") for c in code)


def explain_mangling(code: str) -> str | None:
    """Return what a spreadsheet would make of a bag code, or None when it leaves it alone.

    Examples
    --------
    >>> explain_mangling("MAR1")
    'a spreadsheet turns it into a date'
    >>> explain_mangling("B07") is None
    True
    """
    # Full-width and other digits are figures to a spreadsheet too.
    plain = unicodedata.normalize("NFKC", code).casefold()
    if not plain.strip():
        return "it is empty"
    if breaks_lines(code):
        return BREAKS_LINES
    if code != code.strip():
        return "it has spaces at its ends, which nobody can see"
    if plain[0] in _FORMULA_STARTS:
        return f"it begins with {plain[0]}, and a spreadsheet takes it for a formula"
    if plain[0] == _QUOTE:
        return "it begins with ', which a spreadsheet drops"
    for pattern, what in _READ_AS:
        if pattern.fullmatch(plain):
            return f"a spreadsheet turns it into {what}"
    return f"a spreadsheet turns it into {_figures(plain)}" if _FIGURES.fullmatch(plain) else None


def _figures(plain: str) -> str:
    if ":" in plain:
        return "a time of day"
    if re.search(r"\d[-/.]\s*\d+(?:[-/.]|$)", plain) and not re.fullmatch(r"\d+\.\d+", plain):
        return "a date or a number"
    if re.fullmatch(r"0\d+", plain):
        return "a number and drops its leading zeros"
    return "a number"


def suggest_code(code: str) -> str:
    """Return a code near the given one that a spreadsheet leaves alone.

    Examples
    --------
    >>> suggest_code("7"), suggest_code("3-4"), suggest_code("MAR1"), suggest_code(" B01 ")
    ('B07', 'B3-4', 'B-MAR1', 'B01')
    """
    if explain_mangling(code.strip()) is None:
        return code.strip()
    kept = re.sub(r"\W+", "-", unicodedata.normalize("NFKC", code)).strip("-_")
    if not kept:
        return "B01"
    if kept[0].isdigit():
        return f"B{kept.zfill(2)}"
    return kept if explain_mangling(kept) is None else f"B-{kept}"
