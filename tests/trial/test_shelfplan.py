"""Where the plan puts bags: tiers and places read from bags.csv."""

from __future__ import annotations

import pytest
from hornbeam import make_bag, make_trial

from colscan.trial.model import Shelf
from colscan.trial.shelfplan import plan_shelves


def test_tiers_and_places_in_order() -> None:
    """Each bag where its position says; all tiers as long as the longest, free places None."""
    trial = make_trial(
        make_bag("B1", shelf="cellar", position="tier 2 place 3"),
        make_bag("B2", shelf="cellar", position="tier 1 place 1"),
        make_bag("B3"),
        shelves=(Shelf(name="empty"), Shelf(name="cellar", tiers=3)),
    )
    (cellar,), homeless = plan_shelves(trial)
    codes = [[bag and bag.bag for bag in tier] for tier in cellar.tiers]
    assert codes == [["B2", None, None], [None, None, "B1"], [None, None, None]]
    assert cellar.loose == ()
    assert [bag.bag for bag in homeless] == ["B3"]


@pytest.mark.parametrize(
    ("position", "tiers", "place"),
    [("tier 1 place 2", 1, (0, 1)), ("Tier 2, 3", 2, (1, 2)), ("4", 1, (0, 3)), ("place 4", 1, (0, 3)),
     ("4", 2, None), ("left back", 1, None), ("tier 0 place 1", 2, None), ("place 500", 1, None),
     ("tier 3 place 1", 2, (2, 0)), (None, 1, None)],
)  # fmt: skip
def test_positions_as_people_write_them(position: str, tiers: int, place: tuple[int, int] | None) -> None:
    """`tier 2 place 5`; a place alone where there is one tier; what says neither is loose, not guessed."""
    bag = make_bag("B1", shelf="s", position=position)
    (shelf,), _ = plan_shelves(make_trial(bag, shelves=(Shelf(name="s", tiers=tiers),)))
    if place is None:
        assert shelf.loose == (bag,)
        assert not any(map(any, shelf.tiers))
    else:
        assert shelf.tiers[place[0]][place[1]] is bag


def test_two_bags_at_one_place() -> None:
    """The first of them stands there, the other is loose."""
    bags = [make_bag(code, shelf="s", position="1") for code in ("B1", "B2")]
    (shelf,), _ = plan_shelves(make_trial(*bags))
    assert (shelf.tiers, shelf.loose) == (((bags[0],),), (bags[1],))


@pytest.mark.parametrize(
    ("cards", "tiers", "spread"),
    [((580,), 3, ((), (580,), ())), ((580, 581), 2, ((580,), (581,))), ((), 2, ((), ())),
     ((580, 581, 582), 2, ((580,), (581, 582)))],
)  # fmt: skip
def test_fixed_cards_are_spread_over_tiers(
    cards: tuple[int, ...], tiers: int, spread: tuple[tuple[int, ...], ...]
) -> None:
    """One in the middle, else from the top as evenly as it goes; each card once."""
    bag = make_bag("B1", shelf="s", position="tier 1 place 1")
    (shelf,), _ = plan_shelves(make_trial(bag, shelves=(Shelf(name="s", tiers=tiers, cards=cards),)))
    assert shelf.cards == spread
