"""What the ledger remembers of a bag when its next photo comes."""

from __future__ import annotations

from dataclasses import replace

from hornbeam import at_day, make_bag, make_trial, suspect

from colscan.app.batch.memory import Recollection
from colscan.ledger import Ledger


def test_patches_are_named_on_after_the_last() -> None:
    """Names written by hand that are no number, or none that anybody counts to, are passed over."""
    bag = make_bag("B1")
    rows = [suspect("B1", day, "green", 40.0) for day in (1, 2, 3, 4)]
    names = ("p2", "p7", "patch", "p" + "9" * 5000)
    rows = [replace(row, patch=name) for row, name in zip(rows, names, strict=True)]
    memory = Recollection(make_trial(bag), Ledger(suspects=tuple(rows))).recall(bag, at_day(5))
    assert memory.patches_named == 7
    assert [patch.patch for patch in memory.patches] == list(names)
