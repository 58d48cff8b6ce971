"""Where losses come from, beside what strain and level would give."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hornbeam import make_bag

from colscan.growth.risk.followed import Fate, FollowedBag
from colscan.growth.risk.model import Level, LossSource
from colscan.growth.risk.sentences import say_sources
from colscan.growth.risk.sources import chance_of_gathering, find_sources


def bag(fate: Fate, *, trial: str = "hornbeam", sides: tuple[str, ...] = (), **fields) -> FollowedBag:
    """A bag that shares what its fields say."""
    own = make_bag("B1", **fields)
    return FollowedBag(
        bag=own, trial=trial, level=Level(supplement="bran", pct=own.supplement_pct), cluster="R",
        fate=fate, at_worst=fate, looked_round=True, sides=sides,
    )  # fmt: skip


def test_a_bad_heat_run_stands_out_and_a_high_level_doesn_t() -> None:
    """Both runs hold what they hold: expected losses follow the levels' shares."""
    bags = [bag(Fate.LOST, heat_run="R1", level=8.0)] * 4 + [bag(Fate.CLEAN, heat_run="R1", level=4.0)] * 2
    bags += [bag(Fate.CLEAN, heat_run="R2", level=8.0)] * 4 + [bag(Fate.CLEAN, heat_run="R2", level=4.0)] * 6
    runs = {own.name: own for own in find_sources(bags)}
    assert runs["R1"] == LossSource(kind="heat run", name="R1", followed=6, lost=4, expected=2.0)
    assert runs["R2"].expected == pytest.approx(2)
    assert say_sources([*runs.values()]) == (
        "4 of the 6 bags of heat run R1 were lost; by strain and level 2.0 were to be expected.",
    )


def test_shared_by_all_or_by_none_says_nothing() -> None:
    """One spawn lot for all bags is no source to tell; bags on their way are passed over."""
    bags = [bag(Fate.LOST, spawn_lot="L1"), bag(Fate.CLEAN, spawn_lot="L1")]
    assert find_sources(bags) == ()
    bags = [bag(Fate.LOST, shelf="A"), bag(Fate.CLEAN, shelf="B"), bag(Fate.RUNNING, shelf="B")]
    assert [(own.kind, own.name, own.followed, own.lost) for own in find_sources(bags)] == [
        ("shelf", "A", 1, 1),
        ("shelf", "B", 1, 0),
    ]


def test_nothing_lost_has_no_source() -> None:
    """Empty."""
    assert find_sources([bag(Fate.CLEAN, shelf="A"), bag(Fate.CLEAN, shelf="B")]) == ()


def test_sides_of_the_bag() -> None:
    """Each side that was named, of all lost bags; who named none comes last."""
    lost = [bag(Fate.LOST, sides=("back", "bottom")), bag(Fate.LOST, sides=("back",)), bag(Fate.LOST)]
    assert [(own.name, own.followed, own.lost, own.expected) for own in find_sources(lost)] == [
        ("back", 3, 2, None),
        ("bottom", 3, 1, None),
        ("not said", 3, 1, None),
    ]


def test_trials_are_told_apart() -> None:
    """Heat run R1 of one trial is not R1 of the other."""
    bags = [bag(Fate.LOST, heat_run="R1"), bag(Fate.CLEAN, heat_run="R1", trial="rowan")]
    assert [own.name for own in find_sources(bags)] == ["hornbeam R1", "rowan R1"]


def coded(count: int, lost: int, *, start: int = 0, level: float = 4.0) -> list[FollowedBag]:
    """Some bags of one level with codes from B`start`, the first of them lost."""
    made = []
    for at in range(count):
        own = bag(Fate.LOST if at < lost else Fate.CLEAN, level=level)
        made.append(replace(own, bag=replace(own.bag, bag=f"B{start + at}")))
    return made


def test_chance_is_the_hypergeometric_tail() -> None:
    """4 of 5 losses among 8 of 24 bags: (70 x 16 + 56) of 42504 ways, counted by hand."""
    run = frozenset(f"B{at}" for at in (0, 1, 2, 3, 20, 21, 22, 23))
    assert chance_of_gathering(coded(24, 5), run) == pytest.approx((70 * 16 + 56) / 42504)
    assert chance_of_gathering(coded(24, 5), frozenset()) == 1


def test_losses_that_the_level_explains_gather_by_chance() -> None:
    """A run that holds the high level alone, and its losses, says nothing of the run."""
    bags = coded(6, 4, level=8.0) + coded(6, 0, start=6, level=0.0)
    assert chance_of_gathering(bags, frozenset(f"B{at}" for at in range(6))) == 1
    mixed = coded(4, 2, level=8.0) + coded(4, 2, start=4, level=0.0)
    # Each level's two losses are the two of its four bags that are in the run: (1/6) squared.
    assert chance_of_gathering(mixed, frozenset({"B0", "B1", "B4", "B5"})) == pytest.approx(1 / 36)
