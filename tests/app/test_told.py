"""What a scan says of first photos."""

from __future__ import annotations

from hornbeam import photo, score

from colscan.app.batch.outcomes import Recorded
from colscan.app.told import tell_first
from colscan.flags import Flag
from colscan.ledger.columns import ScoreRow


def _recorded(day: float, *scores: ScoreRow) -> Recorded:
    """A photo that is a usable first one of all its bags."""
    return Recorded(
        photo=photo(day), scores=scores, suspects=(), found={}, missing=(), remarks=(),
        first={row.bag: () for row in scores}, too_late=frozenset(),
    )  # fmt: skip


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
