"""The arcsine scale, and what an interval on it claims."""

from __future__ import annotations

import math

import numpy as np
import pytest

from colscan.growth.curve.angles import LEAST_SD, USUAL_SD, Z90, claimed_sd, to_angle, to_share


def test_there_and_back() -> None:
    """Half is a quarter of pi, and shares come back; what is outside counts as the end."""
    assert to_angle(np.array([0.5]))[0] == pytest.approx(math.pi / 4)
    shares = np.linspace(0, 1, 21)
    assert to_share(to_angle(shares)) == pytest.approx(shares)
    assert to_angle(np.array([-0.1, 1.2])).tolist() == pytest.approx([0, math.pi / 2])
    assert to_share(np.array([-0.3, 2.0])).tolist() == [0.0, 1.0]


def test_the_same_error_at_every_coverage() -> None:
    """An error that goes with the root of c (1 - c) is about the same angle everywhere."""
    share = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    error = 0.01 * 2 * np.sqrt(share * (1 - share))
    assert claimed_sd(share, share - Z90 * error, share + Z90 * error) == pytest.approx(0.01, rel=0.01)


def test_an_interval_that_is_cut_off() -> None:
    """Its whole side counts: 5 points over 0 are more than half of a symmetrical interval would say."""
    one_sided = claimed_sd(np.array([0.0]), np.array([0.0]), np.array([0.05]))
    assert one_sided[0] == pytest.approx(math.asin(math.sqrt(0.05)) / Z90)


def test_no_interval_and_one_too_narrow() -> None:
    """Without an interval the scorer's usual error stands; a width of 0 is not believed."""
    nothing = np.array([math.nan])
    assert claimed_sd(np.array([0.4]), nothing, nothing)[0] == USUAL_SD
    assert claimed_sd(np.array([0.4]), np.array([0.4]), np.array([0.4]))[0] == LEAST_SD
