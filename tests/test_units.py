"""Units at the borders."""

from colscan.units import to_celsius, to_fahrenheit


def test_fahrenheit() -> None:
    """Water freezes at 32 F and boils at 212 F (the scales' definition); 63 F is 31/1.8 = 17.2 C."""
    assert (to_celsius(32.0), to_celsius(212.0)) == (0.0, 100.0)
    assert f"{to_celsius(63.0):.1f}" == "17.2"


def test_celsius() -> None:
    """The way back."""
    assert (to_fahrenheit(0.0), to_fahrenheit(100.0)) == (32.0, 212.0)
