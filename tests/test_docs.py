"""The pages of docs/ that are made from the code say what the code says."""

import os
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

import pytest
from told_errors import KINDS, VALUE, all_errors
from words import STANDARD, TRADE, shown

from colscan.app.cli.main import COMMANDS, main
from colscan.app.masks import FOLDER
from colscan.errors import ColscanError, ExitCode
from colscan.flags import RETAKE, Flag
from colscan.ledger.columns import LEDGER_TABLES, SHORT_SHA
from colscan.ledger.waiting import FOLDER as WAITING
from colscan.tables import Column, Row, columns_of, required_columns
from colscan.trial.keys import SECTIONS, TOP
from colscan.trial.model import Bag

DOCS = Path(__file__).parent.parent / "docs"
MADE = (
    "This page is made from the code (`COLSCAN_UPDATE_DOCS=1 pytest tests/test_docs.py`); a test holds it so."
)
HEAD = f"""# Files, words, exits

{MADE}

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
ERRORS_HEAD = f"""# What can go wrong

{MADE}

What colscan says when it can't do what was asked for, and what to do next; `{VALUE}` stands for a value that
the message names. Doubtful photos are no errors: their scores have flags, in [formats.md](formats.md#flags).
"""
WORDS_HEAD = f"""# Words

{MADE}

Every command, option, column, key and word of the files, by whose it is. Our own are plain words for what
they are.
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


def formats() -> str:
    """Files, columns, words, flags and exit codes, as they are declared."""
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


def commands() -> str:
    """The help of every command."""
    shown = [f"## colscan {name}\n```\n{_help(name)}```\n" for name in COMMANDS]
    return "\n".join([f"# Commands\n\n{MADE}\n\n```\n{_help()}```\n", *shown])


def _help(*names: str) -> str:
    with redirect_stdout(StringIO()) as said:
        assert main([*names, "--help"]) == 0
    return said.getvalue()


def errors() -> str:
    """Every error, under the exit code that it ends with."""
    told = all_errors()
    parts = [ERRORS_HEAD]
    for code in sorted({one.kind.exit_code for one in told}):
        rows = [f"| {_cell(one.message)} | {_cell(one.hint)} |" for one in told if one.kind.exit_code == code]
        parts.append(
            f"## Exit code {code.value}: {EXITS[code]}\n| message | what to do |\n|---|---|\n"
            + "\n".join(rows)
            + "\n"
        )
    return "\n".join(parts)


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("<", "&lt;")


def words() -> str:
    """Every name that colscan shows, by whose it is."""
    known = shown()
    parts = [WORDS_HEAD]
    for title, glosses in (("The trade's", TRADE), ("An open standard's", STANDARD)):
        rows = [f"| `{name}` | {gloss} | {_where(known, name)} |" for name, gloss in sorted(glosses.items())]
        parts.append(f"## {title}\n| word | | where |\n|---|---|---|\n" + "\n".join(rows) + "\n")
    ours = [
        f"| `{name}` | {', '.join(sorted(where))} |"
        for name, where in sorted(known.items())
        if _plain(name) not in TRADE | STANDARD
    ]
    return "\n".join([*parts, "## Our own\n| word | where |\n|---|---|\n" + "\n".join(ours) + "\n"])


def _where(known: dict[str, set[str]], name: str) -> str:
    return ", ".join(
        sorted({place for one, places in known.items() if _plain(one) == name for place in places})
    )


def _plain(name: str) -> str:
    return name.removeprefix("--").replace("-", "_") if name.startswith("--") else name


PAGES = {"formats.md": formats, "commands.md": commands, "errors.md": errors, "words.md": words}


@pytest.mark.parametrize("name", PAGES)
def test_made_pages_are_current(name: str) -> None:
    """The page in docs/ equals what the code says."""
    page, made = DOCS / name, PAGES[name]()
    if os.environ.get("COLSCAN_UPDATE_DOCS"):
        page.write_text(made, encoding="utf-8")
    assert page.read_text(encoding="utf-8") == made


def test_each_kind_of_error_is_told() -> None:
    """None of the errors' classes is left out but their base; messages and hints are sentences, not names."""
    told = all_errors()
    assert {one.kind for one in told} == set(KINDS.values()) - {ColscanError}
    assert [one for one in told if len(one.message) < 5] == []


def test_words_of_others_are_shown() -> None:
    """No word is explained that colscan doesn't show."""
    plain = {_plain(name) for name in shown()}
    assert sorted((TRADE | STANDARD).keys() - plain) == []
