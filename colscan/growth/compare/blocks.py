"""Between which bags labels may be exchanged, and when nothing tells a level from what its bags shared."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from colscan.growth.compare.exchange import count_labellings
from colscan.trial.model import Bag

_SHARED = (("heat run", "heat_run"), ("tier", "group"), ("spawn lot", "spawn_lot"))
ENOUGH_FOR_FINE_BLOCKS = 200
"""Ways to deal labels (a p of 0.01 in reach) from which blocks are made finer by tiers."""
ENOUGH_TO_TEST = 40
"""Ways from which a two-sided p of 0.05 is in reach."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Which bags carry a comparison, and among which of them labels are exchanged.

    Parameters
    ----------
    kept : tuple of int
        Places of the bags in the list that was given.
    names : tuple of str
        The block of each kept bag.
    words : str
        What the bags of a block share.
    """

    kept: tuple[int, ...]
    names: tuple[str, ...]
    words: str


def find_coinciding(bags: Sequence[Bag], labels: Sequence[int]) -> str | None:
    """Return what coincides with the labels: `heat run`, `tier` or `spawn lot`; None when nothing does.

    It does when there are several of them and none holds bags of two labels.
    """
    for words, field in _SHARED:
        held: dict[str, set[int]] = defaultdict(set)
        for bag, label in zip(bags, labels, strict=True):
            if (share := getattr(bag, field)) is not None:
                held[share].add(label)
        if len(held) > 1 and all(len(of) == 1 for of in held.values()):
            return words
    return None


def choose_blocks(bags: Sequence[Bag], labels: Sequence[int]) -> Blocks | None:
    """Return between which bags labels are exchanged, None when level and heat run can't be parted.

    Bags of a heat run share steam, hands and the day they were made, those of a tier its warmth. So labels
    are exchanged within strain and heat run, and within the tier, too, where that leaves out no bag and
    enough ways to deal. Where heat runs hold too few bags to exchange, labels are exchanged within the
    strain, provided that they are spread over the runs as evenly as they can be: as `plan` deals them.

    Parameters
    ----------
    bags : sequence of Bag
        Of the treatments that are compared.
    labels : sequence of int
        One for each bag.
    """
    fine = _block(bags, labels, ("strain", "heat_run", "group"))
    if len(fine.kept) == len(bags) and _ways(fine, labels) >= ENOUGH_FOR_FINE_BLOCKS:
        return fine
    by_run = _block(bags, labels, ("strain", "heat_run"))
    if _ways(by_run, labels) >= ENOUGH_TO_TEST:
        return by_run
    return _block(bags, labels, ("strain",)) if _is_even(bags, labels) else None


def _block(bags: Sequence[Bag], labels: Sequence[int], fields: Sequence[str]) -> Blocks:
    """Blocks of bags alike in these; what is one and the same, or not said, for all bags goes unsaid."""
    names = [" / ".join(str(getattr(bag, field)) for field in fields) for bag in bags]
    held: dict[str, set[int]] = defaultdict(set)
    for name, label in zip(names, labels, strict=True):
        held[name].add(label)
    kept = tuple(at for at, name in enumerate(names) if len(held[name]) > 1)
    telling = [field for field in fields if len({getattr(bag, field) for bag in bags}) > 1]
    words = {"strain": "strain", "heat_run": "heat run", "group": "tier"}
    *most, last = [words[field] for field in telling] or ["all bags"]
    return Blocks(
        kept=kept,
        names=tuple(names[at] for at in kept),
        words=f"{', '.join(most)} and {last}" if most else last,
    )


def _ways(blocks: Blocks, labels: Sequence[int]) -> int:
    return count_labellings([labels[at] for at in blocks.kept], blocks.names) if blocks.kept else 1


def _is_even(bags: Sequence[Bag], labels: Sequence[int]) -> bool:
    """Whether every strain's label has as many bags in each heat run, to within one."""
    cells: Counter[Hashable] = Counter(
        (bag.strain, label, bag.heat_run) for bag, label in zip(bags, labels, strict=True)
    )
    runs = {bag.heat_run for bag in bags}
    kinds = {(bag.strain, label) for bag, label in zip(bags, labels, strict=True)}
    counts = [[cells[(*kind, run)] for run in runs] for kind in kinds]
    return all(max(of) - min(of) <= 1 for of in counts)
