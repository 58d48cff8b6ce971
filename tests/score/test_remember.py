"""Photos of one bag in order of time: what the sequence tells that one photo can't."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colscan.flags import Flag
from colscan.score import remember
from colscan.score.model import Evidence, Memory, PatchSeen, Score

SPAWNED = datetime(2026, 3, 2, 11, tzinfo=UTC)
SIDE = 60
_Y, _X = np.mgrid[:SIDE, :SIDE]
# One colony that grows from the middle: a place is covered from the coverage of its rank on.
RANK = np.hypot(_X - 29.3, _Y - 30.1).ravel().argsort().argsort().reshape(SIDE, SIDE) / SIDE**2


def photo(
    coverage: float,
    *,
    off: float = 0.05,
    opacity: float = 0.5,
    hidden: np.ndarray | None = None,
    patches: tuple[PatchSeen, ...] = (),
) -> Evidence:
    """A photo that shows the colony at a coverage, with a 90 % interval of `off` to either side."""
    shown = np.where(coverage > RANK, opacity, 0.01).astype(np.float32)
    if hidden is not None:
        shown[hidden] = np.nan
    return Evidence(
        key=1,
        coverage=coverage,
        low=max(coverage - off, 0.0),
        high=min(coverage + off, 1.0),
        density=opacity * coverage,
        unseen=0.0 if hidden is None else float(hidden.mean()),
        opacity=shown,
        face=np.ones((SIDE, SIDE), bool),
        patches=patches,
        mm_per_px=0.9,
        outline_px=np.zeros((4, 2)),
        to_px=np.eye(2, 3),
        smallest_spot_mm=3.0,
    )


def follow(*photos: tuple[float, Evidence]) -> list[Score]:
    """The scores of photos given with their days."""
    scores: list[Score] = []
    for day, seen in photos:
        state = scores[-1].state if scores else None
        memory = Memory(spawned_at=SPAWNED, state=state)
        scores.append(remember(seen, memory, taken_at=SPAWNED + timedelta(days=day)))
    return scores


def steady(days: Sequence[float], *, rate: float = 0.15) -> list[tuple[float, float]]:
    """Days and coverages of spheres that grow steadily after a lag of a day and a half."""
    return [(day, 1 - np.exp(-((rate * max(day - 1.5, 0.0)) ** 3))) for day in days]


def test_growth_is_followed():
    """Over clear daily photos the score stays within 5 points of them, in order, and in its interval."""
    truth = steady(range(1, 16))
    scores = follow(*((day, photo(c)) for day, c in truth))
    got = [s.coverage or 0.0 for s in scores]
    assert np.abs(np.subtract(got, [c for _, c in truth])).max() < 0.05
    assert got == sorted(got)
    assert all(
        (s.low or 0) - 0.005 <= c <= (s.high or 0) + 0.005 for s, (_, c) in zip(scores, truth, strict=True)
    )
    assert not any(Flag.FELL in s.flags for s in scores)


def test_a_sequence_knows_more_than_a_photo():
    """Errors of 6 points to either side in turn are smoothed to less than two thirds of it."""
    truth = steady(range(4, 13))
    err = [0.06 * (-1) ** i for i in range(len(truth))]
    scores = follow(*((day, photo(min(c + e, 1.0), off=0.1)) for (day, c), e in zip(truth, err, strict=True)))
    left = [(s.coverage or 0.0) - c for s, (_, c) in zip(scores, truth, strict=True)]
    assert np.abs(left[2:]).mean() < 0.04


def test_whitening_is_density_not_growth():
    """A covered face that whitens: coverage stays, density rises."""
    scores = follow(*((day, photo(0.99, off=0.02, opacity=o)) for day, o in ((9, 0.2), (11, 0.5), (13, 0.8))))
    assert min(s.coverage or 0 for s in scores) > 0.97
    density = [s.density or 0.0 for s in scores]
    assert density == sorted(density)
    assert density[-1] - density[0] > 0.5


def test_a_veil_that_comes_and_goes_is_not_growth():
    """A bare bag under a veil for a day is taken for bare again after it, with no fall and no high doubt."""
    bare = photo(0.005, off=0.02)
    *_, veiled, after = follow(
        (0.2, bare), (1, bare), (2, bare), (3, photo(0.25, off=0.25, opacity=0.15)), (4, bare)
    )
    assert (veiled.coverage or 0) < 0.08
    assert (after.coverage or 1) < 0.02
    assert (after.high or 1) < 0.06
    assert Flag.FELL not in after.flags


def test_a_fog_day_moves_coverage_by_a_few_points():
    """One foggy photo that knows it (60 +- 30) between clear days of 30 and 38 %."""
    clear = [(5, photo(0.17)), (6, photo(0.25)), (7, photo(0.33))]
    fog = (8, photo(0.70, off=0.3))
    with_fog = follow(*clear, fog, (9, photo(0.55)))
    without = follow(*clear, (8, photo(0.44)), (9, photo(0.55)))
    assert abs((with_fog[3].coverage or 0) - (without[3].coverage or 0)) < 0.06
    assert abs((with_fog[4].coverage or 0) - (without[4].coverage or 0)) < 0.02


@pytest.mark.parametrize("mistake", [0.35, 0.45, 0.60, 0.90])
def test_an_early_mistake_is_recovered_from(mistake: float):
    """A first photo far too high, sure of itself, is overruled by four later ones."""
    later = [(6, 0.22), (7, 0.27), (8, 0.33), (9, 0.40)]
    scores = follow((5, photo(mistake, off=0.06)), *((day, photo(c)) for day, c in later))
    assert abs((scores[-1].coverage or 0) - 0.40) < 0.05
    assert (scores[-1].low or 1) <= 0.40 <= (scores[-1].high or 0)


def test_a_mistake_too_low_is_recovered_from():
    """Two photos that missed thin mycelium don't hold back three that see it."""
    scores = follow(
        (4, photo(0.02, off=0.03)),
        (6, photo(0.05, off=0.06)),
        *((day, photo(c, off=0.06)) for day, c in ((8, 0.6), (9, 0.7), (10, 0.8))),
    )
    assert abs((scores[-1].coverage or 0) - 0.8) < 0.05


def test_an_unexplained_fall_is_flagged_and_followed():
    """From 70 to 40 %: flagged, the answer is the photo's, and its interval wider than the photo's."""
    *_, fallen = follow((7, photo(0.62)), (8, photo(0.70)), (9, photo(0.40)))
    assert Flag.FELL in fallen.flags
    assert abs((fallen.coverage or 0) - 0.40) < 0.04
    assert (fallen.high or 0) - (fallen.low or 0) > 0.10


@pytest.mark.parametrize(("now", "off"), [(0.60, 0.05), (0.40, 0.40)])
def test_what_doubt_explains_is_no_fall(now: float, off: float):
    """Ten points, or thirty in a photo that says it can't tell, are no fall."""
    *_, last = follow((7, photo(0.62)), (8, photo(0.70)), (9, photo(now, off=off)))
    assert Flag.FELL not in last.flags
    assert (last.coverage or 0) > 0.58


def test_an_event_forgets():
    """A new segment begins without state: a shaken bag that shows little is not flagged, nor held up."""
    (before,) = follow((8, photo(0.8)))
    shaken = Memory(segment=1, spawned_at=SPAWNED)
    score = remember(photo(0.1), shaken, taken_at=SPAWNED + timedelta(days=9))
    assert score.segment == 1
    assert Flag.FELL not in score.flags
    assert abs((score.coverage or 0) - 0.1) < 0.02
    assert (before.coverage or 0) > 0.75


def test_hidden_today_seen_yesterday():
    """What is hidden today but was seen covered is covered: nothing is lost, and the interval is narrower."""
    hidden = RANK < 0.3
    seen_part = replace(photo(0.5, off=0.12, hidden=hidden), coverage=0.3, low=0.18, high=0.42)
    knowing = follow((7, photo(0.5, off=0.12)), (7.1, seen_part))[1]
    not_knowing = follow((7.1, seen_part))[0]
    assert (knowing.coverage or 0) > 0.44
    assert (knowing.high or 1) - (knowing.low or 0) < (not_knowing.high or 1) - (not_knowing.low or 0)
    assert knowing.state is not None
    assert knowing.state.places is not None
    assert knowing.state.places[hidden].mean() > 0.9


def test_hidden_yesterday_seen_today():
    """A place that was hidden is known from the photo that shows it."""
    hidden = RANK > 0.8
    first, second = follow((7, photo(0.5, hidden=hidden)), (8, photo(0.6)))
    assert second.state is not None
    assert second.state.places is not None
    assert second.state.places[hidden].mean() < 0.1
    assert abs((second.coverage or 0) - 0.6) < 0.05
    assert first.coverage is not None


def test_a_patch_that_grows_over_white_is_no_fall():
    """Mycelium lost under a suspect patch is explained by it."""
    patch = PatchSeen(
        kind="green",
        area_mm2=5000.0,
        area=0.25,
        centre_px=(0.0, 0.0),
        centre_mm=(0.0, 0.0),
        outline_px=np.zeros((3, 2)),
        strength=0.9,
    )
    full, overgrown = follow((12, photo(0.99, off=0.02)), (14, photo(0.74, patches=(patch,))))
    assert Flag.FELL not in overgrown.flags
    assert abs((overgrown.coverage or 0) - 0.74) < 0.03
    assert (full.coverage or 0) > 0.97


def test_unmeasured_keeps_what_was_known():
    """A photo that can't be measured has no score and changes no state."""
    nothing = replace(photo(0.5), coverage=None, low=None, high=None, density=None)
    known, unmeasured = follow((7, photo(0.5)), (8, nothing))
    assert unmeasured.coverage is None
    assert unmeasured.state is known.state


def test_photos_that_err_alike_are_no_surer_together():
    """Where the substrate was guessed, each photo errs by the same guess: no narrower than the photo."""
    photos = [
        (float(day), photo(c, off=0.15)) for day, c in zip((6, 7, 8, 9), (0.4, 0.5, 0.6, 0.7), strict=True)
    ]
    guessed = [(day, replace(seen, flags=(Flag.LATE_BASELINE,))) for day, seen in photos]
    sure, unsure = follow(*photos)[-1], follow(*guessed)[-1]
    assert sure.high - sure.low < 0.28
    assert unsure.high - unsure.low >= 0.299
    assert unsure.coverage == sure.coverage


def test_another_grid_keeps_the_level_alone():
    """Where the face lies on another grid (a new baseline), places are begun anew and coverage is kept."""
    first = follow((7, photo(0.5)))[0]
    small = photo(0.5)
    small = replace(small, opacity=small.opacity[:50], face=small.face[:50])
    score = remember(
        small, Memory(spawned_at=SPAWNED, state=first.state), taken_at=SPAWNED + timedelta(days=8)
    )
    assert score.state is not None
    assert score.state.places is not None
    assert score.state.places.shape == (50, 60)


def test_nothing_given_is_changed():
    """The pass is a pure function: twice the same, and the state before is left as it was."""
    first = follow((7, photo(0.5)))[0]
    assert first.state is not None
    before = first.state.trajectory.chance.copy()
    memory = Memory(spawned_at=SPAWNED, state=first.state)
    again = [remember(photo(0.6), memory, taken_at=SPAWNED + timedelta(days=8)) for _ in range(2)]
    assert again[0].coverage == again[1].coverage
    assert np.array_equal(first.state.trajectory.chance, before)


@given(
    shown=st.lists(
        st.tuples(st.floats(0, 1), st.floats(0.01, 1), st.floats(0.001, 9)), min_size=1, max_size=5
    )
)
@settings(max_examples=40, deadline=None)
def test_any_sequence_gives_a_score(shown: list[tuple[float, float, float]]):
    """Whatever the photos say, coverage lies in its interval, and all in 0 to 1."""
    day = 0.0
    photos = []
    for coverage, off, days in shown:
        day += days
        photos.append((day, photo(coverage, off=off)))
    for score in follow(*photos):
        assert 0 <= (score.low or 0) <= (score.coverage or 0) <= (score.high or 0) <= 1
        assert 0 <= (score.density or 0) <= 1
