"""Prices as growers write them."""

import pytest

from colscan.errors import TrialError
from colscan.growth.crop.prices import Price, parse_price


@pytest.mark.parametrize(
    ("text", "name", "per_g", "per_bag"),
    [
        ("bran, 1.20 per kg", "bran", 0.0012, 0.0),
        ("spawn, 6 per lb", "spawn", 6 / 453.59237, 0.0),
        ("oat bran, fine, 3 per oz", "oat bran, fine", 3 / 28.349523125, 0.0),
        ("bag, .4 each", "bag", 0.0, 0.4),
        ("gypsum, 0 per kg", "gypsum", 0.0, 0.0),
    ],
)
def test_price(text, name, per_g, per_bag) -> None:
    """Exact pounds and ounces; the name is all before the last comma."""
    price = parse_price(text)
    assert price == Price(name=name, per_g=pytest.approx(per_g), per_bag=per_bag)


@pytest.mark.parametrize(
    "text",
    ["bran", "bran, 1.20", "bran, x per kg", "bran, -1 per kg", "bran, 1,20 per kg x", ", 1 per kg",
     "bran, inf per kg", "bran, 1 a kg", "bran, 1 per quart", "bran, 1 per l", "bran, nan each"],
)  # fmt: skip
def test_what_is_no_price(text) -> None:
    """Refused with what to write instead."""
    with pytest.raises(TrialError):
        parse_price(text)
