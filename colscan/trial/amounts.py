"""Weights, volumes and temperatures as growers write them, in exact units.

The pound, ounce, inch and US gallon are exact by definition (NIST Handbook 44, Appendix C).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from colscan.errors import TrialError
from colscan.units import to_celsius, to_fahrenheit

GRAMS = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
"""Grams in each unit of weight; an oz is always a weight here."""
LITRES = {"ml": 0.001, "l": 1.0, "liquid qt": 0.946352946, "dry qt": 1.101220942715}
"""Litres in each unit of volume: a US liquid quart is 57.75 cubic inches, a dry one 67.200625."""
LEAST_MOISTURE_PCT = 1.0
"""Nothing but what an oven has dried (0 %) holds less: less is a fraction written for a percentage."""
WATER_KG_PER_L = 0.9982
"""Density of water at 20 C; at 5 to 30 C it is within 0.3 % of this."""
_AMOUNT = re.compile(r"([0-9]+\.?[0-9]*|\.[0-9]+)\s*([a-z][a-z ]*)\Z")
_PERCENT = re.compile(r"([0-9]+\.?[0-9]*|\.[0-9]+)\s*%?\Z")
_TEMPERATURE = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))\s*°?\s*([CF])\Z", re.IGNORECASE)
_SPELLINGS = {
    "grams": "g",
    "ounces": "oz",
    "lbs": "lb",
    "pounds": "lb",
    "litres": "l",
    "liters": "l",
    "qt liquid": "liquid qt",
    "qt dry": "dry qt",
    "liquid quarts": "liquid qt",
    "dry quarts": "dry qt",
}
_VAGUE = ("qt", "qts", "quart", "quarts")


@dataclass(frozen=True, slots=True, kw_only=True)
class Masses:
    """One mass in each unit that is shown.

    Parameters
    ----------
    g, kg, oz, lb : float
        The same mass in grams, kilograms, avoirdupois ounces and pounds.
    """

    g: float
    kg: float
    oz: float
    lb: float

    @classmethod
    def of(cls, mass_g: float) -> Masses:
        """Return a mass, in grams, in each unit."""
        return cls(**{unit: mass_g / grams for unit, grams in GRAMS.items()})


def parse_mass(text: str, what: str, *, density_kg_per_l: float | None = None) -> float:
    """Return the grams that a text like ``2 lb`` says.

    Parameters
    ----------
    text : str
        A number and a unit; a volume (``1 dry qt``) only with a density.
    what : str
        What it is the amount of, for messages.
    density_kg_per_l : float, optional
        Measured density, in kg per litre.

    Raises
    ------
    TrialError
        When the text is no amount, negative, without unit, a quart that says not which, or a volume without
        density.
    """
    match = _AMOUNT.match(text.strip().lower())
    unit = " ".join(match.group(2).split()) if match else ""
    unit = _SPELLINGS.get(unit, unit)
    if match and unit in GRAMS:
        return float(match.group(1)) * GRAMS[unit]
    if match and unit in _VAGUE:
        msg = f"{what}: {text.strip()!r} doesn't say which quart."
        raise TrialError(msg, "Write liquid qt or dry qt: a US dry quart is 16 % more than a liquid one.")
    if match and unit in LITRES:
        if density_kg_per_l is None:
            msg = f"{what}: {text.strip()!r} is a volume, and no density is given."
            raise TrialError(msg, 'Weigh a litre of it and add e.g. "density 0.65" (kg per litre).')
        return float(match.group(1)) * LITRES[unit] * density_kg_per_l * 1000.0
    msg = f"{what}: {text.strip()!r} is no amount."
    raise TrialError(msg, f"Write a number, 0 or more, and one of: {', '.join((*GRAMS, *LITRES))}.")


def parse_temperature(text: str, what: str) -> float:
    """Return the degrees Celsius that a text like ``95 C`` or ``203F`` says.

    Raises
    ------
    TrialError
        When it is no number, or doesn't say of which scale.
    """
    match = _TEMPERATURE.match(text.strip())
    if match is None:
        msg = f"{what}: {text.strip()!r} is no temperature."
        raise TrialError(msg, "Write a number and its scale, like 95C or 203F.")
    degrees = float(match.group(1))
    return degrees if match.group(2).upper() == "C" else to_celsius(degrees)


def say_temperature(celsius: float) -> str:
    """Return a temperature as on screens, in both scales.

    >>> say_temperature(95.0)
    '95.0 C = 203.0 F'
    """
    return f"{celsius:.1f} C = {to_fahrenheit(celsius):.1f} F"


def parse_percent(text: str, what: str) -> float:
    """Return the fraction that a text like ``12 %`` or ``12`` says.

    Raises
    ------
    TrialError
        When it is no number from 0 to 100.
    """
    match = _PERCENT.match(text.strip())
    if match and float(match.group(1)) <= 100:
        return float(match.group(1)) / 100.0
    msg = f"{what}: {text.strip()!r} is no percentage."
    raise TrialError(msg, "Write a number from 0 to 100, like 12.5 %.")


def parse_moisture(text: str, what: str) -> float:
    """Return the fraction that a moisture like ``12 %`` or ``12`` says.

    Raises
    ------
    TrialError
        When it is no percentage, or under 1 % and so most likely a fraction; 0 is oven-dry.
    """
    moisture = parse_percent(text, what)
    if 0 < 100.0 * moisture < LEAST_MOISTURE_PCT:
        msg = f"{what}: {text.strip()!r} is less than {LEAST_MOISTURE_PCT:g} %."
        raise TrialError(msg, "It is a percentage of the wet weight: write 60 for 60 %.")
    return moisture
