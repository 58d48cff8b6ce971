"""Weights as people read them off a scale, metric and US side by side."""

from __future__ import annotations

from colscan.trial.amounts import Masses

OUNCES_UP_TO_LB = 5.0
"""Ounces to here, as on a scale beside the bag; pounds from here on."""


def say_weight(mass_g: float) -> str:
    """Return a weight in words.

    >>> say_weight(907.18474), say_weight(5443.10844)
    ('907.2 g = 32.00 oz', '5.443 kg = 12.000 lb')
    """
    mass = Masses.of(mass_g)
    metric = f"{mass.g:.1f} g" if mass.kg < 1.0 else f"{mass.kg:.3f} kg"
    return f"{metric} = {mass.oz:.2f} oz" if mass.lb < OUNCES_UP_TO_LB else f"{metric} = {mass.lb:.3f} lb"
