"""Where a map of a face parts in two: by its edges, and by its spread."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from colscan.score.face import Grid, Means
from colscan.score.levels import Levels, find_levels

SHAPE = (120, 100)


def levels_of(values: NDArray[np.floating], known: NDArray[np.bool_] | None = None) -> Levels:
    """Of a map that is seen as a whole, or where it is known."""
    known = np.ones(values.shape, bool) if known is None else known
    return find_levels(values.astype(np.float32), known, Means(known))


def colony(share: float) -> Grid:
    """1 within a disc that takes a share of the face, else 0."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] + 0.5
    radius = np.sqrt(share * SHAPE[0] * SHAPE[1] / np.pi)
    return (np.hypot(y - SHAPE[0] / 2, x - SHAPE[1] / 2) < radius).astype(np.float32)


def inside(values: Grid) -> Grid:
    """Without the rim of two cells in which slopes are not asked for."""
    return values[2:-2, 2:-2]


def cloud() -> Grid:
    """Fog that thickens from one side to the other, without an edge: 0-1."""
    return np.broadcast_to(np.linspace(0, 1, SHAPE[1], dtype=np.float32), SHAPE)


def test_a_colony_parts_half_way_at_its_own_share():
    """Both ways, with the share that it takes; its soft rim draws the groups together a little."""
    for share in (0.1, 0.3, 0.5):
        found = levels_of(0.1 + 0.6 * colony(share))
        assert abs(found.edge - 0.4) < 0.05
        assert abs(found.edge_share - inside(colony(share)).mean()) < 0.01
        assert abs(found.split_share - share) < 0.02
        assert 0.1 < found.low < 0.13
        assert 0.5 < found.gap < 0.6
        assert abs(found.reach - 0.6) < 0.01


def test_a_colony_under_fog_is_told_by_its_edge():
    """Fog as bright as half of the colony takes most of the face, yet the steepest level is the colony's."""
    fogged = np.maximum(0.3 * cloud(), 0.7 * colony(0.2))
    found = levels_of(fogged)
    assert (fogged > 0.12).mean() > 0.6
    assert abs(found.edge_share - inside(colony(0.2)).mean()) < 0.01
    assert found.steepness > 5


def test_fog_alone_is_hardly_steep_anywhere():
    """A ramp is as steep at every level."""
    assert levels_of(0.3 * cloud()).steepness < 1.3


def test_what_is_not_known_has_no_say():
    """A bright card beside the known cells changes nothing."""
    known = np.ones(SHAPE, bool)
    known[:30] = False
    plain = 0.1 + 0.6 * colony(0.2)
    other = plain.copy()
    other[:30] = 5.0
    assert levels_of(plain, known) == levels_of(other, known)


def test_a_tie_of_two_levels_is_no_jump():
    """Two colonies of unlike levels, nearly as steep: a millionth more of either moves nothing by much."""
    left, right = (np.roll(colony(0.15), by, 1) for by in (-25, 25))
    steps = np.linspace(-1e-6, 1e-6, 9)
    edges = [levels_of((0.4 + step) * left + 0.8 * right).edge for step in steps]
    assert np.ptp(edges) < 1e-3


def test_the_mirrored_map_has_the_same_levels():
    """To the last digits that sums in another order leave."""
    values = np.maximum(0.3 * cloud(), 0.7 * np.roll(colony(0.2), 15, 1))
    one, other = levels_of(values), levels_of(values[:, ::-1])
    for name in Levels.__dataclass_fields__:
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-3, atol=1e-4)


def test_nothing_to_part_is_said_so():
    """A flat map, and one of which hardly anything is known."""
    few = np.zeros(SHAPE, bool)
    few[:10, :10] = True
    assert levels_of(colony(0.5), few) == Levels()
    flat = levels_of(np.full(SHAPE, 0.4))
    assert flat.steepness == 1
    assert flat.gap < 1e-6
