"""Places of labels, so that none covers another."""

from __future__ import annotations

from collections.abc import Sequence


def spread_labels(wanted: Sequence[float], gap: float, *, low: float, high: float) -> list[float]:
    """Return places as near to the wanted ones as may be, in their order, at least `gap` apart.

    Where they don't all fit between `low` and `high` they are spread evenly.

    Parameters
    ----------
    wanted : sequence of float
        Where each label would stand alone.
    gap : float
        Least distance between two.
    low, high : float
        Range that they stay in.

    >>> spread_labels([50.0, 51.0], 4.0, low=0.0, high=100.0)
    [48.5, 52.5]
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    if len(order) > 1 and gap * (len(order) - 1) > high - low:
        gap = (high - low) / (len(order) - 1)
    # Labels that touch move as one block, centred on the mean of what its members wanted.
    blocks: list[list[int]] = []
    for index in order:
        blocks.append([index])
        while len(blocks) > 1 and _overlap(blocks[-2], blocks[-1], wanted, gap, low, high):
            blocks[-2:] = [blocks[-2] + blocks[-1]]
    places = [0.0] * len(wanted)
    for block in blocks:
        start = _start_of(block, wanted, gap, low, high)
        for step, index in enumerate(block):
            places[index] = start + step * gap
    return places


def _start_of(block: list[int], wanted: Sequence[float], gap: float, low: float, high: float) -> float:
    half = gap * (len(block) - 1) / 2
    centre = sum(wanted[i] for i in block) / len(block)
    return min(max(centre - half, low), high - 2 * half)


def _overlap(
    below: list[int], above: list[int], wanted: Sequence[float], gap: float, low: float, high: float
) -> bool:
    end = _start_of(below, wanted, gap, low, high) + gap * (len(below) - 1)
    return _start_of(above, wanted, gap, low, high) - end < gap


def fill_lanes(starts: Sequence[float], widths: Sequence[float]) -> list[int]:
    """Return for each span, in order of its start, the first lane in which it covers no earlier one.

    >>> fill_lanes([0.0, 1.0, 3.0], [2.0, 2.0, 2.0])
    [0, 1, 0]
    """
    ends: list[float] = []
    lanes = []
    for start, width in zip(starts, widths, strict=True):
        lane = next((i for i, end in enumerate(ends) if end <= start), len(ends))
        ends[lane : lane + 1] = [start + width]
        lanes.append(lane)
    return lanes


def stack_dots(values: Sequence[float], gap: float) -> list[int]:
    """Return for each of some rising values how many dots of a row lie under it, so that none covers another.

    Parameters
    ----------
    values : sequence of float
        Where the dots stand, rising.
    gap : float
        Width of a dot.

    >>> stack_dots([0.0, 0.0, 0.5, 3.0], 1.0)
    [0, 1, 2, 0]
    """
    return fill_lanes(values, [gap] * len(values))
