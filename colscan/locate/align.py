"""Two pictures of one shelf, few things on it to tell apart → the change of view, by its edges.

Bare walls, posts and wires give hardly a point that could be recognised, but their edges, taken together,
fit in one way only. What is compared is how strongly brightness changes across and down, relative to what
is usual around: exposure, white balance and soft shadows on a wall leave that alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import Points
from colscan.photo.model import ImageRGB, Mask

SIDE_PX = 480
"""Longer side of the pictures that are compared: a post is still 8 px wide, a wire 1 to 2."""
# Brightness steps are taken relative to this part of the picture's own (its stronger ones): a wall's
# shadows are weaker, posts and wires stronger.
_USUAL_STEP_QUANTILE, _LEAST_STEP = 0.85, 0.01
# Blur (sigma, px of 480) of the edges from the first to the last pass: how far off each still catches.
_BLURS = (6.0, 3.0, 1.5)
_ROUNDS = 25
_SETTLED = 1e-4
# Misfits over this count linearly: a shadow or a bag that moved is no part of the shelf.
_ROBUST = 0.15
# What a camera that is turned, tilted, moved or zoomed a little does to a picture: shift (2), size, roll,
# and the keystones of panning and of tilting. Each a direction in the eight numbers of a homography.
# Stretching and shearing it can't do, and few edges would tell them from a tilt.
_MOVES = np.array(
    [
        (0, 0, 1, 0, 0, 0, 0, 0),
        (0, 0, 0, 0, 0, 1, 0, 0),
        (1, 0, 0, 0, 1, 0, 0, 0),
        (0, -1, 0, 1, 0, 0, 0, 0),
        (0, 0, 0, 0, 0, 0, 1, 0),
        (0, 0, 0, 0, 0, 0, 0, 1),
    ],
    np.float64,
).T
# Against keystones of more than a few degrees' tilt, which a misfit elsewhere could pay for: added to the
# mean squared misfit (about 0.01) as this much times the keystone's square (0.03 for 3 degrees, squared).
_AGAINST_KEYSTONE = 0.05
# What is searched through: another crop or lens, a crooked hand.
_SCALES = np.geomspace(0.6, 1.7, 13)
_TURNS_DEG = (-6.0, -3.0, 0.0, 3.0, 6.0)
_SEARCH_SIDE_PX = 120
_BEST_STARTS = 3

Matrix = NDArray[np.float64]
"""(3, 3), a homography."""
Steps = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgePicture:
    """How strongly brightness changes across and down, small.

    Parameters
    ----------
    across, down : ndarray, shape (h, w), float16
        0 to 1; longer side 480 px.
    shown : ndarray of bool, shape (h, w)
        The places that belong to the shelf: no bag.
    scale : float
        Px of the photo a px of the picture.
    """

    across: NDArray[np.float16]
    down: NDArray[np.float16]
    shown: Mask
    scale: float

    @property
    def to_photo(self) -> Matrix:
        """From px of the picture to px of the photo."""
        return np.array(
            [[self.scale, 0, (self.scale - 1) / 2], [0, self.scale, (self.scale - 1) / 2], [0, 0, 1]]
        )

    def halved(self) -> EdgePicture:
        """The same at half the size: a quarter of the work, for a rough beginning."""
        size = (self.shown.shape[1] // 2, self.shown.shape[0] // 2)
        across, down, shown = (
            cv2.resize(p.astype(np.float32), size, interpolation=cv2.INTER_AREA)
            for p in (self.across, self.down, self.shown)
        )
        return EdgePicture(
            across=across.astype(np.float16),
            down=down.astype(np.float16),
            shown=np.asarray(shown) > 0.9,
            scale=2 * self.scale,
        )


def edge_picture(rgb: ImageRGB, hidden: Mask) -> EdgePicture:
    """The edges of a photo outside of what is hidden (bool, the photo's shape)."""
    scale = max(rgb.shape[:2]) / SIDE_PX
    size = (round(rgb.shape[1] / scale), round(rgb.shape[0] / scale))
    small = cv2.resize(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), size, interpolation=cv2.INTER_AREA)
    # The root of brightness: noise is as strong in bright places as in dark ones.
    gray = cv2.GaussianBlur(np.sqrt(small.astype(np.float32) / 255), (0, 0), 0.7)
    shown = cv2.resize(hidden.astype(np.uint8), size, interpolation=cv2.INTER_AREA) == 0
    steps = [abs(cv2.Sobel(gray, cv2.CV_32F, *way, ksize=3)) for way in ((1, 0), (0, 1))]
    usual = np.quantile(np.maximum(*steps)[shown], _USUAL_STEP_QUANTILE) if shown.any() else 0.0
    across, down = (s / (s + max(float(usual), _LEAST_STEP)) for s in steps)
    return EdgePicture(
        across=across.astype(np.float16), down=down.astype(np.float16), shown=shown, scale=scale
    )


def begin(known: EdgePicture, today: EdgePicture, start: Matrix) -> tuple[Matrix, float]:
    """The change of view (px of the photos) near a start, and how alike the edges of halved pictures are."""
    change = _pass(known, today, start, _BLURS[0] / 2)
    return change, likeness(known, today, change)


def finish(known: EdgePicture, today: EdgePicture, begun: Matrix) -> tuple[Matrix, float]:
    """What was begun, exactly, and how alike the edges then are (-1 to 1)."""
    for sigma in _BLURS[1:]:
        begun = _pass(known, today, begun, sigma)
    return begun, likeness(known, today, begun)


def _pass(known: EdgePicture, today: EdgePicture, start: Matrix, sigma: float) -> Matrix:
    change = np.linalg.inv(today.to_photo) @ start @ known.to_photo
    change = _settle(_blurred(known, sigma), _blurred(today, sigma), change)
    found = today.to_photo @ change @ np.linalg.inv(known.to_photo)
    return np.asarray(found / found[2, 2])


def likeness(known: EdgePicture, today: EdgePicture, change: Matrix) -> float:
    """How alike the edges of two photos are under a change of view: correlation over what both show."""
    small = np.linalg.inv(today.to_photo) @ change @ known.to_photo
    mine, other = _blurred(known, _BLURS[-1]), _blurred(today, _BLURS[-1])
    warped, shown = _warp(other, small, known.shown.shape)
    weight = shown * mine[1]
    if weight.sum() < _LEAST_COMMON * mine[1].sum():
        return 0.0
    return float(np.mean([_correlation(a, b, weight) for a, b in zip(mine[0], warped, strict=True)]))


# Less of the shelf in common than this is chance.
_LEAST_COMMON = 0.35

_Blurred = tuple[tuple[Steps, Steps], Steps]
"""Edges across and down, and how far each place is shown (0 or 1)."""


def _blurred(picture: EdgePicture, sigma: float) -> _Blurred:
    shown = picture.shown.astype(np.float32)
    share = np.maximum(cv2.GaussianBlur(shown, (0, 0), sigma), 0.05)
    across, down = (
        np.asarray(cv2.GaussianBlur(s.astype(np.float32) * shown, (0, 0), sigma) / share, np.float32)
        for s in (picture.across, picture.down)
    )
    return (across, down), shown


def _correlation(a: Steps, b: Steps, weight: Steps) -> float:
    total = float(weight.sum())
    a0, b0 = ((v - float((v * weight).sum()) / total) * weight for v in (a, b))
    return float((a0 * b0).sum() / max(float(np.sqrt((a0**2).sum() * (b0**2).sum())), 1e-9))


def _warp(picture: _Blurred, change: Matrix, shape: tuple[int, ...]) -> tuple[list[Steps], Steps]:
    """Today's edges as seen from the known view, and where they are shown."""
    size, flags = (shape[1], shape[0]), cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    across, down, shown = (
        cv2.warpPerspective(p, change, size, flags=flags) for p in (*picture[0], picture[1])
    )
    return [np.asarray(across), np.asarray(down)], (np.asarray(shown) > 0.99).astype(np.float32)


def _settle(known: _Blurred, today: _Blurred, start: Matrix) -> Matrix:
    """Robust least squares by Gauss-Newton steps, each kept only while it fits better."""
    shape = known[1].shape
    centred, grid = _centring(shape)
    h = centred @ start @ np.linalg.inv(centred)
    best, best_cost, damping = h / h[2, 2], np.inf, 1e-3
    trial = best
    normal, slope = np.zeros((8, 8)), np.zeros(8)
    for _ in range(_ROUNDS):
        cost, n, s = _fit(known, today, trial, grid=grid, centred=centred)
        if cost < best_cost:
            gained = best_cost - cost
            best, best_cost, normal, slope, damping = trial, cost, n, s, max(damping / 3, 1e-6)
            if gained < _SETTLED * best_cost:
                break
        else:
            damping *= 6
            if damping > 10:
                break
        trial = _stepped(best, normal, slope, damping)
    return np.asarray(np.linalg.inv(centred) @ best @ centred)


def _stepped(h: Matrix, normal: Matrix, slope: NDArray[np.float64], damping: float) -> Matrix:
    moves = _MOVES.T @ normal @ _MOVES
    damped = moves + np.diag(damping * np.diag(moves) + 1e-9)
    p = -_MOVES @ np.linalg.solve(damped, _MOVES.T @ slope)
    change = np.array([[1 + p[0], p[1], p[2]], [p[3], 1 + p[4], p[5]], [p[6], p[7], 1.0]])
    moved = h @ change
    return np.asarray(moved / moved[2, 2])


def _centring(shape: tuple[int, ...]) -> tuple[Matrix, tuple[Steps, Steps]]:
    """From px to about -1 ... 1 around the picture's middle, and the grid of that."""
    half = max(shape) / 2
    centred = np.array([[1 / half, 0, -shape[1] / 2 / half], [0, 1 / half, -shape[0] / 2 / half], [0, 0, 1]])
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    return centred, (x / half - shape[1] / 2 / half, y / half - shape[0] / 2 / half)


def _fit(
    known: _Blurred, today: _Blurred, h: Matrix, *, grid: tuple[Steps, Steps], centred: Matrix
) -> tuple[float, Matrix, NDArray[np.float64]]:
    """Mean robust misfit, and its normal equations for a small change on the known side."""
    warped, shown = _warp(today, np.linalg.inv(centred) @ h @ centred, known[1].shape)
    weight = shown * known[1]
    if weight.sum() < _LEAST_COMMON * known[1].sum():
        return np.inf, np.zeros((8, 8)), np.zeros(8)
    cost, normal, slope = 0.0, np.zeros((8, 8)), np.zeros(8)
    x, y = grid
    for mine, other in zip(known[0], warped, strict=True):
        misfit = other - mine
        size = np.abs(misfit)
        robust = weight * np.where(size < _ROBUST, 1, _ROBUST / np.maximum(size, 1e-6))
        cost += float((weight * np.where(size < _ROBUST, size**2, 2 * _ROBUST * size - _ROBUST**2)).sum())
        gx, gy = (cv2.Sobel(other, cv2.CV_32F, *way, ksize=3) / 8 / centred[0, 0] for way in ((1, 0), (0, 1)))
        radial = -(gx * x + gy * y)
        columns = np.stack([gx * x, gx * y, gx, gy * x, gy * y, gy, radial * x, radial * y])
        jac = columns.reshape(8, -1)
        weighted = jac * robust.ravel()
        normal += weighted @ jac.T
        slope += weighted @ misfit.ravel()
    total = float(weight.sum())
    keystone = np.array([0, 0, 0, 0, 0, 0, *(h[2, :2] / h[2, 2])])
    return (
        cost / total + _AGAINST_KEYSTONE * float(keystone @ keystone),
        normal / total + _AGAINST_KEYSTONE * np.diag([0.0] * 6 + [1.0] * 2),
        slope / total + _AGAINST_KEYSTONE * keystone,
    )


def search_starts(known: EdgePicture, today: EdgePicture) -> Iterator[Matrix]:
    """Changes of view (px of the photos) worth refining: shift, scale and turn by the edges."""
    found: list[tuple[float, Matrix]] = []
    small_known, small_today = (_shrunk(p) for p in (known, today))
    for scale in _SCALES:
        for turn in _TURNS_DEG:
            found.append(_best_shift(small_known, small_today, scale=float(scale), turn_deg=turn))
    shrink = SIDE_PX / _SEARCH_SIDE_PX
    to_small = np.diag([1 / shrink, 1 / shrink, 1.0])
    for _, change in sorted(found, key=lambda f: -f[0])[:_BEST_STARTS]:
        grown = np.linalg.inv(to_small) @ change @ to_small
        yield today.to_photo @ grown @ np.linalg.inv(known.to_photo)


def _shrunk(picture: EdgePicture) -> _Blurred:
    (across, down), shown = _blurred(picture, 3.0)
    factor = _SEARCH_SIDE_PX / SIDE_PX
    a, d, s = (
        np.asarray(cv2.resize(p, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), np.float32)
        for p in (across, down, shown)
    )
    return (a, d), (s > 0.9).astype(np.float32)


def _best_shift(known: _Blurred, today: _Blurred, *, scale: float, turn_deg: float) -> tuple[float, Matrix]:
    """The shift at which edges are most alike after scaling and turning the known ones, and how alike."""
    height, width = known[1].shape
    c, s = scale * np.cos(np.deg2rad(turn_deg)), scale * np.sin(np.deg2rad(turn_deg))
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)]) @ np.array([[c, s], [-s, c]])
    low, size = corners.min(0), np.ceil(np.ptp(corners, 0)).astype(int)
    change = np.array([[c, -s, -low[0]], [s, c, -low[1]], [0, 0, 1]])
    across, down, shown = (
        np.asarray(cv2.warpPerspective(p, change, (int(size[0]), int(size[1]))), np.float32)
        for p in (*known[0], known[1])
    )
    shown = np.asarray(shown > 0.9, np.float32)
    # Room on all sides for shifts of up to a third of the picture.
    room_x, room_y = (
        int(max(0, side - have) + have // 3) for side, have in zip(size, (today[1].shape[::-1]), strict=True)
    )
    score = _likeness_by_shift(((across, down), shown), today, (room_x, room_y))
    best = np.unravel_index(int(np.argmax(score)), score.shape)
    shift = np.array([[1, 0, best[1] - room_x], [0, 1, best[0] - room_y], [0, 0, 1.0]])
    return float(score[best]), shift @ change


def _likeness_by_shift(known: _Blurred, today: _Blurred, room: tuple[int, int]) -> Steps:
    """Correlation of edges at every shift, over what is shown in both; -1 where that is too little."""
    shown, seen = known[1], _padded(today[1], *room)
    overlap = cv2.matchTemplate(seen, shown, cv2.TM_CCORR)
    total, energy = np.zeros(overlap.shape, np.float32), np.zeros(overlap.shape, np.float32)
    for mine, other in zip(known[0], today[0], strict=True):
        mine0, other0 = _centred(mine, shown), _padded(_centred(other, today[1]), *room)
        total += cv2.matchTemplate(other0, mine0, cv2.TM_CCORR)
        mine2 = cv2.matchTemplate(seen, mine0**2, cv2.TM_CCORR)
        other2 = cv2.matchTemplate(other0**2, shown, cv2.TM_CCORR)
        energy += np.sqrt(np.maximum(mine2 * other2, 1e-9))
    enough = overlap > _LEAST_COMMON * max(float(shown.sum()), 1)
    return np.where(enough, total / np.maximum(energy, 1e-6), -1).astype(np.float32)


def _centred(picture: Steps, shown: Steps) -> Steps:
    mean = float((picture * shown).sum()) / max(float(shown.sum()), 1.0)
    return np.asarray((picture - mean) * shown, np.float32)


def _padded(picture: Steps, room_x: int, room_y: int) -> Steps:
    return np.asarray(
        cv2.copyMakeBorder(picture, room_y, room_y, room_x, room_x, cv2.BORDER_CONSTANT, value=0), np.float32
    )


def is_sane(change: Matrix, corners_px: Points) -> bool:
    """Whether a change of view is one that a camera can make: no fold, no mirror, no sliver."""
    far = corners_px @ change[2, :2] + change[2, 2]
    if (far <= 0.2 * change[2, 2]).any() or change[2, 2] <= 0:
        return False
    moved = (corners_px @ change[:2, :2].T + change[:2, 2]) / far[:, None]
    area, area0 = (cv2.contourArea(p.astype(np.float32), oriented=True) for p in (moved, corners_px))
    convex = cv2.isContourConvex(moved.astype(np.float32))
    return bool(convex and 0.1 < area / area0 < 10)
