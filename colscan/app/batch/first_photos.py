"""Which photos baselines come from: found by column, as a scan asks it of a whole trial before each photo."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from colscan.app.batch.baselines import EARLY_DAYS
from colscan.app.batch.chain import reference
from colscan.app.batch.originals import names_by_stem
from colscan.flags import Flag
from colscan.ledger import Ledger, by_bag, numbers_of, rows_at, times_of, words_of
from colscan.ledger.columns import ScoreRow, original_stem
from colscan.photo import PhotoRef
from colscan.trial.model import Bag
from colscan.units import HOURS_PER_DAY, days_since, in_microseconds

_GUESSED = {Flag.NO_BASELINE, Flag.LATE_BASELINE}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Late:
    """The photo that a bag without a good early score begins with: when (microseconds since 1970), which."""

    at: int
    sha256: str


def first_photos(
    folder: Path, bags: Collection[Bag], ledger: Ledger, refs: Sequence[PhotoRef]
) -> list[PhotoRef]:
    """The photos that baselines come from: those of the bags' first hours, else each bag's earliest.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    bags : collection of Bag
        Its bags.
    ledger : Ledger
        What was recorded; photos whose original is gone are left out.
    refs : sequence of PhotoRef
        Photos about to be scanned.
    """
    shas, times = words_of(ledger.photos, "photo_sha256"), times_of(ledger.photos)
    spawned = np.unique([in_microseconds(bag.inoculated_at) for bag in bags])
    late = _late_begun(bags, ledger)
    later = {one.sha256 for one in late if one is not None}
    early = _soon_after(spawned, times)
    needed = [place for place, sha in enumerate(shas) if early[place] or sha in later]
    new_times = np.array([in_microseconds(ref.taken_at) for ref in refs], np.int64)
    before = max((np.inf if one is None else one.at for one in late), default=-np.inf)
    wanted = _soon_after(spawned, new_times) | (new_times < before)
    chosen = {ref.sha256: ref for ref, is_wanted in zip(refs, wanted.tolist(), strict=True) if is_wanted}
    names = names_by_stem(folder) if needed else {}
    for row in rows_at(ledger.photos, needed):
        name = names.get(original_stem(row.taken_at, row.photo_sha256))
        if name is not None:
            chosen[row.photo_sha256] = reference(row, folder / "photos" / name)
    return list(chosen.values())


def _soon_after(spawned: NDArray[np.int64], times: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether each time is within the first hours of a bag; `spawned` rises."""
    if not spawned.size:
        return np.zeros(len(times), bool)
    last = np.searchsorted(spawned, times, side="right") - 1  # the nearest before it
    days = (times - spawned[last]) / 1e6 / 3600.0 / HOURS_PER_DAY
    return np.asarray((last >= 0) & (days <= EARLY_DAYS))


def _late_begun(bags: Collection[Bag], ledger: Ledger) -> list[_Late | None]:
    """Of each bag without a good early score its first measured one after that; None for none yet."""
    scores = by_bag(ledger.scores)
    begun = []
    for bag in bags:
        rows = scores.get(bag.bag, ())
        days = days_since(bag.inoculated_at, times_of(rows))
        measured = ~np.isnan(numbers_of(rows, "coverage_pct"))
        early = (days >= 0.0) & (days <= EARLY_DAYS)
        if not _has_good(rows, np.flatnonzero(measured & early)):
            begun.append(_first_of(rows, np.flatnonzero(measured & ~early)))
    return begun


def _has_good(rows: Sequence[ScoreRow], early: NDArray[np.intp]) -> bool:
    if not early.size:
        return False
    flags = words_of(rows, "flags")
    return any(not _GUESSED & set(flags[place]) for place in early)


def _first_of(rows: Sequence[ScoreRow], late: NDArray[np.intp]) -> _Late | None:
    if not late.size:
        return None
    place = int(late[0])
    return _Late(at=int(times_of(rows)[place]), sha256=words_of(rows, "photo_sha256")[place])
