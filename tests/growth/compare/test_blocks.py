"""Between which bags labels are exchanged, and when nothing tells a level from what its bags shared."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hornbeam import make_bag
from planned import draw_plan

from colscan.growth.compare.blocks import choose_blocks, find_coinciding
from colscan.trial.model import Bag, Shelf
from colscan.trial.planning import Scheme


def _bags(*rows: tuple[int, str | None, str | None]) -> tuple[list[Bag], list[int]]:
    """Label, heat run and tier of each bag."""
    bags = [
        make_bag(f"B{i}", level=4.0 * label, heat_run=run, group=tier)
        for i, (label, run, tier) in enumerate(rows)
    ]
    return bags, [label for label, _, _ in rows]


def test_heat_runs_that_hold_both_are_blocks() -> None:
    """8 bags a level over two heat runs: labels stay within the run."""
    bags, labels = _bags(*[(i % 2, f"H{1 + (i // 2) % 2}", None) for i in range(16)])
    blocks = choose_blocks(bags, labels)
    assert blocks is not None
    assert blocks.words == "heat run"
    assert blocks.kept == tuple(range(16))
    assert len(set(blocks.names)) == 2


def test_tiers_make_finer_blocks_where_that_leaves_out_no_bag() -> None:
    """16 bags a level over 2 runs and 2 tiers: four blocks; with one bag a cell the tier is left out."""
    rows = [(i % 2, f"H{1 + (i // 2) % 2}", f"G{1 + (i // 4) % 2}") for i in range(32)]
    blocks = choose_blocks(*_bags(*rows))
    assert blocks is not None
    assert (blocks.words, len(set(blocks.names))) == ("heat run and tier", 4)
    bags, labels = _bags(*rows)
    both = [*bags, *(replace(bag, strain="PE-1") for bag in bags)]
    over = choose_blocks(both, labels * 2)
    assert over is not None
    assert over.words == "strain, heat run and tier"
    lone = [(i % 2, f"H{1 + (i // 2) % 2}", f"G{i}") for i in range(16)]
    coarser = choose_blocks(*_bags(*lone))
    assert coarser is not None
    assert coarser.words == "heat run"


def test_bags_of_runs_with_one_level_carry_nothing() -> None:
    """A third run with one level only is left out: its bags can't be held against the others'."""
    rows = [(i % 2, f"H{1 + (i // 2) % 2}", None) for i in range(16)] + [(1, "H3", None)] * 5
    blocks = choose_blocks(*_bags(*rows))
    assert blocks is not None
    assert blocks.kept == tuple(range(16))


def test_small_runs_fall_back_to_the_strain() -> None:
    """One bag of each level in each of 5 runs, as drawn: 2^5 ways are too few, so within the strain."""
    rows = [(label, f"H{run}", None) for run in range(1, 6) for label in (0, 1)]
    blocks = choose_blocks(*_bags(*rows))
    assert blocks is not None
    assert (blocks.words, len(blocks.kept)) == ("all bags", 10)


def test_uneven_runs_of_one_level_each_can_t_be_parted() -> None:
    """Level and heat run are the same, or nearly: no blocks."""
    bags, labels = _bags(*[(i % 2, f"H{1 + i % 2}", None) for i in range(16)])
    assert choose_blocks(bags, labels) is None
    assert find_coinciding(bags, labels) == "heat run"


@pytest.mark.parametrize(
    ("field", "words"), [("heat_run", "heat run"), ("group", "tier"), ("spawn_lot", "spawn lot")]
)
def test_what_coincides(field: str, words: str) -> None:
    """Several of them, none with bags of both levels; where one holds both, or all are one, nothing does."""
    apart = [make_bag(f"B{i}", level=4.0 * (i % 2), **{field: f"X{i % 2}"}) for i in range(8)]
    assert find_coinciding(apart, [i % 2 for i in range(8)]) == words
    met = [*apart, make_bag("B9", level=4.0, **{field: "X0"})]
    assert find_coinciding(met, [*(i % 2 for i in range(8)), 1]) is None
    one = [make_bag(f"B{i}", level=4.0 * (i % 2), **{field: "X"}) for i in range(8)]
    assert find_coinciding(one, [i % 2 for i in range(8)]) is None
    unsaid = [make_bag(f"B{i}", level=4.0 * (i % 2)) for i in range(8)]
    assert find_coinciding(unsaid, [i % 2 for i in range(8)]) is None


def test_a_drawn_plan_can_be_tested_within_its_heat_runs() -> None:
    """Two strains, 8 bags of each level over 2 runs and 4 tiers, as `plan` deals them."""
    trial = draw_plan((0.0, 8.0), 8, Scheme(seed=3, heat_runs=2, shelves=(Shelf(name="rack", tiers=4),)))
    bags = [bag for bag in trial.bags if bag.role == "trial"]
    blocks = choose_blocks(bags, [int(bag.supplement_pct > 0) for bag in bags])
    assert blocks is not None
    assert blocks.words.startswith("strain and heat run")
    assert len(blocks.kept) >= 28
