"""Words that readers stumble over, and texts changed by them."""

from __future__ import annotations

from random import Random

NUMBERS = (
    "0", "-0", "-1", "1", "2", "1e308", "-1e308", "1e-320", "1e999", "nan", "inf", "-inf", "0.1", "100",
    "101",
    "4294967296", "9223372036854775807", "9" * 18, "9" * 5000, "1_000", "0x10", "١٢", "½", "1,5", " 3 ",
)  # fmt: skip
TIMES = (
    "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "2026-03-08T02:30:00",
    "2026-03-02T06:00:00-05:00",
    "2026-03-04T06:00:00+23:59", "2026-03-04", "2026-13-41T25:61:61Z", "1969-12-31T23:59:59Z",
    "2026-03-04T06:00:00.123456+00:00:01", "20260304T060000Z", "2026-W10-3T10:00Z", "2026-11-01T01:30",
)  # fmt: skip
TEXTS = (
    "", " ", "\0", "\ufeff", "'", "''=1", "=1+1", '"', '""', "\r", "\n", "\r\n", ",", ";", "\t", "\u2028",
    "\u202e",
    "\ud7ff", "😀", "..", "../x", "/x", "C:\\x", "CON", "NUL.jpg", "x" * 255, "x" * 300, "%s%n", "{0}",
    "${x}", "**",
    "<b>", "[[[[", "é" * 200, "none", "yes", "B01", "B02", "p1", "../../trial.toml", "a/b", "~", "-",
    "--help",
)  # fmt: skip
WORDS = (*NUMBERS, *TIMES, *TEXTS)


def spoil(text: str, rng: Random) -> str:
    """Return a text with a word put in place of it, into it, or with a part of it gone or doubled."""
    at, to = sorted((rng.randint(0, len(text)), rng.randint(0, len(text))))
    word = rng.choice(WORDS)
    return rng.choice(
        (word, text[:at] + word + text[at:], text[:at] + text[to:], text[:to] + text[at:], text * 2)
    )


def spoil_lines(text: str, rng: Random) -> str:
    """Return a text with one of its lines gone, doubled, moved, or another line in its place."""
    lines = text.splitlines(keepends=True) or [""]
    at, to = rng.randrange(len(lines)), rng.randrange(len(lines))
    how = rng.randrange(5)
    if how == 0:
        del lines[at]
    elif how == 1:
        lines.insert(to, lines[at])
    elif how == 2:
        lines.insert(to, lines.pop(at))
    elif how == 3:
        lines[at] = spoil(lines[at], rng)
    else:
        lines = lines[:at]
    return "".join(lines)


def decode(raw: bytes) -> str:
    """Return bytes as text whatever they are; `encode` gives the very same bytes."""
    return raw.decode("utf-8", "surrogateescape")


def encode(text: str) -> bytes:
    """Return the bytes of a text, halves of characters too."""
    return text.encode("utf-8", "surrogateescape" if _from_bytes(text) else "surrogatepass")


def _from_bytes(text: str) -> bool:
    return not any("\ud800" <= letter <= "\udfff" and not "\udc80" <= letter <= "\udcff" for letter in text)
