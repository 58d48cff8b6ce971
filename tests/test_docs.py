"""The pages of docs/ that are made from the code say what the code says."""

import dataclasses
import os
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

import pytest
from formats_parts import (
    DEFINITIONS,
    ENVIRONMENT,
    EXITS,
    INPUTS,
    MANGLED,
    MASKS,
    OTHER_FILES,
    WAITING_FILES,
    codes,
    exits,
)
from told_errors import KINDS, VALUE, all_errors
from words import STANDARD, TRADE, shown

from colscan.app.cli.main import COMMANDS, main
from colscan.errors import ColscanError, ExitCode
from colscan.flags import RETAKE, Flag
from colscan.ledger.columns import LEDGER_TABLES
from colscan.tables import Column, Row, columns_of, required_columns
from colscan.trial.bagcodes import explain_mangling
from colscan.trial.keys import LIMITS, RECIPE, SECTIONS, SHELF, STRAIN, TOP, TREATMENT, Section
from colscan.trial.model import Bag, Limits, RecipePlan, Shelf, Strain, Treatment, Trial
from colscan.trial.shelfmap import MAP_FILE, PLACE_KEYS, SHELF_KEYS
from colscan.trial.writing import format_value

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
PLANNED: tuple[tuple[Section, type], ...] = (
    (TOP, Trial), (LIMITS, Limits), (RECIPE, RecipePlan), (STRAIN, Strain), (TREATMENT, Treatment),
    (SHELF, Shelf),
)  # fmt: skip
"""Each section of trial.toml with the class that holds its defaults."""


def formats() -> str:
    """Files, columns, words, flags and exit codes, as they are declared."""
    tables = [_table(row_type) for row_type in LEDGER_TABLES]
    flags = "\n".join(
        f"| `{flag}` | {flag.meaning} | {flag.remedy} | {_yes(flag in RETAKE)} |" for flag in Flag
    )
    return "\n".join(
        [
            HEAD,
            _plan(),
            _table(Bag),
            codes(),
            _map(),
            *tables,
            MASKS,
            WAITING_FILES,
            OTHER_FILES,
            DEFINITIONS,
            f"## Flags\n| flag | meaning | what to do | photograph again |\n|---|---|---|---|\n{flags}\n",
            exits(),
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
        f"| {section.header if section.name else ''} | `{name}` | {_yes(key.required)} |"
        f" {_default(holder, name)} | {key.meaning} |"
        for section, holder in PLANNED
        for name, key in section.keys.items()
    ]
    head = "An unknown key is refused with its line. Each limit has a default and can be changed."
    columns = "| table | key | required | default | meaning |\n|---|---|---|---|---|"
    return "\n".join(["## trial.toml", head, "", columns, *rows, ""])


def _default(holder: type, name: str) -> str:
    default = next(field.default for field in dataclasses.fields(holder) if field.name == name)
    is_said = default is not dataclasses.MISSING and default not in (None, "", ())
    return f"`{format_value(default)}`" if is_said else ""


def _map() -> str:
    keys = (("[[shelf]]", SHELF_KEYS), ("[[shelf.place]]", PLACE_KEYS))
    rows = [f"| {table} | `{name}` | {meaning} |" for table, own in keys for name, meaning in own.items()]
    head = (
        "Where each bag without a card stands, by `colscan map`, shelf by shelf. All but `place` are needed."
    )
    return "\n".join([f"## {MAP_FILE}", head, "", "| table | key | meaning |\n|---|---|---|", *rows, ""])


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
    return "\n".join([f"# Commands\n\n{MADE}\n\n```\n{_help()}```\n", *shown, ENVIRONMENT])


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


def test_formats_page_leaves_nothing_out() -> None:
    """Each section of trial.toml, each code that is refused and each way to end stands on the page."""
    assert [section for section, _ in PLANNED] == [TOP, *SECTIONS]
    assert [code for code in MANGLED if explain_mangling(code) is None] == []
    assert {code for _, code, _ in INPUTS} == set(EXITS) - {ExitCode.CRASH}
