"""What became of a photo that was given to a scan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from colscan.errors import ColscanError
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.score.model import Score


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """A photo's new rows, what they were made from (by bag), and what its taker should know at once.

    `first` has, for the bags of which it is a first photo, why it should be taken again; nothing if it
    needn't be. Of those in `too_late` no first photo can be taken any more.
    """

    photo: PhotoRow
    scores: tuple[ScoreRow, ...]
    suspects: tuple[SuspectRow, ...]
    found: Mapping[str, Score]
    missing: tuple[str, ...]
    remarks: tuple[str, ...]
    first: Mapping[str, tuple[str, ...]]
    too_late: frozenset[str]
    overlay: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlreadyKnown:
    """A photo whose bytes were recorded before, or are those of another photo of this scan (its `twin`).

    `copy_of` names the photo whose picture it holds in other bytes, saved again. `put_back` is its kept
    original where that was gone and is there again.
    """

    name: str
    twin: str | None = None
    copy_of: str | None = None
    put_back: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A photo of which nothing was recorded, and why."""

    name: str
    error: ColscanError


Outcome = Recorded | AlreadyKnown | Rejected
