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


def _features(planes: Plane, labels: NDArray[np.int32], inner: Mask, texture: float) -> Plane:
    """Features (N, FEATURES) of numbered places: own size and look, the face's, and their company's."""
    count = int(labels.max())
    face = planes[inner]
    low, tenth, median, high = np.quantile(face[:, 0], [0.02, 0.1, 0.5, 0.9])
    colour = np.median(face[:, 3:], 0)
    area_of_face, area_thin = float(inner.sum()), float((labels > 0).sum())
    width = cv2.distanceTransform((labels > 0).astype(np.uint8), cv2.DIST_L2, 5)
    border = cv2.distanceTransform(inner.astype(np.uint8), cv2.DIST_L2, 5)
    rows = np.flatnonzero(inner.any(1))
    near = cv2.boxFilter(
        (labels > 0).astype(np.float32), -1, (2 * _COMPANY_MM + 1, _COMPANY_MM | 1), normalize=False
    )
    features = np.zeros((count, FEATURES), np.float32)
    for k in range(1, count + 1):
        y, x = np.nonzero(labels == k)
        own = planes[y, x]
        core = own[own[:, 2] >= np.median(own[:, 2])]
        w, h = float(np.ptp(x) + 1), float(np.ptp(y) + 1)
        widest = float(width[y, x].max())
        company = float(near[y, x].mean()) - min(len(x), 2 * _COMPANY_MM * _COMPANY_MM)
        features[k - 1] = [
            np.log(len(x)),
            np.log(w),
            np.log(h),
            widest,
            np.log(len(x) / widest**2),
            len(x) / (w * h),
            own[:, 2].mean(),
            own[:, 2].max(),
            own[:, 2].mean() / texture,
            core[:, 0].mean() - low,
            core[:, 0].mean() - tenth,
            core[:, 0].mean() - median,
            core[:, 0].std(),
            own[:, 1].mean() - median,
            own[:, 1].mean() - high,
            own[:, 1].std(),
            np.log(1 + border[y, x].mean()),
            (y.mean() - rows[0]) / np.ptp(rows),
            core[:, 3].mean() - colour[0],
            core[:, 4].mean() - colour[1],
            texture,
            np.log(area_thin / area_of_face),
            np.log(count),
            np.log(20 + max(0.0, company)),
            np.log((20 + max(0.0, company)) / (20 + area_thin - len(x))),
        ]
    return features
