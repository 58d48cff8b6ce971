"""A comparison in words: sizes, ranges, what is open, what can't be said."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from colscan.growth.compare.model import ALL_STRAINS, Contrast, PermutationTest
from colscan.growth.compare.sentences import describe_method, say_contrast, say_p
from colscan.growth.curve import Estimate
from colscan.growth.outcomes import Milestone

OPEN = math.inf
TEST = PermutationTest(p=0.012, p_holm=0.024, comparisons=2, labellings=4900, exact=True)


def _effect(value: float, low: float, high: float) -> Estimate:
    return Estimate(value=value, low=low, high=high)


BASE = Contrast(
    kind="level", scope="PO-3", milestone=Milestone.FULL, treatment="bran 8 %", control="none", bags=16,
    heat_runs=2, exchanged_within="heat run", days_sooner=_effect(2.04, 0.6, 3.1), degree_days_sooner=None,
    rate_ratio=None, rate_bags=0, test=TEST, why_no_test="",
)  # fmt: skip


def _say(**changes: object) -> str:
    return say_contrast(replace(BASE, **changes), interim=False, with_rates=True)


def test_a_whole_sentence() -> None:
    """Who, how much, how surely, on how many bags and runs, and whether chance does it."""
    assert _say() == (
        "PO-3, bran 8 % was full 2.0 days sooner than none (90 % interval: 0.6 to 3.1 days sooner; 16 bags, 2"
        " heat runs). Chance alone would hardly do this (p = 0.012, 0.024 for 2 comparisons)."
    )


@pytest.mark.parametrize(
    ("effect", "said"),
    [
        ((-2.0, -3.1, -0.6), "2.0 days later than none (90 % interval: 0.6 to 3.1 days later;"),
        ((0.5, -1.2, 2.2), "0.5 days sooner than none (90 % interval: 1.2 days later to 2.2 days sooner;"),
        ((2.0, 0.6, OPEN), "(90 % interval: at least 0.6 days sooner, too few bags to bound it more;"),
        ((2.0, -0.6, OPEN), "(90 % interval: at most 0.6 days later, too few bags to bound it more;"),
        ((2.0, -OPEN, 3.1), "(90 % interval: at most 3.1 days sooner, too few bags to bound it more;"),
        ((-2.0, -OPEN, -0.6), "(90 % interval: at least 0.6 days later, too few bags to bound it more;"),
        (
            (0.01, -1.2, 1.2),
            "was full when none was (90 % interval: 1.2 days later to 1.2 days sooner;",
        ),
    ],
)
def test_sizes_and_ranges(effect: tuple[float, float, float], said: str) -> None:
    """Later and sooner in words, never as a sign; open ends say why."""
    assert said in _say(days_sooner=_effect(*effect))


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ((0.71, 1.45), "1.1 times as fast for each 1 % (0.7 to 1.4;"),
        ((0.96, 1.18), "1.06 times as fast for each 1 % (0.96 to 1.18;"),
        ((1.044, 1.082), "1.063 times as fast for each 1 % (1.044 to 1.082;"),
        ((0.0, OPEN), "1.1 times as fast for each 1 %, too few bags to bound it."),
    ],
)
def test_a_ratio_has_the_decimals_that_its_interval_bears(ends: tuple[float, float], said: str) -> None:
    """For each 1 % of supplement; of a level against another it has two."""
    assert said in _say(kind="trend", treatment="bran", rate_ratio=_effect(1.063, *ends), rate_bags=15)


def test_holm_decides() -> None:
    """A p that is small only before it is adjusted may be chance; one comparison says one p."""
    assert "Chance alone could do this (p = 0.03, 0.09 for 3 comparisons)." in _say(
        test=replace(TEST, p=0.03, p_holm=0.09, comparisons=3)
    )
    assert "(p = 0.03)." in _say(test=replace(TEST, p=0.03, p_holm=0.03, comparisons=1))


def test_rates_and_warmth() -> None:
    """Beside the days, in their own units."""
    said = _say(
        rate_ratio=_effect(1.21, 1.05, 1.4), rate_bags=15, degree_days_sooner=_effect(-45.2, -71.0, 10.4)
    )
    assert "At its fastest it grew 1.21 times as fast (1.05 to 1.40; 15 bags)." in said
    assert (
        "Counted by the warmth of the air: 45 degree-days more (71 degree-days more to 10 degree-days fewer)."
        in said
    )


def test_a_trend() -> None:
    """Per 1 % of the supplement, over all strains."""
    said = _say(
        kind="trend", scope=ALL_STRAINS, treatment="bran", days_sooner=_effect(0.31, 0.12, 0.47),
        milestone=Milestone.HALF,
    )  # fmt: skip
    assert said.startswith(
        "Over all strains, each 1 % of bran makes bags half-colonized 0.31 days sooner (90 % interval: 0.12"
        " to 0.47 days sooner;"
    )
    per_percent = _say(
        kind="trend", treatment="bran", rate_ratio=_effect(1.004, 1.0012, 1.0068), rate_bags=15,
        degree_days_sooner=_effect(5.12, 3.3, 7.0),
    )  # fmt: skip
    assert "grew 1.004 times as fast for each 1 % (1.001 to 1.007; 15 bags)." in per_percent
    assert "5.1 degree-days fewer for each 1 % (3.3 to 7.0 degree-days fewer)." in per_percent


def test_what_can_t_be_said() -> None:
    """Nothing bounded, or nothing at all: why, and no number."""
    few = _say(days_sooner=_effect(2.0, -OPEN, OPEN), test=None, why_no_test="Too few bags to test.")
    assert few == "PO-3, bran 8 % against none: can't be said (16 bags, 2 heat runs). Too few bags to test."
    apart = _say(days_sooner=None, test=None, why_no_test="Can't be told apart.", coinciding="heat run")
    assert apart.endswith("Can't be told apart.")
    assert "no heat run named" in _say(heat_runs=0)


def test_interim_is_said_once() -> None:
    """Not with each comparison."""
    said = say_contrast(replace(BASE, test=None, why_no_test="No test yet."), interim=True, with_rates=True)
    assert said.endswith("heat runs).")


def test_p() -> None:
    """Two digits, none of them feigned."""
    assert [say_p(p) for p in (0.5, 0.1234, 0.03124, 0.0001)] == ["0.50", "0.12", "0.031", "0.0001"]


def test_the_method_says_seed_blocks_and_ways() -> None:
    """What can be cited: with drawn ways their number, without a test nothing of p."""
    drawn = replace(BASE, test=replace(TEST, labellings=10_000, exact=False))
    assert "10,000 ways to deal the labels, drawn with that seed" in describe_method([drawn])
    assert "all ways to deal the labels" in describe_method([BASE])
    assert "within heat run." in describe_method([BASE])
    over = replace(BASE, exchanged_within="strain and heat run")
    assert "within strain and heat run." in describe_method([over, BASE])
    finer = replace(BASE, exchanged_within="strain, heat run and tier")
    assert "within strain, heat run and tier, or within heat run." in describe_method([finer, BASE])
    assert "Holm" not in describe_method([replace(BASE, test=None)])
