"""What a plan can't tell apart: treatments that never meet within a heat run, mix, tier or spawn lot."""

from __future__ import annotations

from collections.abc import Sequence

from colscan.trial.model import Bag
from colscan.units import count_of

_FACTORS = (("level", "treatment"), ("strain", "strain"))
_SHARED = (("heat run", "heat_run"), ("tier", "group"), ("mix", "mix_batch"), ("spawn lot", "spawn_lot"))


def find_confounded(bags: Sequence[Bag]) -> tuple[str, ...]:
    """Return what the plan can't tell apart, a sentence each.

    Two levels can be compared free of what bags of a heat run share when a chain of runs that hold both
    links them: in a layout of two factors exactly the contrasts within a connected part can be estimated.

    Parameters
    ----------
    bags : sequence of Bag
        A plan; blanks are passed over.
    """
    own = [bag for bag in bags if bag.role == "trial"]
    found = []
    for factor, factor_field in _FACTORS:
        for shared, shared_field in _SHARED:
            pairs = {
                (str(getattr(bag, factor_field)), share)
                for bag in own
                if (share := getattr(bag, shared_field)) is not None
            }
            found += _judge(factor, shared, pairs)
    unnamed = sorted({bag.strain for bag in own if bag.spawn_lot is None})
    if unnamed and len({bag.strain for bag in own}) > 1:
        found.append(
            f"No spawn lot is named for {', '.join(unnamed)}: if a strain's spawn is one lot, nothing tells"
            " the effects of the two apart."
        )
    runs = {bag.heat_run for bag in own}
    if len(runs) == 1 and None not in runs:
        found.append("All bags go through one heat run: if it fails, it fails for all, and nothing shows it.")
    return tuple(found)


def _judge(factor: str, shared: str, pairs: set[tuple[str, str]]) -> list[str]:
    values, shares = sorted({value for value, _ in pairs}), {share for _, share in pairs}
    if len(values) < 2 or len(shares) < 2:
        return []
    held = {value: {share for of, share in pairs if of == value} for value in values}
    parts = _link(held)
    alone = [value for value in values if len(held[value]) == 1]
    if len(parts) == len(values) and len(alone) == len(values):
        return [f"{factor.capitalize()} and {shared} are the same here: nothing tells their effects apart."]
    found = []
    if len(parts) == len(values):
        fewest = min(map(len, held.values()))
        found.append(
            f"Each {shared} holds one {factor} only: a bad {shared} shows only against the others of its"
            f" {factor} ({fewest} at least)."
        )
    elif len(parts) > 1:
        listed = " | ".join(", ".join(part) for part in parts)
        found.append(f"These never meet in one {shared}, so their differences may be its: {listed}.")
    if alone and shared != "tier":
        found.append(f"In one {shared} only: {', '.join(alone)}; a bad {shared} looks like the {factor}.")
    missing = len(values) * len(shares) - len(pairs)
    if shared == "tier" and missing:
        gaps = count_of(missing, "gap")
        found.append(f"Not every tier holds every {factor} ({gaps}): more bags or fewer tiers.")
    return found


def _link(held: dict[str, set[str]]) -> list[list[str]]:
    """Return the values in parts that share something, directly or through others."""
    parts: list[tuple[list[str], set[str]]] = []
    for value, shares in held.items():
        joined = [part for part in parts if part[1] & shares]
        names = [name for part in joined for name in part[0]] + [value]
        parts = [part for part in parts if part not in joined]
        parts.append((names, shares.union(*(part[1] for part in joined))))
    return [names for names, _ in parts]
