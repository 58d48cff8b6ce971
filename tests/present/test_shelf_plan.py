"""The shelf plan, printed: each bag once, in its place, and nothing told that is to be blind."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hornbeam import make_bag, make_trial
from planned import DPI, Printed, big_plan, odd_plan, small_plan

from colscan.present.paper import PAPERS
from colscan.present.shelf_plan import draw_shelf_plan
from colscan.trial.model import Shelf

CODE = re.compile(r"\bB\d\d\b")


@pytest.fixture(scope="module", params=["letter", "a4"])
def big(request: pytest.FixtureRequest) -> Printed:
    """98 bags, 20 places a tier, on each paper, its margins checked."""
    printed = Printed(draw_shelf_plan(big_plan(), PAPERS[request.param]))
    printed.check_margins(PAPERS[request.param])
    return printed


def test_each_bag_once_and_a_shelf_a_page(big: Printed) -> None:
    """Code and tag of each bag; five tiers of 20 on two pages; fixed cards; blanks marked."""
    assert len(big.texts) == 2
    assert sorted(CODE.findall(big.text)) == [f"B{number:02d}" for number in range(1, 99)]
    assert sorted(map(int, re.findall(r"tag (\d+)", big.text))) == list(range(1, 99))
    assert re.findall(r"card (\d+)", big.text) == ["580", "581", "582"]
    assert len(re.findall("blank(?!,)", big.text)) == 8
    assert "Grey: blank, stays sealed." in big.text


def test_places_in_order(big: Printed) -> None:
    """The codes of a tier run from place 1 at the left, the tiers from the top."""
    bags = {(bag.shelf, bag.position): bag.bag for bag in big_plan().bags}
    planned = [
        [bags.get(("cellar", f"tier {tier} place {place}")) for place in range(1, 21)] for tier in range(1, 5)
    ]
    codes = CODE.findall(big.texts[0])
    assert sorted(codes) == sorted(code for tier in planned for code in tier if code)
    assert codes == [code for tier in planned for code in tier if code]


def test_texts_apart_and_large_enough(big: Printed) -> None:
    """No text over another, none under 6 points of em (its letters' box is some 0.7 of that), no picture."""
    big.check_texts_apart()
    assert not any(big.pictures)
    for boxes in big.boxes_mm:
        assert (boxes[:, 3] - boxes[:, 1]).min() > 0.6 * 2.1


def test_blind_tells_no_treatment() -> None:
    """The same bytes whatever strain and treatment are, and no word of them."""
    trial = big_plan()
    other = replace(trial, bags=tuple(replace(bag, strain="HE-2", supplement="soy") for bag in trial.bags))
    blind, letter = draw_shelf_plan(trial, PAPERS["letter"], blind=True), PAPERS["letter"]
    assert draw_shelf_plan(other, letter, blind=True) == blind
    assert draw_shelf_plan(other, letter) != draw_shelf_plan(trial, letter)
    text = Printed(blind).text
    assert not re.search(r"bran|%|PO-3|PE-1", text)
    assert "Strains and treatments are left off." in text
    assert sorted(CODE.findall(text)) == [f"B{number:02d}" for number in range(1, 99)]


@pytest.mark.parametrize("paper", PAPERS)
def test_odd_plans(paper: str) -> None:
    """What has no place of its own is listed, once, with what bags.csv says; pages keep their margins."""
    printed = Printed(draw_shelf_plan(odd_plan(), PAPERS[paper]))
    printed.check_margins(PAPERS[paper])
    printed.check_texts_apart()
    assert sorted(CODE.findall(printed.text)) == [f"B{number:02d}" for number in range(2, 8)]
    listed = printed.texts[-1]
    assert "Bags without a planned place" in listed
    assert "B03: left back, B04: tier 2 place 3" in listed
    assert "No shelf B05" in listed
    assert "Here tiers 6 to 9, places 1 to 2." in printed.text
    assert "places 18 to 34" in printed.text


def test_nobody_has_a_place() -> None:
    """A plan without shelves: a list, and how to plan places."""
    printed = Printed(draw_shelf_plan(make_trial(make_bag("B01"), make_bag("B02")), PAPERS["letter"]))
    assert len(printed.texts) == 1
    assert "No bag has a planned shelf." in printed.text
    assert "B01, B02" in printed.text


def test_blanks_show_without_colour() -> None:
    """A blank's box is grey, another bag's is white."""
    bags = (make_bag("B01", shelf="s", position="1"), make_bag("B02", shelf="s", position="2", role="blank"))
    printed = Printed(draw_shelf_plan(make_trial(*bags, shelves=(Shelf(name="s"),)), PAPERS["a4"]))
    image = printed.images[0]
    # Two places of 56 mm from 26 mm on; right of their frames and left of their codes.
    mine, blank = (image[round(40 / 25.4 * DPI), round(x / 25.4 * DPI)] for x in (32.0, 88.0))
    assert (mine == 255).all()
    assert set(blank) == {round(0.86 * 255)}


def test_same_plan_same_bytes() -> None:
    """Neither a date nor chance is in the file."""
    assert len({draw_shelf_plan(small_plan(), PAPERS["a4"]) for _ in range(2)}) == 1
