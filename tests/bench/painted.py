"""Painted training faces: a real first face, another bag's growth, and a light, veil and film of chance.

One photo is several bags under one light: what `fit_bags` expects. All of it happens on the face's
grid, in linear light relative to paper, where truth is exact by construction.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from colscan.score.face import GRID_MM, Face, depth_mm, smooth
from colscan.score.mixing import MYCELIUM
from colscan.score.prepare import Prepared

PATCH_COLOURS = {
    "green": (0.35, 0.62, 0.40),
    "dark": (0.20, 0.20, 0.19),
    "orange": (1.0, 0.55, 0.25),
    "grey": (0.60, 0.60, 0.58),
}
"""Relative to the white end."""
LEAST_ALIKE, BARE_ALIKE = 0.15, 0.6
"""Likeness of a later day's face to the first one: where it is just found again, and still bare at best."""


@dataclass(frozen=True, kw_only=True)
class Growth:
    """What grew on a real face: covered and opacity, (h, w) each, 0-1."""

    covered: np.ndarray
    opacity: np.ndarray


@dataclass(frozen=True, kw_only=True)
class Lamp:
    """What the bags of one photo share."""

    gain: float
    white: float
    veil: float
    patchy: float
    relief: float
    side: float
    tall: float
    glare: float
    cast: np.ndarray
    white_colour: np.ndarray
    noise: float
    blur: float
    chroma_blur: float
    moved_mm: float
    unlike: float


def draw_lamp(rng: np.random.Generator) -> Lamp:
    """A light, a film and a camera of chance: in four of ten calm, in three of ten as thick as fog comes."""
    sort = rng.random()
    calm, thick = sort < 0.4, sort > 0.7
    lamp = Lamp(
        gain=float(np.exp(rng.normal(0, 0.35))),
        white=float(np.exp(rng.normal(np.log(0.22), 0.28))),
        veil=float(rng.normal(0, 0.03) if calm else rng.normal(0.03, 0.08)),
        patchy=0.02 if calm else float(rng.choice([0.0, 0.08, 0.2, 0.35], p=[0.4, 0.3, 0.2, 0.1])),
        relief=float(rng.uniform(0, 0.04) if calm else rng.uniform(0.01, 0.16)),
        side=float(rng.uniform(0, 0.45)),
        tall=float(rng.choice([1.0, 3.0, 8.0])),
        glare=float(rng.choice([0.0, 0.5, 1.0], p=[0.4, 0.4, 0.2])),
        cast=np.exp(rng.normal(0, 0.025, 3)),
        white_colour=MYCELIUM * np.exp(rng.normal(0, [0.012, 0.006, 0.015])),
        noise=float(np.exp(rng.normal(np.log(0.012), 0.5))),
        blur=float(rng.uniform(0, 0.8)),
        chroma_blur=float(rng.uniform(0, 1.5)),
        moved_mm=float(rng.choice([0.4, 1.0, 2.5], p=[0.6, 0.3, 0.1])),
        unlike=1.0,
    )
    if not thick:
        return lamp
    return replace(
        lamp,
        veil=float(rng.normal(0.06, 0.12)),
        patchy=float(rng.choice([0.0, 0.3, 0.6, 1.2], p=[0.1, 0.3, 0.4, 0.2])),
        relief=float(rng.uniform(0.02, 0.22)),
        side=float(rng.uniform(0, 0.9)),
    )


def draw_still_lamp(rng: np.random.Generator) -> Lamp:
    """Nearly the first photo's light, film and place again: likeness alone must not pass for bare."""
    small = float(rng.choice([0.0, 0.1, 0.3]))
    lamp = draw_lamp(rng)
    return replace(
        lamp,
        veil=float(rng.normal(0, 0.02)),
        patchy=0.0,
        relief=lamp.relief * small,
        side=lamp.side * small,
        glare=0.0,
        cast=lamp.cast**small,
        noise=float(rng.uniform(0, 0.008)),
        blur=float(rng.uniform(0, 0.4)),
        chroma_blur=float(rng.uniform(0, 0.5)),
        moved_mm=0.4 * small,
        unlike=small,
    )


def flatten(growth: Growth, rng: np.random.Generator) -> Growth:
    """The same colonies, everywhere equally opaque, with sharp edges."""
    covered = (growth.covered > 0.5).astype(np.float32)
    return Growth(covered=covered, opacity=covered * rng.uniform(0.18, 0.95))


def paint(bag: Prepared, growth: Growth, lamp: Lamp, rng: np.random.Generator) -> tuple[Prepared, Growth]:
    """A bag as it would look with a growth under a lamp, and the truth."""
    shape = bag.seen.shape
    white = lamp.white * lamp.gain * np.exp(rng.normal(0, 0.06))
    bare = moved(bare_face(bag, lamp.unlike, rng), lamp.moved_mm, rng)
    bare = bare * lamp.gain * np.exp(lamp.unlike * rng.normal(0, 0.08))
    patches, painted = _patches(shape, white, bag, rng)
    covered, opacity = growth.covered * ~patches, growth.opacity * ~patches
    texture = 1 + rng.uniform(0.01, 0.09) * noise(shape, rng.uniform(1, 6), rng)
    texture *= np.exp(rng.uniform(0, 0.12) * noise(shape, rng.uniform(10, 40), rng))
    tone = lamp.white_colour / MYCELIUM.mean()
    own = (white * texture * (bag.shading ** rng.uniform(0.2, 1.2)))[..., None] * tone
    light = bare * (1 - opacity[..., None]) + own * opacity[..., None]
    light = np.where(patches[..., None], painted, light)
    bag = replace(bag, likeness=BARE_ALIKE * bag.likeness)
    return _photograph(bag, light, white, lamp, rng), Growth(covered=covered, opacity=opacity)


def relight(bag: Prepared, lamp: Lamp, rng: np.random.Generator) -> Prepared:
    """A bag as photographed, under another lamp and film: its truth stays."""
    white = float(np.quantile(bag.face.light[bag.seen].mean(1), 0.9)) if bag.seen.any() else lamp.white
    light = bag.face.light * lamp.gain
    return _photograph(bag, light, max(white, 0.12) * lamp.gain, lamp, rng)


def _photograph(
    bag: Prepared, light: np.ndarray, white: float, lamp: Lamp, rng: np.random.Generator
) -> Prepared:
    lit = _illumination(bag, lamp, rng)
    light = _film(light * lit[..., None], white, lamp, rng, lit) * lamp.cast
    light, burnt = _glare(light, white, lamp, rng)
    light = _camera(light, lamp, rng)
    clear = bag.face.seen
    face = Face(
        light=np.maximum(light, 1e-4).astype(np.float32),
        whole=_outline(bag.face.whole, rng),
        seen=clear & ~burnt,
        burnt_out=clear & burnt,
        to_px=bag.face.to_px,
    )
    lost = rng.random() < 0.08 * lamp.unlike
    first = _foggy_first(bag, lamp, rng)
    return replace(
        first,
        face=face,
        light0=smooth(first.light0, bag.whole, 6.0) if lost else first.light0,
        whole=face.whole,
        seen=face.seen & face.whole,
        likeness=0.0
        if lost
        else float(max(bag.likeness * rng.uniform(1 - 0.6 * lamp.unlike, 1.0), LEAST_ALIKE)),
    )


def _foggy_first(bag: Prepared, lamp: Lamp, rng: np.random.Generator) -> Prepared:
    """Sometimes the first photo had fog on the film where today's has none."""
    if rng.random() > 0.3 * lamp.unlike:
        return bag
    fog = replace(lamp, veil=float(rng.uniform(0, 0.08)), patchy=float(rng.choice([0.1, 0.2, 0.35, 0.7])))
    light0 = _film(bag.light0, lamp.white, fog, rng).astype(np.float32)
    level, before = (smooth(x.mean(2), bag.whole, 8.0) for x in (light0, bag.light0))
    change = np.maximum(level, 1e-4) / np.maximum(before, 1e-4)
    change = change / np.median(change[bag.whole]) if bag.whole.any() else change
    return replace(bag, light0=light0, shading=(bag.shading * change**0.7).astype(np.float32))


def warp_growth(growth: Growth, shape: tuple[int, int], rng: np.random.Generator) -> Growth:
    """A growth on another face: flipped, stretched, shifted, thinner or thicker."""
    h, w = shape
    flip = (rng.random() < 0.5, rng.random() < 0.5)
    zoom = float(rng.uniform(0.85, 1.5))
    shift = rng.uniform(-0.5, 0.5, 2) * (zoom - 1) * [w, h]
    thick = float(rng.choice([1.0, rng.uniform(0.6, 1.15)]))
    layers = []
    for layer in (growth.covered, growth.opacity):
        turned = layer[:: -1 if flip[0] else 1, :: -1 if flip[1] else 1].astype(np.float32)
        gh, gw = turned.shape
        scale = zoom * np.array([w / gw, h / gh])
        offset = np.array([w, h]) / 2 - scale * np.array([gw, gh]) / 2 + shift
        matrix = np.array([[scale[0], 0, offset[0]], [0, scale[1], offset[1]]])
        layers.append(cv2.warpAffine(turned, matrix, (w, h), borderMode=cv2.BORDER_REPLICATE))
    covered, opacity = layers
    opacity = np.clip(opacity * thick, 0, 0.97)
    # Thinned below the definition's threshold it is no longer covered.
    return Growth(covered=covered * (opacity >= 0.11) if thick < 1 else covered, opacity=opacity)


def draw_growth(shape: tuple[int, int], rng: np.random.Generator) -> Growth:
    """Colonies of chance: balls around grains, a front from one side, or both; thin or dense, soft or not."""
    y, x = (np.mgrid[: shape[0], : shape[1]] * GRID_MM).astype(np.float32)
    inside = np.full(shape, -1e3, np.float32)
    front = rng.random() < 0.4
    if not front or rng.random() < 0.4:
        radius = rng.uniform(3, 45)
        for _ in range(int(np.exp(rng.uniform(np.log(4), np.log(120))))):
            cy, cx = rng.uniform(0, 1, 2) * shape * GRID_MM
            own = radius * np.exp(rng.normal(0, 0.3))
            np.maximum(inside, own - np.hypot(y - cy, x - cx), out=inside)
    if front:
        angle = rng.choice([0, 0, np.pi, np.pi / 2, -np.pi / 2]) + rng.normal(0, 0.2)
        along = np.cos(angle) * y + np.sin(angle) * x
        reach = rng.uniform(along.min(), along.max())
        np.maximum(inside, reach - along + rng.uniform(2, 15) * noise(shape, 40, rng), out=inside)
    inside += rng.uniform(0, 4) * noise(shape, rng.uniform(4, 15), rng)
    inside += rng.uniform(0, 1.5) * noise(shape, 3, rng)
    depth = np.maximum(inside, 0) / np.exp(rng.uniform(np.log(1), np.log(20)))
    opacity = rng.uniform(0.2, 1.0) * (1 - np.exp(-depth))
    wisps = rng.uniform(0, 0.6) * noise(shape, rng.uniform(2, 8), rng, tall=rng.choice([1.0, 1.0, 4.0]))
    opacity = np.clip(opacity * np.clip(1 + wisps, 0, 2), 0, 0.97).astype(np.float32)
    return Growth(covered=(opacity >= 0.12).astype(np.float32), opacity=opacity)


def noise(
    shape: tuple[int, int], scale_mm: float, rng: np.random.Generator, *, tall: float = 1.0
) -> np.ndarray:
    """Smooth noise of unit deviation at a scale, stretched upwards by `tall`."""
    step = max(1.0, scale_mm / GRID_MM / 2)
    rows = min(step * tall, shape[0] / 2)
    small = rng.normal(size=(int(shape[0] / rows) + 5, int(shape[1] / step) + 5)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), 1.2)
    big = cv2.resize(small, None, fx=step, fy=rows, interpolation=cv2.INTER_CUBIC)
    big = big[: shape[0], : shape[1]]
    return big / max(float(big.std()), 1e-6)


def bare_face(bag: Prepared, unlike: float, rng: np.random.Generator) -> np.ndarray:
    """The first face with some of its own relief and veil taken off."""
    light = bag.light0
    brightness = np.maximum(light.mean(2), 1e-4)
    logs = np.log(brightness)
    relief = cv2.GaussianBlur(logs, (0, 0), rng.uniform(2, 6)) - cv2.GaussianBlur(logs, (0, 0), 25)
    light = light * np.exp(-unlike * rng.uniform(0, 0.7) * relief)[..., None]
    darkest = np.quantile(light[bag.whole].min(1), 0.1)
    return np.maximum(light - unlike * rng.uniform(0, 0.6) * max(float(darkest), 0.0), 0.1 * light)


def recolour(bag: Prepared, rng: np.random.Generator) -> Prepared:
    """The bag with another substrate: greyer or redder, darker or paler, of another hue."""
    mean = bag.light0.mean(2, keepdims=True)
    light0 = mean + rng.uniform(0.15, 1.3) * (bag.light0 - mean)
    light0 = light0 * np.exp(rng.normal(0, [0.05, 0.05, 0.08])) * rng.uniform(0.6, 1.6)
    return replace(bag, light0=np.maximum(light0, 1e-4).astype(np.float32))


def moved(light: np.ndarray, moved_mm: float, rng: np.random.Generator) -> np.ndarray:
    """A face laid on up to some millimetres beside, unevenly."""
    shape = light.shape[:2]
    off = [(rng.normal(0, moved_mm / 2) + moved_mm / 2 * noise(shape, 60, rng)) / GRID_MM for _ in range(2)]
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    return cv2.remap(
        light,
        (x + off[0]).astype(np.float32),
        (y + off[1]).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )


def _patches(
    shape: tuple[int, int], white: float, bag: Prepared, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    mask, colour = np.zeros(shape, bool), np.zeros((*shape, 3), np.float32)
    for _ in range(rng.choice([0, 1, 2], p=[0.7, 0.2, 0.1])):
        y, x = np.mgrid[: shape[0], : shape[1]]
        cy, cx = rng.uniform(0.1, 0.9, 2) * shape
        radius = np.sqrt(np.exp(rng.uniform(np.log(150), np.log(5000))) / np.pi) / GRID_MM
        here = np.hypot(y - cy, x - cx) + 0.25 * radius * noise(shape, 8, rng) < radius
        kind = str(rng.choice(list(PATCH_COLOURS)))
        tone = np.array(PATCH_COLOURS[kind]) * white * np.exp(rng.normal(0, 0.15, 3))
        grain = 1 + 0.08 * noise(shape, 3, rng)
        colour = np.where((here & ~mask)[..., None], grain[..., None] * tone, colour)
        mask |= here
    return mask & bag.whole, colour


def _illumination(bag: Prepared, lamp: Lamp, rng: np.random.Generator) -> np.ndarray:
    """Light from another side, the film's relief, shade at the rim, folds and gussets."""
    shape = bag.seen.shape
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    angle = rng.uniform(0, 2 * np.pi)
    logs = lamp.side * (np.cos(angle) * x + np.sin(angle) * y) * rng.uniform(0.3, 1)
    for scale in (4, 10, 25):
        logs = logs + lamp.relief * rng.uniform(0, 1) * noise(shape, scale, rng, tall=lamp.tall)
    rim = rng.uniform(0, 1.5) if rng.random() < 0.3 else rng.uniform(0, 0.5)
    logs = logs - lamp.unlike * rim * np.exp(-((depth_mm(bag.whole) / rng.uniform(4, 16)) ** 2))
    if rng.random() < 0.35 * lamp.unlike:
        # A gusset: from here to the side the film lies at another angle.
        side = (x + 0.03 * noise(shape, 60, rng)) * rng.choice([-1, 1]) > rng.uniform(0.55, 0.85)
        logs = logs + rng.normal(0, 0.3) * side
    for _ in range(rng.integers(0, 4)):
        logs = logs + rng.normal(0, 2 * lamp.relief) * _band(shape, rng.uniform(3, 20), rng)
    return np.exp(logs)


def _band(shape: tuple[int, int], width_mm: float, rng: np.random.Generator) -> np.ndarray:
    """A fold, gusset or streak: a bell across a wavy line."""
    y, x = np.mgrid[: shape[0], : shape[1]] * GRID_MM
    angle = rng.choice([0.0, np.pi / 2, rng.uniform(0, np.pi)]) + rng.normal(0, 0.1)
    across = np.cos(angle) * x + np.sin(angle) * y + 4 * noise(shape, 60, rng)
    at = rng.choice(across.ravel())
    along = np.clip(1 + 0.8 * noise(shape, 60, rng), 0, 2)
    return np.exp(-0.5 * ((across - at) / width_mm) ** 2) * along


def _film(
    light: np.ndarray, white: float, lamp: Lamp, rng: np.random.Generator, lit: np.ndarray | float = 1.0
) -> np.ndarray:
    """Haze and fog, lit as what lies under it or evenly: neutral light added, what is under it weakened."""
    shape = light.shape[:2]
    amount = np.full(shape, lamp.veil + lamp.unlike * rng.normal(0, 0.02))
    if lamp.patchy:
        fog = _clouds(shape, rng)
        amount += lamp.patchy * rng.uniform(0.2, 1) * fog
        spread = np.clip(fog, 0, 1)[..., None] * rng.uniform(0, 1)
        light = light + spread * (cv2.GaussianBlur(light, (0, 0), rng.uniform(0.5, 2.0)) - light)
        drops = rng.random(shape) < rng.uniform(0, 0.004)
        spots = cv2.GaussianBlur(drops.astype(np.float32), (0, 0), rng.uniform(0.6, 1.5)) * 6
        amount += spots * rng.normal(0.03, 0.1)
    amount = np.clip(amount, -0.12, 1.5)
    kept = np.exp(-rng.uniform(0.2, 1.0) * np.maximum(amount, 0))
    amount = amount * lit ** rng.uniform(0, 1)
    tone = np.exp(rng.normal(0, 0.02, 3))
    veiled = light * kept[..., None] + white * amount[..., None] * tone
    return np.maximum(veiled, 0.15 * light)


def _clouds(shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    """Fog, 0-1 and more: thinning out softly, or ending where the film clings to the block."""
    fog = noise(shape, rng.uniform(10, 80), rng, tall=rng.choice([1.0, 3.0])) + rng.normal(0, 0.5)
    if rng.random() < 0.5:
        return np.maximum(fog, 0) / 1.5
    fog = fog + rng.uniform(0, 0.8) * noise(shape, rng.uniform(2, 8), rng, tall=rng.choice([1.0, 4.0, 8.0]))
    return 1 / (1 + np.exp(-np.clip(rng.uniform(2, 8) * fog, -50, 50)))


def _glare(
    light: np.ndarray, white: float, lamp: Lamp, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    shape = light.shape[:2]
    added = np.zeros(shape)
    for _ in range(rng.poisson(6 * lamp.glare)):
        added += rng.exponential(0.8) * white * _band(shape, rng.uniform(1, 5), rng)
    if lamp.glare and rng.random() < 0.6:
        spots = np.maximum(noise(shape, rng.uniform(4, 20), rng) - rng.uniform(1.2, 2.5), 0)
        added += spots * rng.exponential(1.0) * white
    light = light + added[..., None]
    return light, light.max(2) > rng.uniform(4, 8) * white


def _camera(light: np.ndarray, lamp: Lamp, rng: np.random.Generator) -> np.ndarray:
    """Blur or sharpening, coarse chroma (JPEG), noise."""
    if lamp.blur > 0.3:
        light = cv2.GaussianBlur(light, (0, 0), lamp.blur)
    elif rng.random() < 0.5:
        light = light + rng.uniform(0, 0.5) * (light - cv2.GaussianBlur(light, (0, 0), 1.0))
    brightness = light.mean(2, keepdims=True)
    if lamp.chroma_blur > 0.4:
        light = brightness + cv2.GaussianBlur(light - brightness, (0, 0), lamp.chroma_blur)
    shape = light.shape[:2]
    noise = rng.normal(size=(*shape, 3)) * 0.4 + rng.normal(size=(*shape, 1))
    return light * (1 + lamp.noise * noise) + 0.0015 * rng.normal(size=(*shape, 3))


def _outline(whole: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The outline as found: off by a few millimetres inwards."""
    return whole & (depth_mm(whole) > rng.choice([0.0, 2.0, 4.0]))
