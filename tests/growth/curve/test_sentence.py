"""A curve in words."""

from __future__ import annotations

from hornbeam import make_bag

from colscan.growth.curve import BagFit, Curve, Estimate, Measure, Shape, describe_fit
from colscan.growth.curve.model import OutlierPhoto


def _fit(**other: object) -> BagFit:
    fields = {
        "bag": make_bag("B1"),
        "measure": Measure.COVERAGE,
        "segment": 0,
        "began_days": 0.0,
        "points": 20,
        "model": Curve(shape=Shape.GOMPERTZ, asymptote=1.0, rate_per_day=0.11, lag_days=3.1),
        "half_days": Estimate(value=7.21, low=6.92, high=7.48),
        "ninety_days": Estimate(value=10.4, low=10.0, high=11.0),
        "lag_days": Estimate(value=3.1, low=2.6, high=3.6),
        "rate_per_day": Estimate(value=0.11, low=0.10, high=0.12),
    }
    return BagFit(**{**fields, **other})


def test_all_is_known() -> None:
    """Days and rate with their intervals, and the model that the rate is from."""
    assert describe_fit(_fit()) == (
        "half colonized on day 7.2 (6.9 to 7.5); 90 % on day 10.4 (10.0 to 11.0);"
        " leapt off on day 3.1 (2.6 to 3.6); greatest rate 11 points a day (10 to 12; Gompertz model)"
    )


def test_some_is_not() -> None:
    """What can't be said stands in its place."""
    why = "too early to say 90 %: not reached yet"
    assert describe_fit(_fit(ninety_days=None, lag_days=None, rate_per_day=None, why_not=why)) == (
        f"half colonized on day 7.2 (6.9 to 7.5); {why}"
    )


def test_photos_left_out() -> None:
    """Each is named with what it says and what the others say."""
    photo = OutlierPhoto(photo="d9.jpg", days=9.1, value=0.27, expected=0.72)
    assert describe_fit(_fit(outliers=(photo,))).endswith(
        ". Left out: d9.jpg (day 9.1: 27 %, the others say 72 %)"
    )


def test_since_it_was_shaken() -> None:
    """Days since spawning and since then."""
    text = describe_fit(_fit(segment=1, began_days=5.0, ninety_days=None, lag_days=None, rate_per_day=None))
    assert text == "half colonized on day 7.2 (6.9 to 7.5), 2.2 days since it was disturbed"


def test_of_density() -> None:
    """Half is of how white it will be."""
    assert describe_fit(_fit(measure=Measure.DENSITY)).startswith("half as white as in the end on day 7.2")
