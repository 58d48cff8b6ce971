"""docs/formats.md is made from the declarations, and says what they say."""

import os
from pathlib import Path

from colscan.app.masks import FOLDER
from colscan.errors import ExitCode
from colscan.flags import RETAKE, Flag
from colscan.ledger.columns import LEDGER_TABLES, SHORT_SHA
from colscan.ledger.waiting import FOLDER as WAITING
from colscan.tables import Column, Row, columns_of, required_columns
from colscan.trial.keys import SECTIONS, TOP
from colscan.trial.model import Bag

PAGE = Path(__file__).parent.parent / "docs" / "formats.md"
HEAD = """# Files, words, exits

This page is made from the code (`COLSCAN_UPDATE_DOCS=1 pytest tests/test_docs.py`); a test holds it current.

CSV: UTF-8, header row, times in ISO 8601 with offset, decimals with a point, an empty cell is not
known. A text cell that begins with `= + - @` is guarded by an apostrophe. Unknown extra columns are kept
and ignored. What a spreadsheet saves with semicolons or tabs, decimal commas (then in all numbers of a file),
CRLF or a byte order mark is read the same, and appended to as it is.
"""
WAITING_FILES = f"""## {WAITING}/
`{WAITING}/NNNNNN.json`: rows that could not be appended, as another program held one of their files (as a
spreadsheet does on Windows): `held`, the name of that file, and `tables`, by file, header and rows as CSV.
They count, and `status`, the pages of `review` and the command that kept them there say so; `check` lists
them. The next command that writes appends them, in order, and takes them out of the folder. They stand
nowhere else: unlike `cache/`, the folder isn't to be deleted.
"""
MASKS = f"""## {FOLDER}/
`{FOLDER}/PHOTO-BAG.png`: what a person painted as covered on one bag in one photo, for `colscan agree`.
PHOTO is the first {SHORT_SHA} letters of the photo's SHA-256, those of its name under `photos/`; BAG the
bag's code. The PNG has the size of the upright photo, or is smaller in its shape. Only what lies within the
face's outline of scores.csv counts: white is covered, red is hidden (card, glare) and left out, black or
transparent is bare. Paint on a layer of its own and save that layer alone; a photo that is painted over
is refused. The second opinion of `colscan review` keeps its paintings there; one that was there before is put
into `masks/replaced/`, which doesn't count.
"""
EXITS = {
    ExitCode.DONE: f"done; also when rows are kept in `{WAITING}/`, which is said",
    ExitCode.CRASH: "a crash: a fault of colscan, please report it",
    ExitCode.TRIAL: "trial.toml, bags.csv or an option is wrong; nothing was written",
    ExitCode.PHOTO: "no photo could be used; nothing was written",
    ExitCode.LEDGER: "the ledger can't be read or written, or `check` found problems; nothing is torn",
    ExitCode.SOME_PHOTOS_FAILED: "some photos could not be used, the others are recorded",
    ExitCode.ANALYSIS: "the data don't carry the answer asked for",
    ExitCode.INTERRUPTED: "stopped by ctrl-C; whole photos are recorded, run it again to finish",
}


def page() -> str:
    """The page as the declarations have it."""
    tables = [_table(row_type) for row_type in (Bag, *LEDGER_TABLES)]
    flags = "\n".join(
        f"| `{flag}` | {flag.meaning} | {flag.remedy} | {_yes(flag in RETAKE)} |" for flag in Flag
    )
    exits = "\n".join(f"| {code.value} | {EXITS[code]} |" for code in ExitCode)
    return "\n".join(
        [
            HEAD,
            _plan(),
            *tables,
            MASKS,
            WAITING_FILES,
            f"## Flags\n| flag | meaning | what to do | photograph again |\n|---|---|---|---|\n{flags}\n",
            f"## Exit codes\n| code | |\n|---|---|\n{exits}\n",
        ]
    )


def _table(row_type: type[Row]) -> str:
    required = required_columns(row_type)
    rows = [
        f"| `{name}` | {_yes(name in required)} | {_kind(c)} | {c.meaning} |"
        for name, c in columns_of(row_type).items()
    ]
    return (
        f"## {row_type.FILE}\n| column | required | | meaning |\n|---|---|---|---|\n" + "\n".join(rows) + "\n"
    )


def _plan() -> str:
    rows = [
        f"| {section.header if section.name else ''} | `{name}` | {_yes(key.required)} | {key.meaning} |"
        for section in (TOP, *SECTIONS)
        for name, key in section.keys.items()
    ]
    head = "An unknown key is refused with its line. Each limit has a default and can be changed."
    columns = "| table | key | required | meaning |\n|---|---|---|---|"
    return "\n".join(["## trial.toml", head, "", columns, *rows, ""])


def _kind(column: Column) -> str:
    if column.choices:
        words = "a flag" if set(column.choices) == set(Flag) else " ".join(column.choices)
        return f"{'words' if column.kind == 'words' else 'one'} of: {words}" if words != "a flag" else "flags"
    return f"{column.kind} {column.unit}".strip()


def _yes(is_so: bool) -> str:
    return "yes" if is_so else ""


def test_formats_page_is_current() -> None:
    """The page in docs/ equals the declarations."""
    if os.environ.get("COLSCAN_UPDATE_DOCS"):
        PAGE.write_text(page(), encoding="utf-8")
    assert PAGE.read_text(encoding="utf-8") == page()
