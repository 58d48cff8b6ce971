"""A bag's rows sorted out: what alarms is the same for one patch and for all of them."""

from __future__ import annotations

import pytest
from hornbeam import make_bag, make_trial, suspect, verdict

from colscan.flags import Flag
from colscan.growth.records import is_alarm, records_of
from colscan.ledger import Ledger


@pytest.mark.parametrize(
    ("call", "expected", "alarm"),
    [
        (None, False, True),
        (None, True, False),
        ("harmless", False, False),
        ("harmless", True, False),
        ("unsure", True, True),
        ("contaminated", True, True),
    ],
)
def test_what_alarms(call: str | None, expected: bool, alarm: bool) -> None:
    """An expected look doesn't, until somebody doubts it; what is called harmless doesn't."""
    patch = suspect("B1", 6, flags=(Flag.EXPECTED,) if expected else ())
    said = (verdict("B1", 8, call, patch="p1"),) if call else ()
    (record,) = records_of(make_trial(make_bag("B1")), Ledger(suspects=(patch,), verdicts=said))
    assert is_alarm(patch, record.standing_calls) is alarm
    assert record.patches.alarms == [alarm]
