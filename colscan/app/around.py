"""What surrounds a lost bag, in lines for the terminal and the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from colscan.units import to_pct

if TYPE_CHECKING:
    from colscan.growth.model import BagStatus
    from colscan.growth.surroundings import Surroundings

_NAMED = 12
"""Bags of a batch that are named: more don't help to decide which to look at first."""


def say_surroundings(around: Surroundings) -> list[str]:
    """Return a lost bag's neighbours, the bags of its batches and the pattern, a line each.

    Parameters
    ----------
    around : Surroundings
        What surrounds it.
    """
    lines = []
    if around.placed_by is None:
        lines.append("Neighbours: not known, for it has neither a place in the plan nor a photo.")
    elif not around.neighbours:
        lines.append(f"Neighbours, by {around.placed_by}: none.")
    else:
        beside = "; ".join(f"{one.side} {_say_bag(one.status)}" for one in around.neighbours)
        lines.append(f"Neighbours, by {around.placed_by}: {beside}.")
    for batch in around.batches:
        lines.append(f"Same {batch.kind} {batch.name}: {_say_bags(batch.statuses)}.")
    return [*lines, around.pattern]


def _say_bags(statuses: tuple[BagStatus, ...]) -> str:
    if not statuses:
        return "no other bag"
    more = len(statuses) - _NAMED
    said = "; ".join(_say_bag(status) for status in statuses[:_NAMED])
    return f"{said}; and {more} more" if more > 0 else said


def _say_bag(status: BagStatus) -> str:
    """A bag's code, its state and how far it is colonized."""
    pct = to_pct(status.coverage)
    return f"{status.bag} {status.advice}" + ("" if pct is None else f" {pct:.0f} %")
