"""What a scan says of photos that another one would mend, and of first photos."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta

import pytest
from hornbeam import photo, score

from colscan.app.batch.outcomes import Recorded
from colscan.app.told import tell_first, tell_recorded
from colscan.flags import Flag
from colscan.ledger.columns import ScoreRow


def _recorded(day: float, *scores: ScoreRow) -> Recorded:
    """A photo that is a usable first one of all its bags."""
    return Recorded(
        photo=photo(day), scores=scores, suspects=(), found={}, missing=(), remarks=(),
        first={row.bag: () for row in scores}, too_late=frozenset(),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("hours", "line"),
    [
        (0, "again: B1 - blurred. Photograph it again: hold still, tap on the bag to focus."),
        (24, "again: B1 - blurred. Photograph it again: hold still, tap on the bag to focus."),
        (25, "note: B1 - blurred. The bag is out of focus or moved."),
        (-30, "again: B1 - blurred. Photograph it again: hold still, tap on the bag to focus."),
    ],
)
def test_only_a_photo_of_the_day_can_be_taken_again(hours: float, line: str) -> None:
    """Of an old one what is wrong is said all the same; one dated ahead was taken a moment ago."""
    shown = _recorded(2, score("B1", 2, 0, flags=(Flag.BLURRED,)), score("B2", 2, 0))
    row = replace(shown.photo, scanned_at=shown.photo.taken_at + timedelta(hours=hours))
    told = list(tell_recorded(replace(shown, photo=row), UTC))
    assert [said for said in told if "B1" in said] == [line]


def test_a_first_photo_to_take_again_is_not_called_good() -> None:
    """It will do, with the doubt; a bag that another first photo shows without one has a good one."""
    clipped, blurred = (Flag.REFERENCE_CLIPPED,), (Flag.BLURRED,)
    first = _recorded(
        0, score("B1", 0, 0), score("B2", 0, 0, flags=clipped), score("B3", 0, 0, flags=blurred)
    )
    second = _recorded(1, score("B3", 1, 0, flags=(Flag.OTHER_CAMERA,)))
    assert list(tell_first([first, second])) == [
        "first photos are good: B1, B3",
        "first photos will do, with the doubt said above: B2",
    ]
