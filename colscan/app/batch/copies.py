"""Photos that were saved again: other bytes, the same picture. They are told, and not scored twice."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path

import numpy as np

from colscan.app.batch.chain import reference
from colscan.app.batch.originals import find_original
from colscan.app.put import keep_arrays, kept_arrays
from colscan.errors import PhotoError
from colscan.ledger import rows_at, times_of, words_of
from colscan.ledger.columns import TAKEN_AT_FROM, PhotoRow
from colscan.photo import PhotoRef
from colscan.photo.alike import Glance, glance_at, is_alike, may_be_copies
from colscan.units import in_microseconds

FOLDER = Path("cache") / "glances"
_QUARTER_HOUR = 15 * 60 * 1_000_000
"""Microseconds; offsets from UTC are whole quarters of an hour."""


def find_copies(
    folder: Path,
    refs: Sequence[PhotoRef],
    recorded: Sequence[PhotoRow],
    *,
    max_megapixels: float,
    keep: bool,
) -> dict[str, str]:
    """Which of some new photos are copies, by SHA-256, and the name of the photo that each is a copy of.

    Of copies among the new photos the one that knows its time best stays, then the largest.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    refs : sequence of PhotoRef
        Photos about to be scanned.
    recorded : sequence of PhotoRow
        Photos scanned before; those whose original is gone are passed over, if they aren't in the cache.
    max_megapixels : float
        Larger photos are not looked at.
    keep : bool
        Whether the cache may be written.
    """
    rows = {row.photo_sha256: row for row in _worth_a_look(refs, recorded)}
    known = [reference(row, folder) for row in rows.values()]

    @cache
    def glance(sha256: str) -> Glance | None:
        """Only looked at where what files say of themselves doesn't tell them apart: that decodes them."""
        if sha256 in rows:
            return _recorded_glance(folder, rows[sha256], max_megapixels, keep=keep)
        return _glance(new[sha256], max_megapixels)

    def is_copy(ref: PhotoRef, of: PhotoRef) -> bool:
        if not may_be_copies(of, ref):
            return False
        one, other = glance(of.sha256), glance(ref.sha256)
        return one is not None and other is not None and is_alike(one, other)

    new = {ref.sha256: ref for ref in refs}
    copies: dict[str, str] = {}
    for ref in sorted(refs, key=_worth):
        first = next((k for k in known if is_copy(ref, k)), None)
        if first is not None:
            copies[ref.sha256] = first.name
        else:
            known.append(ref)
    return copies


def _worth_a_look(refs: Sequence[PhotoRef], recorded: Sequence[PhotoRow]) -> list[PhotoRow]:
    """Recorded photos that may be one picture with a new one: told by their dates, before any is opened."""
    sources = words_of(recorded, "taken_at_from")
    if not all(ref.taken_at_from.startswith("exif") for ref in refs):
        return list(recorded)
    # Copies may lose the offset: clocks that show the same minutes and seconds are looked at.
    quarters = {in_microseconds(ref.taken_at) % _QUARTER_HOUR for ref in refs}
    shown = (times_of(recorded) % _QUARTER_HOUR).tolist()
    places = [
        place
        for place, (source, at) in enumerate(zip(sources, shown, strict=True))
        if at in quarters or not source.startswith("exif")
    ]
    return rows_at(recorded, places)


def _worth(ref: PhotoRef) -> tuple[int, int, str]:
    return TAKEN_AT_FROM.index(ref.taken_at_from), -ref.path.stat().st_size, ref.sha256


def _glance(ref: PhotoRef, max_megapixels: float) -> Glance | None:
    # What can't be read is told when it is measured.
    with suppress(PhotoError):
        return glance_at(ref.path, max_megapixels=max_megapixels)
    return None


def _recorded_glance(folder: Path, row: PhotoRow, max_megapixels: float, *, keep: bool) -> Glance | None:
    kept = _load(folder, row.photo_sha256)
    original = None if kept else find_original(folder, row)
    if original is None:
        return kept
    made = _glance(reference(row, original), max_megapixels)
    if made is not None and keep:
        _keep(folder, row.photo_sha256, made)
    return made


def _file(folder: Path, sha256: str) -> Path:
    return folder / FOLDER / f"{sha256[:16]}.bin"


def _load(folder: Path, sha256: str) -> Glance | None:
    kept = kept_arrays(_file(folder, sha256))
    return Glance(cells=kept["cells"], shape=float(kept["shape"])) if kept else None


def _keep(folder: Path, sha256: str, glance: Glance) -> None:
    keep_arrays(_file(folder, sha256), {"cells": glance.cells, "shape": np.array(glance.shape)})
