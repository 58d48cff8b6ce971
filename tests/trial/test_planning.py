"""Bags drawn by lot: balanced to exact bounds whatever the seed, and the same again for the same seed."""

from collections import Counter
from datetime import UTC, datetime
from functools import cache

import pytest

from colscan.trial.bagcodes import explain_mangling
from colscan.trial.layout import Layout, lay_out_bags
from colscan.trial.model import Bag, Shelf
from colscan.trial.planning import Scheme, draw_bags, number_bags

DAY_0 = datetime(2026, 3, 2, 6, tzinfo=UTC)
SEEDS = 80
# Strains, levels, replicates, heat runs, tiers: one that divides evenly, and ones that don't.
DESIGNS = [(3, 3, 4, 2, 2), (2, 4, 5, 3, 4), (1, 3, 6, 2, 3), (3, 2, 3, 4, 3), (2, 3, 1, 2, 2)]


def draw(design: tuple[int, int, int, int, int], seed: int, **more) -> tuple[Bag, ...]:
    """The bags of a design under a seed."""
    strains, levels, replicates, runs, tiers = design
    layout = Layout(
        strains=tuple(f"S-{i}" for i in range(strains)),
        levels_pct=tuple(4.0 * i for i in range(levels)),
        replicates=replicates,
    )
    shelves = (Shelf(name="cellar", tiers=tiers),)
    scheme = Scheme(seed=seed, heat_runs=runs, shelves=shelves, **more)
    return draw_bags(lay_out_bags(layout, DAY_0, taken=()), scheme)


drawn = cache(draw)
"""The same, for what several tests look at: eighty plans of each design."""


def assert_spread(pairs: list[tuple[object, object]], parts: int) -> None:
    """Every kind has floor(m/k) or ceil(m/k) of its m bags in each of the k parts."""
    table, totals = Counter(pairs), Counter(kind for kind, _ in pairs)
    shares = {share for _, share in pairs}
    for kind, total in totals.items():
        counts = [table[kind, share] for share in shares] + [0] * (parts - len(shares))
        assert min(counts) == total // parts
        assert max(counts) == -(-total // parts)


@pytest.mark.parametrize("design", DESIGNS)
def test_no_treatment_is_concentrated(design) -> None:
    """Levels, and strains at a level, are within one bag over tiers and heat runs, for 80 seeds.

    Source: a stretch of m cards dealt round a table of k gives each place floor(m/k) or ceil(m/k).
    """
    *_, runs, tiers = design
    for seed in range(SEEDS):
        bags = drawn(design, seed)
        for kind in (lambda b: b.supplement_pct, lambda b: (b.strain, b.supplement_pct), lambda b: "all"):
            assert_spread([(kind(b), b.heat_run) for b in bags], runs)
            assert_spread([(kind(b), b.group) for b in bags], tiers)


@pytest.mark.parametrize("design", DESIGNS)
def test_no_treatment_is_at_one_end_of_the_spawning_order(design) -> None:
    """At any moment of a heat run two levels differ by at most two bags spawned, for 80 seeds.

    Source: whole rounds hold each level once; the round under way and the one short round add one each.
    So up to any moment of the trial they differ by at most one more for each run that is over.
    """
    levels, runs = design[1], design[3]
    for seed in range(SEEDS):
        bags = drawn(design, seed)
        assert [b.spawn_order for b in bags] == list(range(1, len(bags) + 1))
        spawned, in_run = Counter(), Counter()
        for before, bag in zip((None, *bags), bags, strict=False):
            if before and before.heat_run != bag.heat_run:
                in_run.clear()
            spawned[bag.supplement_pct] += 1
            in_run[bag.supplement_pct] += 1
            over = int(bag.heat_run[1:]) - 1
            assert max(in_run.values()) - min(in_run[4.0 * i] for i in range(levels)) <= 2
            assert max(spawned.values()) - min(spawned[4.0 * i] for i in range(levels)) <= over + 2
        assert over == runs - 1


@pytest.mark.parametrize("design", DESIGNS[:4])
def test_each_level_is_in_two_runs(design) -> None:
    """Wherever a level has as many bags as there are runs it is in each, and its mixes are in two or more."""
    for seed in range(SEEDS):
        bags = drawn(design, seed)
        for level in {b.supplement_pct for b in bags}:
            own = [b for b in bags if b.supplement_pct == level]
            assert len({b.heat_run for b in own}) == min(design[3], len(own)) >= 2
            assert len({b.mix_batch for b in own}) >= 2


def test_strains_tiers_and_runs_meet() -> None:
    """Where the numbers divide, each strain has its share of each tier and run, and tier is not run."""
    for seed in range(SEEDS):
        bags = drawn((3, 3, 4, 2, 2), seed)
        assert set(Counter((b.strain, b.heat_run) for b in bags).values()) == {6}
        assert set(Counter((b.strain, b.group) for b in bags).values()) == {6}
        assert min(Counter((b.group, b.heat_run) for b in bags).values()) >= 8


def test_every_order_of_levels_comes_up() -> None:
    """Over the seeds each level leads about as often as another (chi-square over 400 draws).

    Source: 16.27 is the upper 0.1 % point of chi-square with 3 degrees of freedom.
    """
    first = Counter(drawn((2, 4, 5, 3, 4), seed)[0].supplement_pct for seed in range(400))
    assert sum((first[4.0 * i] - 100) ** 2 / 100 for i in range(4)) < 16.27


def test_mixes_hold_one_level_and_fit() -> None:
    """A mix is of one level, in one heat run, not larger than it can be; blanks count in."""
    for seed in range(20):
        bags = draw((3, 3, 4, 2, 2), seed, mix_capacity=4, blanks_per_run=2)
        for mix in {b.mix_batch for b in bags}:
            own = [b for b in bags if b.mix_batch == mix]
            assert len(own) <= 4
            assert len({(b.supplement_pct, b.heat_run) for b in own}) == 1


def test_blanks_are_sealed_bags_of_each_run() -> None:
    """So many a run, without strain, lot and order, of different levels, on different tiers."""
    bags = draw((3, 3, 4, 2, 2), 5, blanks_per_run=1, spawn_lots=(("S-0", "L7"),))
    blanks = [b for b in bags if b.role == "blank"]
    assert [b.heat_run for b in blanks] == ["H1", "H2"]
    assert {(b.strain, b.spawn_lot, b.spawn_order) for b in blanks} == {("none", None, None)}
    assert len({b.supplement_pct for b in blanks}) == 2
    assert len({b.group for b in blanks}) == 2


def test_spawn_lots_are_spread_over_levels() -> None:
    """Two lots of a strain: each level has both; a strain without a lot has none."""
    bags = draw((2, 3, 4, 2, 2), 3, spawn_lots=(("S-0", "L7"), ("S-0", "L8")))
    pairs = Counter((b.supplement_pct, b.spawn_lot) for b in bags if b.strain == "S-0")
    assert set(pairs.values()) == {2}
    assert {b.spawn_lot for b in bags if b.strain == "S-1"} == {None}


def test_the_seed_repeats_the_plan() -> None:
    """The same seed gives the same plan, another seed another."""
    assert draw(DESIGNS[0], 7) == draw(DESIGNS[0], 7) != draw(DESIGNS[0], 8)


def test_places_are_each_used_once() -> None:
    """No two bags on one place; places are numbered without a gap."""
    bags = draw((2, 4, 5, 3, 4), 1, blanks_per_run=1)
    places = {(b.shelf, b.position) for b in bags}
    assert len(places) == len(bags)
    assert {b.position for b in bags if b.group == "G1"} == {f"tier 1 place {i}" for i in range(1, 12)}


def test_codes_survive_a_spreadsheet() -> None:
    """No code of bag, group, run or mix is one that a spreadsheet turns into something else."""
    bags = number_bags(draw((3, 5, 10, 12, 12), 1, blanks_per_run=1), range(1, 163))
    assert bags[0].bag == "B001"
    words = {word for b in bags for word in (b.bag, b.group, b.heat_run, b.mix_batch, b.position)}
    assert {word: explain_mangling(word) for word in words if explain_mangling(word)} == {}
