"""What is said of the dose: where it lies against the levels tried, and what bounds it."""

from __future__ import annotations

import pytest
from answers import level_risk

from colscan.growth.risk.limits import Rule
from colscan.growth.risk.model import Dose
from colscan.growth.risk.sentences import say_dose

RULE = Rule(accepted=0.2, correlation=0.1, clusters="heat run")


@pytest.mark.parametrize(
    ("pcts", "dose", "said"),
    [
        ((0, 10, 20), (11.1, 4.0, 30.5), "at 11.1 %; 90 % interval from 4.0 to 30.5 %."),
        ((0, 10, 20), (11.1, 4.0, None), "at 11.1 %; 90 % interval from 4.0 % on, with no upper end."),
        ((0, 10, 20), (11.1, None, None), "at 11.1 %; these bags rule out no level."),
        ((0, 10, 20), (11.1, -3.0, None), "at 11.1 %; these bags rule out no level."),
        (
            (0, 10, 20),
            (25.9, 12.0, None),
            "beyond 20 %, the highest level tried (about 25.9 %); 90 % interval from 12.0 % on, with no upper"
            " end.",
        ),
        (
            (0, 10, 20),
            (173.4, 12.0, None),
            "beyond 20 %, the highest level tried; 90 % interval from 12.0 % on, with no upper end.",
        ),
        ((0, 10), (-4.0, None, 6.0), "already without supplement; 90 % interval from 0.0 to 6.0 %."),
        ((0, 10), (-4.0, None, -1.0), "already without supplement; no level is in its 90 % interval."),
        (
            (5, 10),
            (2.0, None, 6.0),
            "already below 5 %, the lowest level tried; 90 % interval from 0.0 to 6.0 %.",
        ),
    ],
)
def test_where_the_dose_lies(pcts, dose, said) -> None:
    """A figure only near the levels tried, and no interval that holds every level."""
    levels = [level_risk("bran" if pct else "none", pct) for pct in pcts]
    found = Dose(pct=dose[0], low_pct=dose[1], high_pct=dose[2], slope=0.1)
    assert say_dose(found, levels, RULE) == f"A curve through all levels reaches 20 % lost {said}"
