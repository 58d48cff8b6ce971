"""Recipe arithmetic against values worked out elsewhere or by hand."""

import math

import pytest

from colscan.errors import TrialError
from colscan.trial.recipe import (
    Base,
    Ingredient,
    Part,
    Recipe,
    Share,
    Spawn,
    SpawnBase,
    carbon_to_nitrogen,
    dry_matter_g,
    water_to_add_g,
    weigh_out,
    wet_to_dry_basis,
    with_usual_moisture,
)


def close(value: float) -> object:
    """A value within 1e-6 of itself."""
    return pytest.approx(value, rel=1e-6)


def pellets(weight_g: float = 1000.0, moisture: float | None = 0.08) -> Ingredient:
    """Main substrate."""
    return Ingredient(name="pellets", part=Part.MAIN, weight_g=weight_g, moisture=moisture)


def bran(weight_g: float = 250.0, moisture: float | None = 0.12) -> Ingredient:
    """A supplement."""
    return Ingredient(name="bran", part=Part.SUPPLEMENT, weight_g=weight_g, moisture=moisture)


def test_mix_of_given_water() -> None:
    """1000 g pellets at 8 %, 250 g bran at 12 %, 1500 g water.

    By hand: dry 920 + 220 = 1140; water 1500 + 80 + 30 = 1610; 1610/2750; 220/1140, which is neither 250
    of the 1000 g pellets nor the 20.0 % that 250 is of 1250 g as weighed.
    """
    recipe = Recipe(ingredients=(pellets(), bran()), water_g=1500.0)
    assert recipe.dry_g == close(1140.0)
    assert recipe.water_total_g == close(1610.0)
    assert recipe.moisture == close(1610 / 2750) == close(0.58545454545)
    assert recipe.supplement_level(Base.DRY) == close(0.192982456)
    assert recipe.supplement_level(Base.MAIN) == close(0.25)


@pytest.mark.parametrize(
    ("target", "water_g", "ignoring_g"),
    [(0.60, 1600.0, 1875.0), (0.62, 1750.0, 2039.473684), (0.65, 2007.142857, 2321.428571)],
)
def test_water_to_a_moisture(target: float, water_g: float, ignoring_g: float) -> None:
    """By hand: 1140 t/(1 - t) - 110; who takes the ingredients for dry adds 1250 t/(1 - t), too much."""
    assert water_to_add_g((pellets(), bran()), target) == close(water_g)
    assert water_to_add_g((pellets(moisture=None), bran(moisture=None)), target) == close(ignoring_g)
    reached = Recipe(ingredients=(pellets(), bran()), water_g=water_to_add_g((pellets(), bran()), target))
    assert reached.moisture == close(target)


def test_bag_of_given_dry_matter() -> None:
    """1000 g dry, 20 % of all dry matter, 60 %: by hand 800/0.92, 200/0.88, 2500 less both."""
    orders = [(pellets(0.0), None), (bran(0.0), Share(fraction=0.20, base=Base.DRY))]
    weighed = weigh_out(orders, bag_dry_g=1000.0)
    assert [i.weight_g for i in weighed] == [close(869.56522), close(227.27273)]
    recipe = Recipe(ingredients=weighed, water_g=water_to_add_g(weighed, 0.60))
    assert recipe.water_g == close(1403.16206)
    assert recipe.wet_g == close(2500.0)
    assert recipe.supplement_level(Base.DRY) == close(0.20)


def test_shares_of_both_bases_together() -> None:
    """Levels on two bases, and something weighed, all come out as asked."""
    straw = Ingredient(name="straw", part=Part.OTHER, weight_g=50.0, moisture=0.10)
    soy = Ingredient(name="soy", part=Part.SUPPLEMENT, weight_g=0.0, moisture=0.09)
    shares = [Share(fraction=0.05, base=Base.MAIN), Share(fraction=0.10, base=Base.DRY)]
    orders = [(pellets(), None), (bran(), shares[0]), (soy, shares[1]), (straw, None)]
    for dry_g in (None, 800.0):
        main, by_main, by_dry, other = weigh_out(orders, bag_dry_g=dry_g)
        recipe = Recipe(ingredients=(main, by_main, by_dry, other), water_g=0.0)
        assert by_main.weight_g / main.weight_g == close(0.05)
        assert by_dry.dry_g / recipe.dry_g == close(0.10)
        assert other.weight_g == 50.0
        assert main.weight_g == 1000.0 if dry_g is None else recipe.dry_g == close(dry_g)


@pytest.mark.parametrize(("moisture", "expected"), [(0.0, 0.60), (0.05, 0.62), (0.10, 0.64)])
def test_pellet_moisture_alone_moves_the_mix(moisture: float, expected: float) -> None:
    """By hand: (1500 + 1000 w)/2500; not knowing it is up to four points."""
    recipe = Recipe(ingredients=(pellets(moisture=moisture),), water_g=1500.0)
    assert recipe.moisture == close(expected)


def test_left_out_moisture_is_the_usual_one_at_worst() -> None:
    """Unknown moistures become 10 % (ENplus A1's ceiling for pellets), known ones stay."""
    assert [i.moisture for i in with_usual_moisture((pellets(moisture=None), bran()))] == [0.10, 0.12]


def test_dry_matter_of_a_block() -> None:
    """5 lb are 2267.96185 g, of which 40 and 35 % by hand."""
    assert dry_matter_g(2267.96185, 0.60) == close(907.18474)
    assert dry_matter_g(2267.96185, 0.65) == close(793.786648)


def test_moisture_bases() -> None:
    """60 % of wet is 0.6/0.4 of dry, 65 % is 0.65/0.35."""
    assert wet_to_dry_basis(0.60) == close(1.5)
    assert wet_to_dry_basis(0.65) == close(1.857142857)


def test_spawn_rate_on_each_base() -> None:
    """75 g into 2500 g wet of 1000 g dry: 3 %, 7.5 %, and at 45 % moisture 41.25 g dry, 4.125 % by hand."""
    dry = pellets(1000.0, 0.0)
    known = Recipe(ingredients=(dry,), water_g=1500.0, spawn=Spawn(weight_g=75.0, moisture=0.45))
    assert [known.spawn_rate(base) for base in SpawnBase] == [close(0.03), close(0.075), close(0.04125)]
    unknown = Recipe(ingredients=(dry,), water_g=1500.0, spawn=Spawn(weight_g=75.0))
    assert [unknown.spawn_rate(base) for base in SpawnBase] == [close(0.03), close(0.075), None]
    assert Recipe(ingredients=(dry,), water_g=1500.0).spawn_rate(SpawnBase.WET) is None


def test_spawn_rate_of_common_practice() -> None:
    """Common practice, no source: 16 oz of spawn to 32 + 0.8 + 2 + 45 = 79.8 oz wet, 16/79.8 = 20.1 %."""
    shavings = Ingredient(name="shavings", part=Part.OTHER, weight_g=2.0, moisture=0.10)
    recipe = Recipe(
        ingredients=(pellets(32.0), bran(0.8), shavings), water_g=45.0, spawn=Spawn(weight_g=16.0)
    )
    assert recipe.wet_g == close(79.8)
    assert f"{100 * (recipe.spawn_rate(SpawnBase.WET) or 0):.1f}" == "20.1"


# Common practice, no source: bran at 12 % to 32 oz (2 lb) of pellets with 2 oz of shavings at 10 %, 45 oz of
# water (46 at the higher levels). Moisture by hand, water over total, all in oz; the total is
# 32 + 0.8 + 2 + 45 = 79.8, 32 + 1.6 + 2 + 46 = 81.6 and 32 + 2.4 + 2 + 46 = 82.4; the bran brings
# 0.096, 0.192 and 0.288, the shavings 0.2, pellets at 6 % 1.92 and at 10 % 3.2.
PRACTICE = [
    (0.8, 45.0, 0.00, 0.025, 45.296 / 79.8, 56.762),
    (0.8, 45.0, 0.06, 0.025, 47.216 / 79.8, 59.168),
    (0.8, 45.0, 0.10, 0.025, 48.496 / 79.8, 60.772),
    (1.6, 46.0, 0.00, 0.050, 46.392 / 81.6, 56.853),
    (1.6, 46.0, 0.06, 0.050, 48.312 / 81.6, 59.206),
    (1.6, 46.0, 0.10, 0.050, 49.592 / 81.6, 60.775),
    (2.4, 46.0, 0.00, 0.075, 46.488 / 82.4, 56.417),
    (2.4, 46.0, 0.06, 0.075, 48.408 / 82.4, 58.748),
    (2.4, 46.0, 0.10, 0.075, 49.688 / 82.4, 60.301),
]


@pytest.mark.parametrize(("bran_oz", "water_oz", "moisture", "level", "by_hand", "by_hand_pct"), PRACTICE)
def test_common_practice(
    bran_oz: float, water_oz: float, moisture: float, level: float, by_hand: float, by_hand_pct: float
) -> None:
    """Level on the pellets as weighed, and moisture, as worked out by hand above (ratios need no grams)."""
    shavings = Ingredient(name="shavings", part=Part.OTHER, weight_g=2.0, moisture=0.10)
    recipe = Recipe(ingredients=(pellets(32.0, moisture), bran(bran_oz), shavings), water_g=water_oz)
    assert recipe.supplement_level(Base.MAIN) == close(level)
    assert recipe.moisture == close(by_hand)
    assert 100 * recipe.moisture == pytest.approx(by_hand_pct, abs=0.0005)


def test_carbon_to_nitrogen() -> None:
    """By hand: C 500 + 112.5 = 612.5 g, N 1 + 6 = 7 g, 612.5/7 = 87.5; unknown with one value missing."""
    wood = Ingredient(
        name="wood", part=Part.MAIN, weight_g=1000.0, moisture=0.0, carbon=0.50, nitrogen=0.001, source="x"
    )
    feed = Ingredient(
        name="feed", part=Part.SUPPLEMENT, weight_g=250, moisture=0.0, carbon=0.45, nitrogen=0.024, source="x"
    )
    assert carbon_to_nitrogen((wood, feed)) == close(87.5)
    assert carbon_to_nitrogen((wood, bran())) is None


@pytest.mark.parametrize("target", [0.0, 1.0, 1.5, -0.1, math.nan])
def test_moistures_that_cannot_be_aimed_at(target: float) -> None:
    """No moisture of 0, of 1 or beyond."""
    with pytest.raises(TrialError, match="can't be aimed at"):
        water_to_add_g((pellets(),), target)


@pytest.mark.parametrize("moisture", [-0.01, 1.0, 1.2, math.nan])
def test_moistures_that_cannot_be(moisture: float) -> None:
    """An ingredient's and the spawn's moisture are from 0 to under 1."""
    with pytest.raises(TrialError, match="can't be"):
        pellets(moisture=moisture)
    with pytest.raises(TrialError, match="can't be"):
        Spawn(weight_g=1.0, moisture=moisture)
    with pytest.raises(TrialError, match="can't be"):
        wet_to_dry_basis(moisture)


@pytest.mark.parametrize("mass_g", [-1.0, 1.1e6, math.nan, math.inf])
def test_masses_that_cannot_be(mass_g: float) -> None:
    """No mass is negative, over a tonne or without end."""
    with pytest.raises(TrialError, match="can't be an amount"):
        pellets(mass_g)
    with pytest.raises(TrialError, match="can't be an amount"):
        Spawn(weight_g=mass_g)
    with pytest.raises(TrialError, match="can't be an amount"):
        Recipe(ingredients=(pellets(),), water_g=mass_g)


def test_wetter_than_the_target() -> None:
    """Water can't be taken out; just at the target none is added."""
    with pytest.raises(TrialError, match="already wetter than 7 %"):
        water_to_add_g((pellets(),), 0.07)
    assert water_to_add_g((pellets(),), 0.08) == 0.0


def test_no_main_substrate() -> None:
    """A recipe of nothing, of supplement alone, or with a name twice is refused."""
    for ingredients in ((), (bran(),), (pellets(0.0), bran())):
        with pytest.raises(TrialError, match="no main substrate"):
            Recipe(ingredients=ingredients, water_g=1.0)
    with pytest.raises(TrialError, match="twice"):
        Recipe(ingredients=(pellets(), pellets()), water_g=1.0)


def test_shares_that_leave_nothing() -> None:
    """Levels of 100 % together, or more weighed than the bag holds, or no single main substrate."""
    half = Share(fraction=0.5, base=Base.DRY)
    with pytest.raises(TrialError, match="leave nothing"):
        weigh_out([(pellets(), None), (bran(), half), (bran(), half)])
    with pytest.raises(TrialError, match="leave nothing"):
        weigh_out([(pellets(), None), (bran(), None)], bag_dry_g=200.0)
    with pytest.raises(TrialError, match="one main substrate, not 2"):
        weigh_out([(pellets(), None), (pellets(), None)], bag_dry_g=200.0)


@pytest.mark.parametrize(
    ("carbon", "nitrogen", "source", "said"),
    [
        (0.5, None, "x", "only known together"),
        (0.5, 0.6, "x", "can't be"),
        (-0.1, 0.1, "x", "can't be"),
        (0.5, 0.01, " ", "without their source"),
    ],
)
def test_carbon_and_nitrogen_that_cannot_be(
    carbon: float, nitrogen: float | None, source: str, said: str
) -> None:
    """Both or neither, within the dry matter, and with their source."""
    with pytest.raises(TrialError, match=said):
        Ingredient(name="x", part=Part.MAIN, weight_g=1.0, carbon=carbon, nitrogen=nitrogen, source=source)


def test_no_nitrogen_no_ratio() -> None:
    """Dividing by no nitrogen is refused."""
    wood = Ingredient(name="w", part=Part.MAIN, weight_g=1.0, carbon=0.5, nitrogen=0.0, source="x")
    with pytest.raises(TrialError, match="no nitrogen"):
        carbon_to_nitrogen((wood,))
