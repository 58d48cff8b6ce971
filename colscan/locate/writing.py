"""Felt-pen writing on a bag's film: what is under its strokes can't be seen.

Strokes are thin and darker than what is on both sides of them. So are cracks between mycelium and gaps
between reflections; a small network (one hidden layer, numbers in writing.json, fitted by
tests/locate/fit_writing.py) tells which thin dark places are ink by their size, depth, evenness and company.
Where ink lies on substrate as dark as itself nothing is found, and nothing is lost: it looks as bare
as what it hides.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.window import BRIGHTEST, DARKEST, LUMINANCE, Window
from colscan.photo.model import LinearRGB, Mask

Plane = NDArray[np.float32]

# Strokes of felt pens are 1 to 6 mm wide, blur included; what is wider than this is a patch.
_WIDEST_MM = 9
# A face with less texture than this is flat: no photo of shavings or mycelium is.
_LEAST_TEXTURE = 1e-3
# By how much log light under a stroke is lower than beside it: at least this, and this many times what a
# tenth of the face's own texture reaches. From there strokes are followed down to the weaker share.
_LEAST_DEPTH, _OVER_TEXTURE, _WEAKER = 0.25, 1.4, 0.6
# Folds and shaded edges lie along the block's border.
_BORDER_MM = 8
# Specks smaller than this are left to scoring; less ink in all than this is no word.
_SPECK_MM2, _WORD_MM2 = 10, 100
# Letters are in one another's company within this.
_COMPANY_MM = 25
# Ink's blurred edge.
_EDGE_MM = 1.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThinPlaces:
    """Thin dark places of a face.

    Parameters
    ----------
    labels : ndarray of int, shape (330, 320)
        1 to N; 0 where there is none.
    features : ndarray, shape (N, K)
        How each looks.
    """

    labels: NDArray[np.int32]
    features: Plane


def find_writing(window: Window, face: Mask) -> Mask:
    """Places (330, 320) of a window whose face (330, 320) is under strokes of a pen."""
    thin = thin_places(window.light, face)
    hidden, bias, out, last = _net()
    odds = np.tanh(thin.features @ hidden + bias) @ out + last
    ink = np.isin(thin.labels, 1 + np.flatnonzero(odds > 0))
    if ink.sum() < _WORD_MM2:
        return np.zeros_like(face)
    return np.asarray(cv2.dilate(ink.astype(np.uint8), _disc(_EDGE_MM))) > 0


@cache
def _net() -> tuple[Plane, Plane, Plane, Plane]:
    stored = json.loads(
        resources.files("colscan.locate").joinpath("writing.json").read_text(encoding="utf-8")
    )
    hidden, bias, out, last = (
        np.array(stored[name], np.float32) for name in ("hidden", "bias", "out", "last")
    )
    return hidden, bias, out, last


def thin_places(light: LinearRGB, face: Mask) -> ThinPlaces:
    """The thin dark places of a face on a window's grid, in a window's light."""
    inner = cv2.erode(face.astype(np.uint8), _disc(_BORDER_MM)) > 0
    log_rgb = np.log(np.minimum(light, BRIGHTEST) + DARKEST)
    log_light = np.log(np.minimum(light, BRIGHTEST) @ LUMINANCE + DARKEST).astype(np.float32)
    smooth = cv2.GaussianBlur(log_light, (0, 0), 0.7)
    beside = np.asarray(cv2.morphologyEx(smooth, cv2.MORPH_CLOSE, _disc(_WIDEST_MM / 2)), np.float32)
    depth = beside - smooth
    if not inner.any():
        return ThinPlaces(labels=np.zeros(face.shape, np.int32), features=np.zeros((0, FEATURES), np.float32))
    texture = float(np.quantile(depth[inner], 0.9))
    strong = max(_LEAST_DEPTH, _OVER_TEXTURE * texture)
    labels = _places(depth, inner, strong)
    planes = np.dstack(
        [smooth, beside, depth, log_rgb[..., 0] - log_rgb[..., 1], log_rgb[..., 2] - log_rgb[..., 1]]
    )
    return ThinPlaces(labels=labels, features=_features(planes, labels, inner, texture))


def _disc(radius_mm: float) -> NDArray[np.uint8]:
    across = 2 * round(radius_mm) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across)), np.uint8)


def _places(depth: Plane, inner: Mask, strong: float) -> NDArray[np.int32]:
    """Numbers of connected places deeper than the weaker level that are strong somewhere and no specks."""
    weak = ((depth > _WEAKER * strong) & inner).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(weak, connectivity=8)
    deepest = np.zeros(count)
    np.maximum.at(deepest, np.asarray(labels, np.intp).ravel(), depth.ravel())
    fit = (deepest > strong) & (stats[:, cv2.CC_STAT_AREA] >= _SPECK_MM2)
    fit[0] = False
    return np.asarray(np.where(fit, np.cumsum(fit), 0)[labels], np.int32)


FEATURES = 25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Around:
    """What the places of one face are held against.

    Parameters
    ----------
    dark, tenth, median, high : float
        Log light that a fiftieth, a tenth, half and nine tenths of the face reach.
    colour : ndarray, shape (2,)
        The face's middle log colours.
    texture : float
        Depth that nine tenths of the face stay under.
    width, border, near : ndarray, shape (330, 320)
        How wide a place is, how far it lies inside the face, and how many cells of thin places are near it.
    area, thin : float
        Cells of the face, and of all its thin places.
    top, height : int
        Its first row, and how many rows further its last one is.
    """

    dark: float
    tenth: float
    median: float
    high: float
    colour: Plane
    texture: float
    width: Plane
    border: Plane
    near: Plane
    area: float
    thin: float
    top: int
    height: int

    @classmethod
    def of(cls, planes: Plane, labels: NDArray[np.int32], inner: Mask, texture: float) -> _Around:
        """A face by its planes (h, w, 5), its numbered places, its inner part and its texture."""
        face, thin = planes[inner], (labels > 0).astype(np.uint8)
        dark, tenth, median, high = np.quantile(face[:, 0], [0.02, 0.1, 0.5, 0.9])
        rows = np.flatnonzero(inner.any(1))
        box = (2 * _COMPANY_MM + 1, _COMPANY_MM | 1)
        return cls(
            dark=dark,
            tenth=tenth,
            median=median,
            high=high,
            colour=np.median(face[:, 3:], 0),
            texture=texture,
            width=np.asarray(cv2.distanceTransform(thin, cv2.DIST_L2, 5), np.float32),
            border=np.asarray(cv2.distanceTransform(inner.astype(np.uint8), cv2.DIST_L2, 5), np.float32),
            near=np.asarray(cv2.boxFilter(thin.astype(np.float32), -1, box, normalize=False), np.float32),
            area=float(inner.sum()),
            thin=float(thin.sum()),
            top=int(rows[0]),
            height=max(int(np.ptp(rows)), 1),
        )


def _features(planes: Plane, labels: NDArray[np.int32], inner: Mask, texture: float) -> Plane:
    """Features (N, FEATURES) of numbered places: own size and look, the face's, and their company's."""
    count = int(labels.max())
    features = np.zeros((count, FEATURES), np.float32)
    if not count:
        return features
    around = _Around.of(planes, labels, inner, max(texture, _LEAST_TEXTURE))
    for k in range(1, count + 1):
        y, x = np.nonzero(labels == k)
        features[k - 1] = [
            *_size(y, x, around),
            *_look(planes[y, x], around),
            *_place(y, x, around),
            *_colour(planes[y, x], around),
            *_company(y, x, count, around),
        ]
    return features


def _size(y: NDArray[np.intp], x: NDArray[np.intp], around: _Around) -> list[float]:
    w, h = float(np.ptp(x) + 1), float(np.ptp(y) + 1)
    widest = float(around.width[y, x].max())
    return [np.log(len(x)), np.log(w), np.log(h), widest, np.log(len(x) / widest**2), len(x) / (w * h)]


def _core(own: Plane) -> Plane:
    """The deeper half of a place."""
    return own[own[:, 2] >= np.median(own[:, 2])]


def _look(own: Plane, around: _Around) -> list[float]:
    core = _core(own)[:, 0]
    return [
        own[:, 2].mean(),
        own[:, 2].max(),
        own[:, 2].mean() / around.texture,
        core.mean() - around.dark,
        core.mean() - around.tenth,
        core.mean() - around.median,
        core.std(),
        own[:, 1].mean() - around.median,
        own[:, 1].mean() - around.high,
        own[:, 1].std(),
    ]


def _place(y: NDArray[np.intp], x: NDArray[np.intp], around: _Around) -> list[float]:
    return [np.log(1 + around.border[y, x].mean()), (y.mean() - around.top) / around.height]


def _colour(own: Plane, around: _Around) -> list[float]:
    core = _core(own)
    return [core[:, 3].mean() - around.colour[0], core[:, 4].mean() - around.colour[1], around.texture]


def _company(y: NDArray[np.intp], x: NDArray[np.intp], count: int, around: _Around) -> list[float]:
    others = max(0.0, float(around.near[y, x].mean()) - min(len(x), 2 * _COMPANY_MM * _COMPANY_MM))
    return [
        np.log(around.thin / around.area),
        np.log(count),
        np.log(20 + others),
        np.log((20 + others) / (20 + around.thin - len(x))),
    ]
