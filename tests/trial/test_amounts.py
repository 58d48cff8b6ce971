"""Units are exact; an amount that could mean two things is refused."""

import pytest

from colscan.errors import TrialError
from colscan.trial.amounts import (
    GRAMS,
    LITRES,
    Masses,
    parse_mass,
    parse_percent,
    parse_temperature,
    say_temperature,
)


def test_units_are_exact() -> None:
    """Pound, ounce, liquid quart as in scipy.constants; the dry quart from its 67.200625 cubic inches."""
    from scipy import constants

    assert GRAMS["lb"] == pytest.approx(1000 * constants.lb, rel=1e-15)
    assert GRAMS["oz"] == pytest.approx(1000 * constants.oz, rel=1e-15)
    assert LITRES["liquid qt"] == pytest.approx(1000 * constants.gallon / 4, rel=1e-15)
    assert LITRES["dry qt"] == pytest.approx(67.200625 * 0.254**3, rel=1e-12)  # an inch is 0.254 dm
    assert LITRES["liquid qt"] / LITRES["dry qt"] == pytest.approx(0.859367, abs=5e-7)


@pytest.mark.parametrize(
    ("text", "mass_g"),
    [
        ("26 oz", 737.08760125),
        ("5lb", 2267.96185),
        ("2.5 KG", 2500.0),
        ("0 g", 0.0),
        (".5 kg", 500.0),
        ("2 pounds", 907.18474),
    ],
)
def test_weights(text: str, mass_g: float) -> None:
    """A number and a unit, with or without a blank."""
    assert parse_mass(text, "x") == pytest.approx(mass_g, rel=1e-12)


def test_volumes_need_a_density() -> None:
    """A dry quart at 0.65 kg per litre is 715.79 g (1.1012209 x 650); without density it is refused."""
    assert parse_mass("1 dry qt", "x", density_kg_per_l=0.65) == pytest.approx(715.793613, rel=1e-7)
    assert parse_mass("1 qt  liquid", "x", density_kg_per_l=1.0) == pytest.approx(946.352946)
    with pytest.raises(TrialError, match="no density"):
        parse_mass("1 dry qt", "x")


@pytest.mark.parametrize("text", ["1 qt", "2 quarts", "2qts"])
def test_quart_says_which(text: str) -> None:
    """A quart alone is refused even with a density."""
    with pytest.raises(TrialError, match="which quart"):
        parse_mass(text, "x", density_kg_per_l=0.65)


@pytest.mark.parametrize("text", ["", "5", "-5 g", "g", "nan g", "1e3 g", "5 stone", "1 2 g", "inf kg"])
def test_amounts_refused(text: str) -> None:
    """What has no number, no unit, or can't be."""
    with pytest.raises(TrialError, match="no amount"):
        parse_mass(text, "x")


def test_percentages() -> None:
    """With or without sign, from 0 to 100."""
    assert parse_percent(" 12.5 % ", "x") == 0.125
    assert parse_percent("100", "x") == 1.0
    for text in ("", "-1", "101", "nan", "5 %%"):
        with pytest.raises(TrialError, match="no percentage"):
            parse_percent(text, "x")


def test_masses() -> None:
    """One mass in each unit."""
    masses = Masses.of(907.18474)
    assert (masses.g, masses.kg) == (907.18474, 0.90718474)
    assert (masses.oz, masses.lb) == (pytest.approx(32.0), pytest.approx(2.0))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("95C", "95.0 C = 203.0 F"),
        (" 203 f ", "95.0 C = 203.0 F"),
        ("63 F", "17.2 C = 63.0 F"),  # (63 - 32) / 1.8 = 17.22
        ("-4.0°F", "-20.0 C = -4.0 F"),
    ],
)
def test_temperatures(text: str, said: str) -> None:
    """A number and its scale, read and said in both."""
    assert say_temperature(parse_temperature(text, "x")) == said


@pytest.mark.parametrize("text", ["95", "95K", "C", "", "95,5 C", "nan C", "1e2 C"])
def test_temperatures_refused(text: str) -> None:
    """Without a scale 95 could mean two things."""
    with pytest.raises(TrialError, match="no temperature"):
        parse_temperature(text, "--core")
