"""What light and film did to a rendered face, taken off one bag and laid on another.

On rendered photos the truth is known, so a face splits into what is there (its first photo, and white as
opaque as the truth says) and what light and film make of it: a factor and a neutral veil for each place.
Laid on another bag's first photo with a third bag's growth, they make faces whose folds, fog and
reflections no generator of ours had to think of.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from painted import BARE_ALIKE, LEAST_ALIKE, Growth, bare_face, moved, noise

from colscan.score.face import smooth
from colscan.score.mixing import MYCELIUM
from colscan.score.prepare import Prepared

# The factor is read off the redness over this much, and there drawn towards the face's own.
_FACTOR_MM = 6.0
_TOWARDS = 0.15
# Where too little is white, or too little bare, to tell its light.
_LEAST_CELLS = 200
_USUAL_WHITE = 0.22


@dataclass(frozen=True, kw_only=True)
class Film:
    """Light and film of one face.

    Parameters
    ----------
    gain : float
        Of the substrate against the first photo.
    white : float
        Light of opaque mycelium / paper.
    factor, veil : ndarray, shape (h, w)
        Light = factor x (what is there) + veil.
    burnt : ndarray of bool, shape (h, w)
    """

    gain: float
    white: float
    factor: np.ndarray
    veil: np.ndarray
    burnt: np.ndarray


def film_of(bag: Prepared, growth: Growth, known: np.ndarray) -> Film:
    """What light and film make of a face whose truth is known."""
    light, opacity = bag.face.light, growth.opacity[..., None]
    clear = bag.seen & known
    tone = MYCELIUM / MYCELIUM.mean()
    bare, white = bag.light0 * (1 - opacity), opacity * tone
    red, red_bare, red_white = (x[..., 0] - x[..., 2] for x in (light, bare, white))
    mean = light.mean(2)
    level = float(np.median(mean[clear])) if clear.any() else _USUAL_WHITE
    w = max(level, 0.08)
    gain = 1.0
    for _ in range(3):
        gain = _slope(red_bare[clear], (red - w * red_white)[clear], prior=1.0)
        w = _white(mean - gain * bare.mean(2), growth.opacity, clear, prior=max(level, 0.08))
    there = gain * bare + w * white
    red_there = there[..., 0] - there[..., 2]
    power = float((red_there[clear] ** 2).mean()) * _TOWARDS + 1e-8
    up = smooth((red * red_there).astype(np.float32), clear, _FACTOR_MM)
    down = smooth((red_there**2).astype(np.float32), clear, _FACTOR_MM)
    factor = np.clip((up + power) / (down + power), 0.4, 1.8)
    veil = np.where(clear, mean - factor * there.mean(2), 0).astype(np.float32)
    veil = np.where(clear, veil, smooth(veil, clear, 8.0))
    return Film(gain=gain, white=w, factor=factor, veil=veil, burnt=bag.face.burnt_out)


def _slope(x: np.ndarray, y: np.ndarray, *, prior: float) -> float:
    if len(x) < _LEAST_CELLS:
        return prior
    pull = 0.02 * float((x**2).mean() * len(x)) + 1e-6
    return float(np.clip(((x * y).sum() + prior * pull) / ((x**2).sum() + pull), 0.3, 3.0))


def _white(rest: np.ndarray, opacity: np.ndarray, clear: np.ndarray, *, prior: float) -> float:
    """White's light, from where little else shows; or by regression with a veil over all the face."""
    opaque = clear & (opacity > 0.7)
    if opaque.sum() > _LEAST_CELLS:
        return float(np.median(rest[opaque] / opacity[opaque]))
    o, y = opacity[clear], rest[clear]
    if len(o) < _LEAST_CELLS or o.std() < 0.05:
        return prior
    slope = float(np.cov(o, y)[0, 1] / o.var())
    return float(np.clip(slope, 0.5 * prior, 2.5 * prior))


def lay_film(bag: Prepared, growth: Growth, film: Film, rng: np.random.Generator) -> tuple[Prepared, Growth]:
    """Another bag's first photo with a growth, under that light and film; and the truth."""
    shape = bag.seen.shape
    factor, veil, burnt = (
        _fitted(x, shape, rng.random() < 0.5) for x in (film.factor, film.veil, film.burnt)
    )
    strength = float(rng.uniform(0.4, 1.1))
    factor, veil = factor**strength, veil * strength
    gain, white = film.gain * np.exp(rng.normal(0, 0.1)), film.white * np.exp(rng.normal(0, 0.1))
    bare = moved(bare_face(bag, 0.3, rng), float(rng.choice([0.3, 0.8, 2.0])), rng) * gain
    texture = 1 + rng.uniform(0.0, 0.08) * noise(shape, rng.uniform(1, 6), rng)
    tone = MYCELIUM * np.exp(rng.normal(0, [0.012, 0.006, 0.015])) / MYCELIUM.mean()
    own = (white * texture * bag.shading ** rng.uniform(0.2, 1.2))[..., None] * tone
    opacity = growth.opacity[..., None]
    there = factor[..., None] * (bare * (1 - opacity) + own * opacity)
    # White's own relief is in the veil too: on a dark substrate it must not go below this.
    light = np.maximum(there + veil[..., None] * np.exp(rng.normal(0, 0.015, 3)), 0.5 * there)
    light = light * np.exp(rng.normal(0, 0.02, 3)) * np.exp(rng.normal(0, 0.15))
    light = light * (1 + rng.uniform(0.003, 0.012) * rng.normal(size=(*shape, 3)))
    clear = bag.face.seen
    face = replace(
        bag.face,
        light=np.maximum(light, 1e-4).astype(np.float32),
        seen=clear & ~burnt,
        burnt_out=clear & burnt,
    )
    made = replace(
        bag,
        face=face,
        seen=face.seen & face.whole,
        likeness=float(max(BARE_ALIKE * bag.likeness * rng.uniform(0.4, 1.0), LEAST_ALIKE)),
    )
    return made, growth


def fog_first(bag: Prepared, film: Film, rng: np.random.Generator) -> Prepared:
    """The bag as if its first photo had been taken through that film."""
    shape = bag.seen.shape
    mirrored = rng.random() < 0.5
    factor, veil = (_fitted(x, shape, mirrored) for x in (film.factor, film.veil))
    light0 = factor[..., None] * bag.light0 + np.maximum(veil / film.gain, 0)[..., None]
    light0 = np.maximum(light0, 1e-4).astype(np.float32)
    level, before = (smooth(x.mean(2), bag.whole, 8.0) for x in (light0, bag.light0))
    change = np.maximum(level, 1e-4) / np.maximum(before, 1e-4)
    change = change / np.median(change[bag.whole]) if bag.whole.any() else change
    return replace(bag, light0=light0, shading=(bag.shading * change**0.7).astype(np.float32))


def _fitted(layer: np.ndarray, shape: tuple[int, int], mirrored: bool) -> np.ndarray:
    """A layer stretched over another face."""
    layer = layer[:, ::-1] if mirrored else layer
    flags = cv2.INTER_NEAREST if layer.dtype == bool else cv2.INTER_LINEAR
    number = layer.astype(np.uint8) if layer.dtype == bool else layer.astype(np.float32)
    out = cv2.resize(np.ascontiguousarray(number), shape[::-1], interpolation=flags)
    return out.astype(bool) if layer.dtype == bool else out
