"""Bags drawn by lot over heat runs, mixes, shelf tiers and the spawning order, balanced as far as it goes.

Restricted randomisation: each factor is dealt out like cards over a list sorted by level and strain, so
that any treatment's bags differ by at most one between two tiers or two heat runs; of many such deals the
one is kept in which strains, tiers and runs meet most evenly. The order of levels, strains, bags and
places is drawn with the seed.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from random import Random
from typing import TypeVar

from colscan.trial.baglist import NOTHING
from colscan.trial.model import Bag, Shelf

T = TypeVar("T")
# Deals drawn to choose from. Only strains by tiers, strains by runs and tiers by runs gain by more of them;
# past some dozens they no longer do.
_DEALS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Scheme:
    """What bags are drawn over.

    Parameters
    ----------
    seed : int
        Of the draw; the same seed, scheme and bags give the same plan.
    heat_runs : int
        Number of heat runs.
    blanks_per_run : int
        Sealed bags without spawn in each heat run.
    mix_capacity : int or None
        Bags that one mix fills at most; None for one mix of each level in each heat run.
    shelves : tuple of Shelf
        Where the bags go; each tier is a group. Empty for no places.
    spawn_lots : tuple of (str, str)
        Strain and lot; several lots of a strain are dealt over its bags.
    """

    seed: int
    heat_runs: int = 2
    blanks_per_run: int = 0
    mix_capacity: int | None = None
    shelves: tuple[Shelf, ...] = ()
    spawn_lots: tuple[tuple[str, str], ...] = ()

    @property
    def zones(self) -> tuple[tuple[str, int], ...]:
        """Shelf and tier of each group, from 1 at the top."""
        return tuple((shelf.name, tier) for shelf in self.shelves for tier in range(1, shelf.tiers + 1))


def draw_bags(bags: Sequence[Bag], scheme: Scheme) -> tuple[Bag, ...]:
    """Return the bags with heat run, mix, group, place, spawn lot and order; then the blanks.

    Bags come in spawning order, so that a code given by it tells nothing of the treatment. Codes and tags
    are those of the bags given and no longer theirs: `number_bags` gives them anew.

    Parameters
    ----------
    bags : sequence of Bag
        Every strain at every level, each as often as it is replicated.
    scheme : Scheme
        What to draw them over.
    """
    rng = Random(scheme.seed)
    runs, zones = _deal_evenly(bags, scheme, rng)
    drawn = [
        dataclasses.replace(bag, heat_run=f"H{run + 1}", group=_group(scheme, zone))
        for bag, run, zone in zip(bags, runs, zones, strict=True)
    ]
    drawn = _order_for_spawning(_deal_lots(drawn, scheme, rng), rng)
    drawn += _add_blanks(drawn, scheme, rng)
    return tuple(_place(_mix(drawn, scheme, rng), scheme, rng))


def number_bags(bags: Sequence[Bag], tags: Sequence[int]) -> tuple[Bag, ...]:
    """Return the bags with the codes B01, B02, ... and these tags, in their order."""
    digits = max(2, len(str(len(bags))))
    return tuple(
        dataclasses.replace(bag, bag=f"B{number:0{digits}d}", tag=tag)
        for number, (bag, tag) in enumerate(zip(bags, tags, strict=True), start=1)
    )


def _group(scheme: Scheme, zone: int) -> str | None:
    return f"G{zone + 1}" if scheme.zones else None


def _shuffled(values: Iterable[T], rng: Random) -> list[T]:
    shuffled = list(values)
    rng.shuffle(shuffled)
    return shuffled


def _deal_evenly(bags: Sequence[Bag], scheme: Scheme, rng: Random) -> tuple[list[int], list[int]]:
    """Return heat run and zone of each bag: of many deals the one in which all pairs meet most evenly."""
    zones = len(scheme.zones) or 1
    deals = [(_deal(bags, scheme.heat_runs, rng), _deal(bags, zones, rng)) for _ in range(_DEALS)]

    def unevenness(deal: tuple[list[int], list[int]]) -> int:
        strains = [bag.strain for bag in bags]
        pairs: tuple[Iterable[Hashable], ...] = (
            zip(strains, deal[0], strict=True),
            zip(strains, deal[1], strict=True),
            zip(*deal, strict=True),
        )
        return sum(count**2 for pair in pairs for count in Counter(pair).values())

    return min(deals, key=unevenness)


def _deal(bags: Sequence[Bag], parts: int, rng: Random) -> list[int]:
    """Return a part for each bag; any level, and any strain at a level, is spread within one bag.

    A stretch of m cards dealt round a table of k gives each place floor(m/k) or ceil(m/k); a level, and
    within it a strain, is such a stretch.
    """
    levels = {level: rng.random() for level in {bag.supplement_pct: None for bag in bags}}
    cells = {cell: rng.random() for cell in {(bag.supplement_pct, bag.strain): None for bag in bags}}
    keys = [(levels[bag.supplement_pct], cells[bag.supplement_pct, bag.strain], rng.random()) for bag in bags]
    labels = _shuffled(range(parts), rng)
    dealt = [0] * len(bags)
    for turn, at in enumerate(sorted(range(len(bags)), key=keys.__getitem__)):
        dealt[at] = labels[turn % parts]
    return dealt


def _deal_lots(bags: Sequence[Bag], scheme: Scheme, rng: Random) -> list[Bag]:
    lotted = list(bags)
    for strain in dict.fromkeys(strain for strain, _ in scheme.spawn_lots):
        lots = [lot for of, lot in scheme.spawn_lots if of == strain]
        own = [at for at, bag in enumerate(bags) if bag.strain == strain]
        for at, part in zip(own, _deal([bags[at] for at in own], len(lots), rng), strict=True):
            lotted[at] = dataclasses.replace(bags[at], spawn_lot=lots[part])
    return lotted


def _order_for_spawning(bags: Sequence[Bag], rng: Random) -> list[Bag]:
    """Return the bags in the order they are spawned: heat run by heat run, in each the levels in turn."""
    ordered = []
    for run in sorted({bag.heat_run or "" for bag in bags}, key=lambda name: int(name[1:])):
        own = [bag for bag in bags if bag.heat_run == run]
        by_level = [_in_rounds(level, lambda bag: bag.strain, rng) for level in _split_by_level(own)]
        ordered += _in_rounds([bag for level in by_level for bag in level], _level_of, rng)
    return [dataclasses.replace(bag, spawn_order=number) for number, bag in enumerate(ordered, start=1)]


def _level_of(bag: Bag) -> float:
    return bag.supplement_pct


def _split_by_level(bags: Sequence[Bag]) -> list[list[Bag]]:
    return [
        [bag for bag in bags if bag.supplement_pct == level] for level in dict.fromkeys(map(_level_of, bags))
    ]


def _in_rounds(bags: Sequence[Bag], kind: Callable[[Bag], Hashable], rng: Random) -> list[Bag]:
    """Return bags in rounds that hold each kind once; a kind that runs short is left out of one round.

    The short round has its place drawn too, or the kinds that have one bag more would gather at the end.
    A kind's own bags keep their order.
    """
    counts = Counter(map(kind, bags))
    most = max(counts.values())
    short = rng.randrange(most)
    seats = {
        of: [turn for turn in range(most) if count == most or turn != short] for of, count in counts.items()
    }
    seen: Counter[Hashable] = Counter()
    keyed = []
    for bag in bags:
        of = kind(bag)
        keyed.append((seats[of][seen[of]], rng.random(), bag))
        seen[of] += 1
    return [bag for *_, bag in sorted(keyed, key=lambda entry: entry[:2])]


def _add_blanks(bags: Sequence[Bag], scheme: Scheme, rng: Random) -> list[Bag]:
    """Return the sealed bags of each heat run: levels that are in the run in turn, on the emptiest tiers."""
    held = Counter(bag.group for bag in bags)
    levels = _shuffled({bag.supplement_pct: bag for bag in bags}.values(), rng)
    blanks: list[Bag] = []
    for run in range(1, scheme.heat_runs + 1):
        there = {bag.supplement_pct for bag in bags if bag.heat_run == f"H{run}"}
        for _ in range(scheme.blanks_per_run):
            like = next(bag for bag in levels if bag.supplement_pct in there)
            levels = [bag for bag in levels if bag is not like] + [like]
            group = min(held, key=lambda name: (held[name], rng.random()))
            held[group] += 1
            blank = dataclasses.replace(
                like, role="blank", strain=NOTHING, heat_run=f"H{run}", group=group,
                spawn_lot=None, spawn_order=None,
            )  # fmt: skip
            blanks.append(blank)
    return blanks


def _mix(bags: Sequence[Bag], scheme: Scheme, rng: Random) -> list[Bag]:
    """Return the bags with their mixes: a mix has one level and goes into one heat run."""
    mixed = list(bags)
    number = 0
    for run in range(1, scheme.heat_runs + 1):
        levels = {bag.supplement_pct: None for bag in bags if bag.heat_run == f"H{run}"}
        for level in _shuffled(levels, rng):
            own = [at for at, b in enumerate(bags) if (b.heat_run, b.supplement_pct) == (f"H{run}", level)]
            parts = -(-len(own) // (scheme.mix_capacity or len(own)))
            for at, part in zip(own, _deal([bags[at] for at in own], parts, rng), strict=True):
                mixed[at] = dataclasses.replace(bags[at], mix_batch=f"M{number + part + 1:02d}")
            number += parts
    return mixed


def _place(bags: Sequence[Bag], scheme: Scheme, rng: Random) -> list[Bag]:
    placed = list(bags)
    for zone, (shelf, tier) in enumerate(scheme.zones):
        own = [at for at, bag in enumerate(bags) if bag.group == _group(scheme, zone)]
        for place, at in enumerate(_shuffled(own, rng), start=1):
            position = f"tier {tier} place {place}"
            placed[at] = dataclasses.replace(bags[at], shelf=shelf, position=position)
    return placed
