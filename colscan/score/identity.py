"""Is the bag in a place the one that stood there before? Its substrate's fine grain tells, like a print.

Where shavings and grain lie is different in every bag and stays visible wherever mycelium is still thin.
Today's face is laid onto a known one and the grain of both compared at many shifts: the right bag's
likeness stands out at one shift, another bag's nowhere. How far it stands out from the other shifts, in
their own spread, means the same in every photo, light and rack, so no likeness needs to be known beforehand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np

from colscan.locate.model import BagView
from colscan.photo.model import Mask
from colscan.score.face import Grid
from colscan.score.grain import grain_of, likeness_by_shift
from colscan.score.model import Baseline
from colscan.score.prepare import prepare
from colscan.score.reference import with_paper

# Off what is hidden and off the outline by three cells: edges there are everybody's.
_KEEP_OFF = np.ones((7, 7), np.uint8)
# Shifts that are compared, cells: placing by outlines alone is off by up to about 2 cm.
_SHIFTS = 12
# Around the best shift, cells: its own slope.
_PEAK = 3
# Other bags of six rendered racks stand out up to 5.4 (710 pairs), the right one mostly 4.5 to 20, less where
# it is grown over. `sure` accuses; `known` acquits.
SURE, KNOWN = 5.7, 4.5
# By so much another bag must stand out more than the place's own.
_CLEARLY = 1.0
# Two bags that changed places speak for each other: their two values together, and how much more than
# the two of the bags that should stand there. Twice chance's mean of 3 and four of its spreads.
_SURE_TOGETHER, _CLEARLY_TOGETHER = 9.3, 2.0
# A bag of whose substrate this much is bare is known by it; under this it is a stranger's.
_STRANGE, _STILL_BARE = 3.7, 0.3
# Too little in common for a spread over shifts.
_LEAST_CELLS = 400


class Verdict(StrEnum):
    """Whose bag stands in a place."""

    SAME = "same"
    OTHER = "other"
    STRANGE = "strange"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Print:
    """What a bag's face is known again by, on the grid of its baseline.

    Parameters
    ----------
    grain : ndarray, shape (h, w, 2), float32
        Of brightness and colour, 0 where it isn't clear.
    clear : ndarray, shape (h, w), float32
        1 where it is.
    """

    grain: Grid
    clear: Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Whose bag stands in a place today.

    Parameters
    ----------
    key : int
        The bag that should stand there.
    verdict : Verdict
        `same`; `other` (a bag of the shelf, `found`); `strange` (none of the shelf); `unknown`: so far grown
        over, fogged or hidden that nothing speaks for or against.
    found : int or None
        The bag that stands there, where that is known.
    """

    key: int
    verdict: Verdict
    found: int | None


def identify(
    views: Sequence[BagView], baselines: Mapping[int, Baseline], *, coverage: Mapping[int, float]
) -> tuple[Identity, ...]:
    """Whether each view shows the bag that its key says, and if not, which other bag of the shelf.

    Parameters
    ----------
    views : sequence of BagView
        One photo's bags; each key is that of the bag whose place it is. After `share_reference`.
    baselines : mapping of int to Baseline
        Of all bags that could stand there, by key.
    coverage : mapping of int to float
        Today's own coverage of each view's face (fraction), by key, where it was measured.

    Returns
    -------
    tuple of Identity
        In the order of `views`. A view whose bag isn't known is `unknown`.
    """
    scores = [_scores(with_paper(view), baselines) for view in views]
    swapped = _exchanged(views, scores)
    return tuple(
        _judge(view.key, known, swapped.get(view.key), coverage=coverage.get(view.key))
        for view, known in zip(views, scores, strict=True)
    )


def _scores(view: BagView, baselines: Mapping[int, Baseline]) -> dict[int, float]:
    """How far each bag's likeness stands out; its own alone where that is sure."""
    if view.key not in baselines:
        return {}
    own = stands_out(view, baselines[view.key])
    if own >= SURE:
        return {view.key: own}
    return {key: own if key == view.key else stands_out(view, one) for key, one in baselines.items()}


def stands_out(view: BagView, baseline: Baseline) -> float:
    """How far the grain of a view agrees better with a bag's at one shift than at others, in their spread."""
    known = baseline.face
    today = prepare(view, baseline).face
    return _peak(_print(np.nan_to_num(known), np.isfinite(known[..., 0])), _print(today.light, today.seen))


def _judge(key: int, known: Mapping[int, float], swapped: int | None, *, coverage: float | None) -> Identity:
    own = known.get(key, 0.0)
    others = {other: value for other, value in known.items() if other != key}
    likeliest = max(others, key=lambda other: others[other], default=None)
    best = others[likeliest] if likeliest is not None else 0.0
    found: int | None = None
    if best >= SURE and best > own + _CLEARLY:
        verdict, found = Verdict.OTHER, likeliest
    elif swapped is not None:
        verdict, found = Verdict.OTHER, swapped
    elif own >= KNOWN:
        verdict, found = Verdict.SAME, key
    elif key in known and own < _STRANGE and coverage is not None and coverage < 1 - _STILL_BARE:
        verdict = Verdict.STRANGE
    else:
        verdict = Verdict.UNKNOWN
    return Identity(key=key, verdict=verdict, found=found)


def _exchanged(views: Sequence[BagView], scores: Sequence[Mapping[int, float]]) -> dict[int, int]:
    """Pairs of bags that stand in each other's place, by both together: key to key."""
    by_key = {view.key: known for view, known in zip(views, scores, strict=True)}
    found: dict[int, int] = {}
    for a, at_a in by_key.items():
        for b in at_a:
            if b <= a or a not in by_key.get(b, {}):
                continue
            crossed, own = at_a[b] + by_key[b][a], at_a[a] + by_key[b][b]
            if crossed >= _SURE_TOGETHER and crossed > own + _CLEARLY_TOGETHER:
                found |= {a: b, b: a}
    return found


def _print(light: Grid, seen: Mask) -> _Print:
    clear = cv2.erode(np.pad(seen, 1).astype(np.uint8), _KEEP_OFF)[1:-1, 1:-1].astype(np.float32)
    return _Print(grain=grain_of(light, seen) * clear[..., None], clear=clear)


def _peak(known: _Print, today: _Print) -> float:
    """By how many spreads the best shift's correlation exceeds the mean of those apart from it."""
    inner = (slice(_SHIFTS, -_SHIFTS), slice(_SHIFTS, -_SHIFTS))
    if min(known.clear.shape) <= 2 * _SHIFTS or known.clear[inner].sum() < _LEAST_CELLS:
        return 0.0
    likeness, shared = likeness_by_shift(known.grain[inner], known.clear[inner], today.grain, today.clear)
    if shared.min() < _LEAST_CELLS:
        return 0.0
    y, x = np.unravel_index(int(likeness.argmax()), likeness.shape)
    apart = np.ones(likeness.shape, bool)
    apart[max(0, y - _PEAK) : y + _PEAK + 1, max(0, x - _PEAK) : x + _PEAK + 1] = False
    rest = likeness[apart]
    return float((likeness.max() - rest.mean()) / max(float(rest.std()), 1e-6))
