"""What a plan can't tell apart is said, and nothing else is."""

import dataclasses
from datetime import UTC, datetime

from colscan.trial.confounding import find_confounded
from colscan.trial.model import Bag


def bags(*rows: tuple[float, str, str]) -> list[Bag]:
    """Bags of one strain: level, heat run, mix."""
    return [
        Bag(
            bag=f"B{i}",
            strain="S-1",
            supplement="bran",
            supplement_pct=level,
            heat_run=run,
            mix_batch=mix,
            inoculated_at=datetime(2026, 3, 2, tzinfo=UTC),
        )
        for i, (level, run, mix) in enumerate(rows)
    ]


def test_level_and_run_the_same() -> None:
    """A level to a run: said of the run and of the mix."""
    found = find_confounded(bags((0, "H1", "M1"), (0, "H1", "M1"), (8, "H2", "M2"), (8, "H2", "M2")))
    assert "Level and heat run are the same here: nothing tells their effects apart." in found
    assert "Level and mix are the same here: nothing tells their effects apart." in found


def test_levels_that_meet_through_a_third() -> None:
    """0 meets 4 and 4 meets 8 in a run: all three can be compared; without the link they can't."""
    linked = bags((0, "H1", "M1"), (4, "H1", "M2"), (4, "H2", "M3"), (8, "H2", "M4"))
    assert not [line for line in find_confounded(linked) if "never meet" in line]
    parted = bags((0, "H1", "M1"), (4, "H1", "M2"), (8, "H2", "M4"), (12, "H2", "M5"))
    never = [line for line in find_confounded(parted) if "never meet" in line]
    assert never == [
        "These never meet in one heat run, so their differences may be its: bran 0 %, bran 4 %"
        " | bran 12 %, bran 8 %."
    ]


def test_one_run_for_all() -> None:
    """One heat run hides nothing between levels; its failure would be everybody's."""
    found = find_confounded(bags((0, "H1", "M1"), (8, "H1", "M2"), (0, "H1", "M3"), (8, "H1", "M4")))
    assert any(line.startswith("All bags go through one heat run") for line in found)
    assert not [line for line in found if "heat run are the same" in line]
    assert any("others of its level (2 at least)" in line for line in found)


def test_no_run_named() -> None:
    """Bags of which no heat run is known may have gone through many: nothing is said of it."""
    unnamed = [dataclasses.replace(bag, heat_run=None) for bag in bags((0, "", "M1"), (8, "", "M2"))]
    assert not [line for line in find_confounded(unnamed) if "heat run" in line]


def test_a_level_in_one_run_of_several() -> None:
    """A level that is in one of two runs is named."""
    found = find_confounded(bags((0, "H1", "M1"), (0, "H2", "M2"), (8, "H2", "M3")))
    assert "In one heat run only: bran 8 %; a bad heat run looks like the level." in found


def test_strain_and_spawn_lot() -> None:
    """One lot a strain is told; two lots a strain tell the two apart. Of lots not named nothing is known."""
    one = bags((0, "H1", "M1"), (0, "H2", "M2"), (0, "H1", "M1"), (0, "H2", "M2"))
    two = [dataclasses.replace(bag, strain=f"S-{i % 2}") for i, bag in enumerate(one)]
    said = "Strain and spawn lot are the same here: nothing tells their effects apart."
    assert said not in find_confounded(two)
    assert (
        "No spawn lot is named for S-0, S-1: if a strain's spawn is one lot, nothing tells the effects of the"
        " two apart."
    ) in find_confounded(two)
    assert said in find_confounded([dataclasses.replace(bag, spawn_lot=f"of {bag.strain}") for bag in two])
    lotted = [dataclasses.replace(bag, spawn_lot=f"L{i}") for i, bag in enumerate(two)]
    assert said not in find_confounded(lotted)


def test_a_tier_without_a_level() -> None:
    """A tier that lacks a level is counted as a gap."""
    placed = [
        dataclasses.replace(bag, group=group)
        for bag, group in zip(
            bags((0, "H1", "M1"), (8, "H1", "M2"), (0, "H2", "M3")), ("G1", "G1", "G2"), strict=True
        )
    ]
    assert any(
        line.startswith("Not every tier holds every level (1 gap)") for line in find_confounded(placed)
    )
