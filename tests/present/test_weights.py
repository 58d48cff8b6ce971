"""Weights in words, in both units."""

from __future__ import annotations

import pytest

from colscan.present.weights import say_weight


@pytest.mark.parametrize(
    ("mass_g", "said"),
    [
        (22.679618, "22.7 g = 0.80 oz"),  # 0.8 x 28.349523
        (999.9, "999.9 g = 35.27 oz"),
        (2030.0, "2.030 kg = 71.61 oz"),
        (2267.96185, "2.268 kg = 80.00 oz"),  # 5 x 453.59237
        (4535.9237, "4.536 kg = 10.000 lb"),
    ],
)
def test_masses_are_said_in_both_units(mass_g: float, said: str) -> None:
    """Grams or kilograms, and ounces up to 10 lb."""
    assert say_weight(mass_g) == said
