"""An ingredient as it was weighed."""

import pytest

from colscan.errors import TrialError
from colscan.trial.recipe_text import parse_weighed


@pytest.mark.parametrize(
    ("text", "name", "weight_g", "moisture", "lot"),
    [
        ("pellets, 2.03 kg, moisture 7%, lot A12", "pellets", 2030.0, 0.07, "A12"),
        ("Lot 5 bran, LOT b 7, 1 lb", "Lot 5 bran", 453.59237, None, "b 7"),
        ("bran, 1 l, density 0.4", "bran", 400.0, None, None),
    ],
)
def test_weighed(text: str, name: str, weight_g: float, moisture: float | None, lot: str | None) -> None:
    """Name first, the others in any order."""
    ingredient, found = parse_weighed(text)
    assert (ingredient.name, ingredient.moisture, found) == (name, moisture, lot)
    assert ingredient.weight_g == pytest.approx(weight_g, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (", 2 kg", "has no name"),
        ("pellets 2 kg", "pellets 2 kg: no amount is given"),
        ("pellets, -2 kg", "'-2 kg' is no amount"),
        ("pellets, 2,03 kg", "'03 kg' is not understood"),
        ("pellets, 2 kg, moisture 0.07", "is less than 1 %"),
        ("pellets, 2 kg, moisture 107", "is no percentage"),
        ("pellets, 2 kg, lot", "'lot' is not understood"),
        ("pellets, 2 kg, lot A, lot B", "more or other than a weight"),
        ("pellets, 5% of dry", "more or other than a weight"),
        ("pellets, 2 kg, C 50%, N 0.1%, source a table", "more or other than a weight"),
        ("pellets, 2 qt", "which quart"),
        ("pellets, 1 liquid qt", "no density is given"),
        ("pellets, 1001 kg", "can't be an amount"),
    ],
)
def test_weighed_refused(text: str, said: str) -> None:
    """What a scale doesn't show, or nobody can have weighed."""
    with pytest.raises(TrialError, match=said):
        parse_weighed(text)
