"""What a phone sends, made safe to keep: its name, its kind by its bytes, its time, its length."""

from __future__ import annotations

import hashlib
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from colscan.app.times import past_time
from colscan.errors import PhotoError, TrialError, UndatedError
from colscan.trial.model import Trial

LONGEST_NAME_BYTES = 255
"""As long as a file's name may be."""
NAMELESS = "photo"
_PIECE_BYTES = 256 * 1024
_HEAD_BYTES = 32
# ISO base media files begin with a box "ftyp" that names their brands; these are HEIC's (ISO/IEC 23008-12).
_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """A photo's bytes in a file of ours."""

    path: Path
    sha256: str


def receive(stream: BinaryIO, free_path: Callable[[str], Path]) -> Arrival:
    """Return what a request's body held, written to a file piece by piece.

    Parameters
    ----------
    stream : binary file
        The body; its length is limited by who opened it.
    free_path : callable
        Gives a path of ours for a suffix.

    Raises
    ------
    PhotoError
        When it isn't a JPEG, PNG or HEIC by its first bytes; nothing is written then.
    """
    head = _read_head(stream)
    path = free_path(_suffix_of(head))
    digest = hashlib.sha256(head)
    try:
        with path.open("xb") as file:
            file.write(head)
            while piece := stream.read(_PIECE_BYTES):
                digest.update(piece)
                file.write(piece)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return Arrival(path=path, sha256=digest.hexdigest())


def _read_head(stream: BinaryIO) -> bytes:
    head = b""
    while len(head) < _HEAD_BYTES and (piece := stream.read(_HEAD_BYTES - len(head))):
        head += piece
    return head


def _suffix_of(head: bytes) -> str:
    """The suffix of a picture's kind, by its bytes alone: what it is called or said to be counts nothing."""
    if head.startswith(b"\xff\xd8\xff"):
        return ".jpg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return ".png"
    if head[4:8] == b"ftyp" and head[8:12] in _HEIC_BRANDS:
        return ".heic"
    msg = "It is not a JPEG, PNG or HEIC photo." if head else "It is empty."
    raise PhotoError(msg, "Choose the photo itself, as the camera kept it.")


def clean_name(text: str) -> str:
    """Return a photo's name as it may be recorded: no folders, nothing unseen, no longer than a file's name.

    Parameters
    ----------
    text : str
        As the phone gave it.
    """
    base = text.replace("\\", "/").rpartition("/")[2]
    # Categories C*: control and format characters, halves of pairs, private ones.
    seen = "".join(letter for letter in base if unicodedata.category(letter)[0] != "C").strip()
    stem, dot, suffix = seen.rpartition(".")
    if not seen.strip("."):
        return NAMELESS
    room = LONGEST_NAME_BYTES - len((dot + suffix).encode())
    if stem and room > 0:
        return _cut(stem, room) + dot + suffix
    return _cut(seen, LONGEST_NAME_BYTES)


def _cut(text: str, most_bytes: int) -> str:
    return text.encode()[:most_bytes].decode(errors="ignore")


def free_name(name: str, taken: set[str]) -> str:
    """Return a name that no photo scanned together has: a phone may call all of its own the same."""
    stem, dot, suffix = name.rpartition(".") if "." in name[1:] else (name, "", "")
    number, free = 1, name
    while free in taken:
        number += 1
        mark = f" ({number})"
        free = _cut(stem, LONGEST_NAME_BYTES - len((mark + dot + suffix).encode())) + mark + dot + suffix
    return free


def said_time(text: str | None, trial: Trial) -> datetime | None:
    """Return when a photo was taken as a person says, in the trial's zone; None when nobody did.

    Raises
    ------
    UndatedError
        When it is no time, or more than a day ahead.
    """
    try:
        return past_time(text, trial, "When") if text else None
    except TrialError as error:
        raise UndatedError(error.message, error.hint) from error
