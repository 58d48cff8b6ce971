"""The mixing sheet, printed: what is weighed is what the recipe says, and each bag is on it."""

from __future__ import annotations

import re

import pytest
from hornbeam import make_bag, make_trial
from planned import RECIPE, Printed, big_plan, odd_plan, small_plan

from colscan.present.mixing_sheet import draw_mixing_sheet
from colscan.present.paper import PAPERS
from colscan.trial.model import RecipePlan

CODE = re.compile(r"\bB\d\d\b")


@pytest.fixture(scope="module", params=["letter", "a4"])
def big(request: pytest.FixtureRequest) -> Printed:
    """The sheet of 12 mixes in 4 heat runs on each paper, its margins checked."""
    printed = Printed(draw_mixing_sheet(big_plan(), PAPERS[request.param]))
    printed.check_margins(PAPERS[request.param])
    return printed


@pytest.fixture(scope="module")
def small() -> Printed:
    """The sheet of a small trial that has a recipe."""
    return Printed(draw_mixing_sheet(small_plan(recipe=RECIPE), PAPERS["letter"]))


def test_weights_by_hand() -> None:
    """2 lb of pellets at 6 %, bran at 12 % and 5 % of them, to 60 %, for a mix of 6 bags.

    Dry: 907.18474 x .94 + 45.359237 x .88 = 852.753656 + 39.916129 = 892.669784 g; they bring 54.431084 +
    5.443108 = 59.874193 g of water. 60 % asks for 892.669784 x 1.5 = 1339.004677: to add 1279.130484 g
    (45.12 oz), six times 7674.7829 g (16.920 lb). Wet 2231.674461 g (4.92 lb = 78.72 oz), six times
    13390.0468 g (29.520 lb). Pellets 5443.1084 g (12 lb), bran 272.1554 g (9.6 oz). Bran is 39.916129 of
    892.669784 g dry matter: 4.5 %. A pound of spawn is 453.6 g. Ounces up to 10 lb.
    """
    recipe = RecipePlan(main=RECIPE.main, supplement=RECIPE.supplement, moisture_pct=60, spawn="1 lb")
    bags = [
        make_bag(f"B{i:02}", level=5.0, mix_batch="M1", heat_run="H1", spawn_order=i) for i in range(1, 7)
    ]
    trial = make_trial(*bags, recipe=recipe, treatments=big_plan().treatments)
    text = Printed(draw_mixing_sheet(trial, PAPERS["letter"])).text
    for row in (
        "Mix M1: bran 5 % of main substrate as weighed",
        "6 bags: B01, B02, B03, B04, B05, B06",
        "Comes to 60.0 % moisture, of the wet weight.",
        "Supplement: 5.0 % of main substrate as weighed, 4.5 % of all dry matter, oven-dry.",
        "oak pellets 907.2 g = 32.00 oz 5.443 kg = 12.000 lb",
        "bran 45.4 g = 1.60 oz 272.2 g = 9.60 oz",
        "water to add 1.279 kg = 45.12 oz 7.675 kg = 16.920 lb",
        "wet mix, to fill 2.232 kg = 78.72 oz 13.390 kg = 29.520 lb",
        "PO-3: 6 bags, 2.722 kg = 96.00 oz of spawn",
        "4 B04 PO-3 mixed 453.6 g = 16.00 oz",
    ):
        assert row in text


def test_every_bag_is_mixed_and_spawned_once(big: Printed) -> None:
    """Each code stands in one mix and in one spawning list; each run's pages name the run."""
    codes = CODE.findall(big.text)
    assert sorted(codes) == sorted([f"B{number:02d}" for number in range(1, 99)] * 2)
    for run in range(1, 5):
        assert f"Heat run H{run}: " in big.text
        assert sum(f"heat run H{run} " in text for text in big.texts) >= 2
    assert [f"Mix M{number:02d}:" in big.text for number in range(1, 13)] == [True] * 12


def test_no_mix_is_parted(big: Printed) -> None:
    """A mix's heading, its water and its foot are on one page: as many of each on every page."""
    for text in big.texts:
        counts = {len(re.findall(part, text)) for part in (r"Mix M\d\d:", "water to add", "mixed at")}
        assert len(counts) == 1


def test_spawning_order_and_lots(big: Printed) -> None:
    """Over the pages the order runs from 1 to 90, each with its lot; blanks stay sealed."""
    rows = re.findall(r"(\d+) (B\d\d) (P[OE]-\d) (2026-\d\d) mixed 453.6 g", big.text)
    assert [int(order) for order, *_ in rows] == list(range(1, 91))
    planned = {bag.bag: (bag.strain, bag.spawn_lot) for bag in big_plan().bags}
    assert all(planned[code] == (strain, lot) for _, code, strain, lot in rows)
    assert big.text.count("stays sealed") == 8


def test_nothing_is_written_over_another(big: Printed) -> None:
    """Texts keep apart; no page is all but empty; no picture is in the file."""
    big.check_texts_apart()
    assert min(len(boxes) for boxes in big.boxes_mm) > 20
    assert not any(big.pictures)


@pytest.mark.parametrize("paper", PAPERS)
def test_odd_names_keep_their_place(paper: str) -> None:
    """Long and non-Latin names, bags without run or mix: inside the margins, apart, each bag there."""
    printed = Printed(draw_mixing_sheet(odd_plan(), PAPERS[paper]))
    printed.check_margins(PAPERS[paper])
    printed.check_texts_apart()
    assert {f"B{number:02d}" for number in range(2, 8)} <= set(CODE.findall(printed.text))
    assert "BAG-WITH-A-VERY-LONG-CODE-0001" in printed.text
    for said in ("Вешенка обыкновенная", "□□", "No heat run planned", "No mix planned: bran 8 %"):
        assert said in printed.text
    assert "Make it once, for 2 bags, 1 of them in another heat run." in printed.text


def test_without_a_recipe_the_weights_are_blank(small: Printed) -> None:
    """It says so and how to give one; no weight is made up; the supplement stands where there is one."""
    text = Printed(draw_mixing_sheet(small_plan(), PAPERS["letter"])).text
    assert "This trial has no recipe" in text
    assert "colscan recipe" in text
    assert not re.search(r"\d (g|kg|oz|lb)\b", text)
    assert len(re.findall("main substrate(?! as)", text)) == 2
    assert len(re.findall(r"bran(?! \d)", text)) == 1
    assert "This trial has no recipe" not in small.text


def test_unknown_moisture_is_said(small: Printed) -> None:
    """An ingredient whose moisture was left out is named: the mix gets wetter than the sheet says."""
    assert "Reckoned as oven-dry, so the mix gets wetter than that: gypsum" in small.text


def test_cautions_and_no_times(small: Printed) -> None:
    """Steam, lifting, spores, whose guidance; and nothing that could be taken for a time of heating."""
    for said in (
        "steam",
        "let two people lift",
        "local guidance",
        "no times or temperatures",
        "N95",
        "air the room",
    ):
        assert said in small.text
    assert all("not for the person who judges the bags" in text for text in small.texts)
    assert not re.search(r"\d\s*(min|minutes|hours|h|°|psi|bar)\b", small.text)


def test_same_plan_same_bytes() -> None:
    """Neither a date nor chance is in the file."""
    assert len({draw_mixing_sheet(small_plan(), PAPERS["a4"]) for _ in range(2)}) == 1
