"""Weights as people read them off a scale, metric and US side by side."""

from __future__ import annotations

from colscan.trial.amounts import Masses

OUNCES_UP_TO_LB = 10.0
"""Ounces to here, what a scale beside the bags holds, so that bags compare; pounds from here on."""


def say_weight(mass_g: float, *, between: str = " = ") -> str:
    """Return a weight in words, with what stands between its two units.

    >>> say_weight(907.18474), say_weight(5443.10844)
    ('907.2 g = 32.00 oz', '5.443 kg = 12.000 lb')
    """
    mass = Masses.of(mass_g)
    metric = f"{mass.g:.1f} g" if mass.kg < 1.0 else f"{mass.kg:.3f} kg"
    us = f"{mass.oz:.2f} oz" if mass.lb < OUNCES_UP_TO_LB else f"{mass.lb:.3f} lb"
    return metric + between + us
