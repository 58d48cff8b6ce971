"""Where each key of a TOML text stands, so that a message can name the line.

`tomllib` gives values without their places; this finds the places. The text has been
read by `tomllib` before, so the scanner need not judge it, only follow it.
"""

from __future__ import annotations

import re
import tomllib

KeyPath = tuple[str | int, ...]
"""Names from the top, with the index of an array's element: ``("strain", 0, "code")``."""

_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"""{1,3}(?!")' r"|'''.*?'''{1,3}(?!')" r'|"(?:\\.|[^"\\\n])*"' r"|'[^'\n]*'",
    re.DOTALL,
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE = re.compile(r"[^,\]}\n#]+")


def find_key_lines(text: str) -> dict[KeyPath, int]:
    r"""Return the line, from 1, on which each key, table and array element first stands.

    Parameters
    ----------
    text : str
        A TOML document that `tomllib` accepts.

    Examples
    --------
    >>> find_key_lines('name = "x"\n[[strain]]\ncode = "PO-3"\n')[("strain", 0, "code")]
    3
    """
    scanner = _Scanner(text.replace("\r\n", "\n"))
    scanner.scan()
    return scanner.lines


class _Scanner:
    """Walks over the text once; `at` is where it stands."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self.last_index: dict[KeyPath, int] = {}

    def scan(self) -> None:
        table: KeyPath = ()
        self.skip_blank()
        while self.at < len(self.text):
            if self.text.startswith("[", self.at):
                table = self.read_header()
            else:
                self.read_pair(table)
            self.skip_blank()

    def skip_blank(self) -> None:
        self.skip(_BLANK)

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            return ""
        self.at = match.end()
        return match.group()

    def note(self, path: KeyPath) -> None:
        self.lines.setdefault(path, self.text.count("\n", 0, self.at) + 1)

    def read_header(self) -> KeyPath:
        """Return the path of the table that a ``[header]`` or ``[[header]]`` opens."""
        brackets = 2 if self.text.startswith("[[", self.at) else 1
        self.at += brackets
        names = self.read_names()
        self.skip_blank()
        path: KeyPath = ()
        for name in names[:-1]:
            path = self.into_last((*path, name))
        path = (*path, names[-1])
        self.note(path)
        if brackets == 2:
            self.last_index[path] = self.last_index.get(path, -1) + 1
        path = self.into_last(path)
        self.note(path)
        self.at += brackets
        return path

    def into_last(self, path: KeyPath) -> KeyPath:
        # A header that names an array of tables means its latest element.
        self.note(path)
        return (*path, self.last_index[path]) if path in self.last_index else path

    def read_names(self) -> list[str]:
        """Return the parts of a dotted key."""
        names = []
        while True:
            self.skip_blank()
            quoted = self.skip(_STRING)
            names.append(tomllib.loads(f"name = {quoted}")["name"] if quoted else self.skip(_BARE_KEY))
            here = self.at
            self.skip_blank()
            if not self.text.startswith(".", self.at):
                self.at = here
                return names
            self.at += 1

    def read_pair(self, table: KeyPath) -> None:
        path = table
        for name in self.read_names():
            path = (*path, name)
            self.note(path)
        self.skip_blank()
        self.at += len("=")
        self.skip_blank()
        self.read_value(path)

    def read_value(self, path: KeyPath) -> None:
        if self.text.startswith("[", self.at):
            self.read_items(path, "]")
        elif self.text.startswith("{", self.at):
            self.read_items(path, "}")
        elif not self.skip(_STRING):
            self.skip(_BARE_VALUE)

    def read_items(self, path: KeyPath, closing: str) -> None:
        """Walk over an array, whose items have an index, or an inline table, whose items are pairs."""
        self.at += 1
        index = 0
        self.skip_blank()
        while not self.text.startswith(closing, self.at):
            if closing == "]":
                self.note((*path, index))
                self.read_value((*path, index))
            else:
                self.read_pair(path)
            index += 1
            self.skip_blank()
            if self.text.startswith(",", self.at):
                self.at += 1
                self.skip_blank()
        self.at += 1
