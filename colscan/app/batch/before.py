"""What was recorded before photos are scanned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from colscan.ledger import Ledger
from colscan.ledger.columns import SuspectRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What was recorded before photos are scanned, as far as it bears on them.

    Parameters
    ----------
    ledger : Ledger
        What is remembered of the bags.
    near : Ledger
        Bags that it has well from the same minutes as a new photo aren't scored again.
    lenders : tuple of SuspectRow
        Patches as another method has them: what is at their places keeps their names.
    shelves : mapping of str to str
        By a photo's hash, the shelf that was said of it.
    """

    ledger: Ledger
    near: Ledger
    lenders: tuple[SuspectRow, ...] = ()
    shelves: Mapping[str, str] = field(default_factory=dict)
