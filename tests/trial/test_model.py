"""What a plan says of itself."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hornbeam import START, make_trial

END = START + timedelta(days=20)


@pytest.mark.parametrize(
    ("ends", "day", "interim"),
    [
        ({}, 100, True),
        ({"planned_end": END}, 19, True),
        ({"planned_end": END}, 20, False),
        ({"planned_end": END, "ended_at": START + timedelta(days=9)}, 10, False),
        ({"ended_at": END}, 19, True),
    ],
)
def test_results_are_interim_until_the_end(ends: dict, day: int, interim: bool) -> None:
    """Until the planned end or an earlier one; without either for ever."""
    assert make_trial(**ends).is_interim(START + timedelta(days=day)) is interim
