"""A trial's recipe: read with the plan, worked out at each treatment, written and kept."""

import pytest

from colscan.errors import TrialError
from colscan.trial import load_trial
from colscan.trial.model import PLAN_FILE, RecipePlan
from colscan.trial.reading import parse_plan
from colscan.trial.recipe import Base
from colscan.trial.trial_recipe import recipe_of
from colscan.trial.writing import format_plan

RECIPE = """
[recipe]
main = ["pellets, 2 lb, moisture 6%"]
supplement = ["bran, moisture 12%"]
other = ["shavings, 2 oz, moisture 10%"]
water = "45 oz"
spawn = "1 lb"
"""
OZ = 28.349523125


@pytest.fixture
def with_recipe(write_trial, tmp_path):
    """A function that writes the trial with the recipe, some of its text replaced, and returns its folder."""

    def write(*replacements):
        recipe = RECIPE
        for old, new in replacements:
            assert old in recipe
            recipe = recipe.replace(old, new)
        folder = write_trial()
        with (folder / PLAN_FILE).open("a", encoding="utf-8") as file:
            file.write(recipe)
        return folder

    return write


def weights(recipe):
    """What is weighed into a bag, in oz."""
    return {i.name: i.weight_g / OZ for i in recipe.ingredients} | {"water": recipe.water_g / OZ}


def test_level_on_main_substrate(with_recipe) -> None:
    """Common practice, no source: 8 % of 32 oz of pellets is 2.56 oz of bran; at level 0 there is none.

    Moisture at 8 %, by hand in oz: water 45 + 1.92 + 0.2 + 0.3072 = 47.4272 of 32 + 2 + 2.56 + 45 = 81.56.
    """
    trial = load_trial(with_recipe())
    recipe = recipe_of(trial, "bran", 8.0)
    expected = {"pellets": 32.0, "shavings": 2.0, "bran": 2.56, "water": 45.0}
    assert weights(recipe) == pytest.approx(expected)
    assert recipe.moisture == pytest.approx(47.4272 / 81.56)
    assert recipe.spawn.weight_g == pytest.approx(16 * OZ)
    plain = {"pellets": 32.0, "shavings": 2.0, "water": 45.0}
    assert weights(recipe_of(trial, "bran", 0.0)) == pytest.approx(plain)
    assert weights(recipe_of(trial, "none", 0.0)) == pytest.approx(plain)


@pytest.mark.parametrize("base", ["all dry matter, oven-dry", "all dry matter"])
def test_level_on_all_dry_matter(write_trial, base) -> None:
    """20 % of 1000 g dry at 60 %: by hand 800/0.92 g pellets, 200/0.88 g bran, the rest of 2500 g water."""
    recipe = '[recipe]\nmain = ["pellets, moisture 8%"]\nsupplement = ["bran, moisture 12%"]\n'
    folder = write_trial(
        ("supplement_pct = 8\n", f'supplement_pct = 20\nsupplement_base = "{base}"\n'),
        ("B02,2,PO-3,bran,8", "B02,2,PO-3,bran,20"),
        ("B04,4,PE-1,bran,8", "B04,4,PE-1,bran,20"),
        (
            '[[strain]]\ncode = "PO-3"',
            f'{recipe}moisture_pct = 60\nbag_wet = "2.5 kg"\n[[strain]]\ncode = "PO-3"',
        ),
    )
    made = recipe_of(load_trial(folder), "bran", 20.0)
    found = {i.name: i.weight_g for i in made.ingredients}
    assert found == pytest.approx({"pellets": 800 / 0.92, "bran": 200 / 0.88})
    assert made.water_g == pytest.approx(2500 - 800 / 0.92 - 200 / 0.88)
    assert made.supplement_level(Base.DRY) == pytest.approx(0.20)


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ("spawn =", "spwan =", 23, r"unknown key 'spwan' in \[recipe\]"),
        ("moisture 6%", "wet 6%", 19, r"main in \[recipe\]: pellets: 'wet 6%' is not understood"),
        ("bran, moisture", "bran, 2% of main, moisture", 20, "'2% of main' and the treatments' levels"),
        ("2 oz, moisture 10%", "moisture 10%", 21, "other in .recipe.: shavings: no amount is given"),
        ('["pellets, 2 lb, moisture 6%"]', "[]", 19, "main: is empty"),
        ('["bran, moisture 12%"]', '"bran"', 20, "supplement: 'bran' is not a list"),
        (
            "bran, moisture",
            "soy, moisture",
            18,
            r"\[recipe\] at bran 8 %: .* nothing of the supplement 'bran'",
        ),
        ('water = "45 oz"', "", 18, r"\[recipe\]: Give either water or the moisture"),
        ('"45 oz"', '"45 qt"', 18, r"\[recipe\]: water: '45 qt' doesn't say which quart"),
        ('water = "45 oz"', "moisture_pct = 0.6", 22, "moisture_pct: 0.6 is outside 1 to 99"),
        ('water = "45 oz"', "moisture_pct = 5", 18, "already wetter than 5 %"),
        ('"1 lb"', '"5%"', 18, "spawn: '5%' doesn't say of what"),
    ],
)
def test_what_does_not_work_out_is_refused(with_recipe, old, new, line, said) -> None:
    """When the trial is loaded, with file, line and key: a trial that loads has a recipe that works out."""
    with pytest.raises(TrialError, match=f"trial.toml:{line}: .*{said}"):
        load_trial(with_recipe((old, new)))


def test_base_that_is_no_base(write_trial) -> None:
    """A level on a base that isn't known has no weight; without a recipe any words may stand there."""
    words = ("supplement_pct = 8\n", 'supplement_pct = 8\nsupplement_base = "the wet mix"\n')
    folder = write_trial(words)
    load_trial(folder)
    with (folder / PLAN_FILE).open("a") as file:
        file.write(RECIPE)
    with pytest.raises(TrialError, match="supplement_base 'the wet mix' of bran 8 % is none"):
        load_trial(folder)


def test_what_the_trial_does_not_have(write_trial, with_recipe) -> None:
    """No recipe, no such treatment: said, with what to do."""
    with pytest.raises(TrialError, match="The trial hornbeam has no recipe") as no_recipe:
        recipe_of(load_trial(write_trial(name="bare")), "bran", 8.0)
    assert "--keep" in no_recipe.value.hint
    with pytest.raises(TrialError, match="bran 7 % is no treatment"):
        recipe_of(load_trial(with_recipe()), "bran", 7.0)


def test_written_and_read_back(with_recipe) -> None:
    """Each key of a recipe survives writing; those that aren't set stand there as an explained example."""
    trial = load_trial(with_recipe())
    text = format_plan(trial, example=False)
    assert "\n# moisture_pct = 60\n" in text
    assert parse_plan(text.encode(), PLAN_FILE).recipe == trial.recipe
    assert trial.recipe == RecipePlan(
        main=("pellets, 2 lb, moisture 6%",),
        supplement=("bran, moisture 12%",),
        other=("shavings, 2 oz, moisture 10%",),
        water="45 oz",
        spawn="1 lb",
    )
