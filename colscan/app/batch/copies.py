"""Photos that were saved again: other bytes, the same picture. They are told, and not scored twice."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np

from colscan.app.batch.chain import reference
from colscan.app.batch.originals import find_original
from colscan.app.put import keep_bytes, kept_bytes
from colscan.errors import PhotoError
from colscan.ledger import times_of, words_of
from colscan.ledger.columns import TAKEN_AT_FROM, PhotoRow
from colscan.photo import PhotoRef
from colscan.photo.alike import SIDE, Glance, glance_at, is_alike, may_be_copies
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
    new = _glances(refs, max_megapixels)
    rows = {row.photo_sha256: row for row in _worth_a_look(refs, recorded)}
    known = [
        (reference(row, folder), glance)
        for row in rows.values()
        if (glance := _recorded_glance(folder, row, max_megapixels, keep=keep)) is not None
    ]
    copies: dict[str, str] = {}
    for ref in sorted(refs, key=_worth):
        glance = new.get(ref.sha256)
        if glance is None:
            continue
        first = next((k for k, g in known if may_be_copies(k, ref) and is_alike(g, glance)), None)
        if first is not None:
            copies[ref.sha256] = first.name
            continue
        known.append((ref, glance))
    return copies


def _worth_a_look(refs: Sequence[PhotoRef], recorded: Sequence[PhotoRow]) -> list[PhotoRow]:
    """Recorded photos that may be one picture with a new one: told by their dates, before any is opened."""
    sources = words_of(recorded, "taken_at_from")
    if not all(ref.taken_at_from.startswith("exif") for ref in refs):
        return list(recorded)
    # Copies may lose the offset: clocks that show the same minutes and seconds are looked at.
    quarters = {in_microseconds(ref.taken_at) % _QUARTER_HOUR for ref in refs}
    shown = (times_of(recorded) % _QUARTER_HOUR).tolist()
    return [
        recorded[place]
        for place, (source, at) in enumerate(zip(sources, shown, strict=True))
        if at in quarters or not source.startswith("exif")
    ]


def _worth(ref: PhotoRef) -> tuple[int, int, str]:
    return TAKEN_AT_FROM.index(ref.taken_at_from), -ref.path.stat().st_size, ref.sha256


def _glances(refs: Iterable[PhotoRef], max_megapixels: float) -> dict[str, Glance]:
    found = {}
    for ref in refs:
        # What can't be read is told when it is measured.
        with suppress(PhotoError):
            found[ref.sha256] = glance_at(ref.path, max_megapixels=max_megapixels)
    return found


def _recorded_glance(folder: Path, row: PhotoRow, max_megapixels: float, *, keep: bool) -> Glance | None:
    kept = _load(folder, row.photo_sha256)
    original = None if kept else find_original(folder, row)
    if original is None:
        return kept
    made = _glances([reference(row, original)], max_megapixels).get(row.photo_sha256)
    if made is not None and keep:
        _keep(folder, row.photo_sha256, made)
    return made


def _file(folder: Path, sha256: str) -> Path:
    return folder / FOLDER / f"{sha256[:16]}.npz"


def _load(folder: Path, sha256: str) -> Glance | None:
    data = kept_bytes(_file(folder, sha256))
    if data is None:
        return None
    with np.load(io.BytesIO(data), allow_pickle=False) as kept:
        cells = kept["cells"]
        if cells.shape != (SIDE, SIDE, 3) or cells.dtype != np.uint8:  # as an earlier version kept it
            return None
        return Glance(cells=cells, shape=float(kept["shape"]))


def _keep(folder: Path, sha256: str, glance: Glance) -> None:
    data = io.BytesIO()
    np.savez(data, cells=glance.cells, shape=np.array(glance.shape))
    keep_bytes(_file(folder, sha256), data.getvalue())
