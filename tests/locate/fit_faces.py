"""Fits colscan/locate/faces.npz, the map of where blocks are, to rendered shelves with known faces.

Usage: python tests/locate/fit_faces.py TRUTH_DIR OUT [--without SERIES]... [--steps N]

Needs PyTorch. `--without` leaves a series out, so that it can be used to judge what was fitted to the others.
Photos are seen through random crops at random size, with cards painted over, other walls, other light and
other blocks, bags pushed against one another, writing on the film and boxes that are no bags (seeded), so
that no wall's, card's or series' own look is learnt.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import nn

from colscan.locate.cards import card_outline_px, filled, find_cards
from colscan.locate.facenet import network_input
from colscan.photo.light import to_linear

CROP_PX, BATCH, RATE = 192, 8, 6e-3
KEPT_PX, LEAST_PX, MOST_PX = 140.0, 28.0, 120.0  # width of a bag: as kept, and in crops
USUAL_WIDTH_MM = 190.0
# Cores lie this far from the edges, in halves of the block's width.
CORE_DEPTH = 0.35
CHANNELS = (12, 24, 32, 40)


@dataclass(frozen=True, kw_only=True)
class Shelf:
    """A photo at several sizes: linear light, the same without cards, and bag number, depth, card number."""

    light: list[np.ndarray]
    bare: list[np.ndarray]
    maps: list[np.ndarray]


def read_shelf(folder: Path) -> Shelf:
    """A rendered photo, resized so that its bags are some 140 px wide, and halved twice."""
    truth = json.loads((folder / "truth.json").read_text())
    rgb = cv2.cvtColor(cv2.imread(str(folder / truth["photo"])), cv2.COLOR_BGR2RGB)
    number = cv2.imread(str(folder / "truth.png"), cv2.IMREAD_UNCHANGED)[..., 2]
    cards = np.zeros(number.shape, np.uint8)
    for k, card in enumerate(find_cards(rgb)):
        cards[filled(card_outline_px(card, margin_mm=2), number.shape)] = k + 1
    usual = USUAL_WIDTH_MM / np.median([bag["mm_per_px"] for bag in truth["bags"]])
    size = tuple(int(s * KEPT_PX / usual) for s in number.shape[::-1])
    light = cv2.resize(to_linear(rgb), size, interpolation=cv2.INTER_AREA)
    number = cv2.resize(number, size, interpolation=cv2.INTER_NEAREST)
    cards = cv2.resize(cards, size, interpolation=cv2.INTER_NEAREST)
    eight = np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    bare = (cv2.inpaint(eight, (cards > 0).astype(np.uint8), 3, cv2.INPAINT_TELEA) / np.float32(255)) ** 2.2
    depth = np.zeros(number.shape, np.float32)
    for bag in truth["bags"]:
        own = number == bag["tag"]
        depth += cv2.distanceTransform(own.astype(np.uint8), cv2.DIST_L2, 5) * own / (np.sqrt(own.sum()) / 2)
    maps = np.dstack([number.astype(np.float32), depth, cards.astype(np.float32)])
    return Shelf(
        light=_sizes(light), bare=_sizes(bare.astype(np.float32)), maps=[maps[::k, ::k] for k in (1, 2, 4)]
    )


def _sizes(image: np.ndarray) -> list[np.ndarray]:
    return [
        image[::1],
        *(
            cv2.resize(
                image[: image.shape[0] // k * k, : image.shape[1] // k * k],
                None,
                fx=1 / k,
                fy=1 / k,
                interpolation=cv2.INTER_AREA,
            )
            for k in (2, 4)
        ),
    ]


def crop(shelf: Shelf, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, float]:
    """Light and maps of a crop at random place and size, and how wide its bags are."""
    width_px = float(np.exp(rng.uniform(np.log(LEAST_PX), np.log(MOST_PX))))
    level = int(np.clip(np.log2(KEPT_PX / width_px), 0, 2))
    maps = shelf.maps[level]
    height, width = maps.shape[:2]
    scale = width_px / KEPT_PX * 2**level
    half = CROP_PX / 2 / scale
    if rng.random() < 0.7:
        y, x = np.nonzero(maps[..., 0])
        k = int(rng.integers(len(x)))
        middle = np.array([x[k], y[k]]) + rng.normal(0, 0.3 * half, 2)
    else:
        middle = rng.uniform(0, 1, 2) * (width, height)
    size = np.array([width, height])
    middle = np.where(size > 2 * half, np.clip(middle, half, size - half), size / 2)
    turn, squeeze = np.deg2rad(rng.normal(0, 2)), np.exp(rng.normal(0, 0.06))
    mirror = rng.choice([-1, 1])
    a = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ np.diag(
        [mirror * squeeze, 1 / squeeze]
    )
    a = a / scale
    to_shelf = np.c_[a, middle - a @ np.array([CROP_PX / 2, CROP_PX / 2])]
    light, bare = warped(shelf.light[level], to_shelf), warped(shelf.bare[level], to_shelf)
    maps = warped(maps, to_shelf, how=cv2.INTER_NEAREST)
    return paint_cards(light, bare, maps[..., 2], rng), maps, width_px


def warped(image: np.ndarray, to_shelf: np.ndarray, *, how: int = cv2.INTER_LINEAR) -> np.ndarray:
    """The crop of an image."""
    flags = how | cv2.WARP_INVERSE_MAP
    size = (CROP_PX, CROP_PX)
    return cv2.warpAffine(image, to_shelf, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)


def paint_cards(
    light: np.ndarray, bare: np.ndarray, cards: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Each card left, painted with its surroundings, or with a plain colour."""
    light = light.copy()
    for k in np.unique(cards)[1:]:
        own, kind = cards == k, rng.random()
        if kind < 0.35:
            light[own] = bare[own]
        elif kind < 0.7:
            colour = np.exp(rng.uniform(-4, 0)) * np.exp(rng.normal(0, 0.15, 3))
            around = cv2.dilate(own.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
            light[own] = bare[around].mean(0) if rng.random() < 0.4 else colour
    return light


def push(
    light: np.ndarray, maps: np.ndarray, other: tuple[np.ndarray, np.ndarray], rng: np.random.Generator
) -> None:
    """Lay a bag of another crop, with the empty film above it, beside a bag of this one."""
    theirs, their_maps = other
    ours, numbers = np.unique(maps[..., 0])[1:], np.unique(their_maps[..., 0])[1:]
    if not len(ours) or not len(numbers):
        return
    own, new = maps[..., 0] == rng.choice(ours), their_maps[..., 0] == rng.choice(numbers)
    (_, y1, x0, x1), (v0, v1, u0, u1) = extent(own), extent(new)
    if u0 == 0 or u1 == CROP_PX or v1 == CROP_PX:
        return  # cut by the crop: laid elsewhere it would be half a bag
    width = u1 - u0
    gap = int(rng.uniform(-0.06, 0.08) * width)
    dx = x1 + gap - u0 if rng.random() < 0.5 else x0 - gap - u1
    dy = y1 - v1 + int(rng.normal(0, 0.03) * width)
    shape = new.copy()
    if rng.random() < 0.7:  # with the film's empty top
        shape[
            max(0, v0 - int(0.6 * (v1 - v0))) : v0 + (v1 - v0) // 4, u0 + width // 12 : u1 - width // 12
        ] = True
    move = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    moved = lambda image: cv2.warpAffine(image, move, (CROP_PX, CROP_PX), flags=cv2.INTER_NEAREST)  # noqa: E731
    alpha = cv2.GaussianBlur(moved(shape.astype(np.float32)), (0, 0), 0.7)[..., None]
    alike = np.clip(np.median(light[own].mean(1)) / max(1e-3, np.median(theirs[new].mean(1))), 0.3, 3)
    light[:] = light * (1 - alpha) + moved(theirs) * alike * np.exp(rng.normal(0, 0.3)) * alpha
    inside = moved(new.astype(np.uint8)) > 0
    maps[inside, 0], maps[inside, 1] = 200 + rng.integers(50), moved(their_maps[..., 1].copy())[inside]


def extent(mask: np.ndarray) -> tuple[int, int, int, int]:
    """First and past-last row and column."""
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    return rows[0], rows[-1] + 1, columns[0], columns[-1] + 1


def soft(mask: np.ndarray) -> np.ndarray:
    """A mask with blurred edges, (h, w, 1)."""
    return cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.7)[..., None]


def rewall(light: np.ndarray, blocks: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The light with another wall behind the bags, now and then a nearly plain one."""
    share = soft(blocks)
    wall = light * np.exp(rng.normal(0, 0.7)) * np.exp(rng.normal(0, 0.08, 3))
    if rng.random() < 0.35:
        plain = np.exp(rng.uniform(-4.5, 0)) * np.exp(rng.normal(0, 0.15, 3))
        amount = rng.uniform(0.3, 0.9)
        wall = wall * (1 - amount) + plain * amount
    return light * share + wall * (1 - share)


def regrow(light: np.ndarray, numbers: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Blocks lighter, darker, of another tint, or whitened in parts."""
    for k in np.unique(numbers)[1:]:
        share = soft(numbers == k)
        block = light * np.exp(rng.normal(0, 0.35)) * np.exp(rng.normal(0, 0.08, 3))
        if rng.random() < 0.3:
            white = np.exp(rng.uniform(-1.5, -0.2)) * np.exp(rng.normal(0, 0.05, 3))
            spread = cv2.GaussianBlur(
                rng.normal(0, 1, numbers.shape).astype(np.float32), (0, 0), rng.uniform(2, 12)
            )
            amount = np.clip(0.5 + spread / (spread.std() + 1e-6) * 0.5 + rng.normal(0.2, 0.4), 0, 1)[
                ..., None
            ]
            amount = amount * rng.uniform(0.4, 0.95)
            block = (
                block * (1 - amount) + white * np.sqrt(block / (block.mean() + 1e-3)).clip(0.5, 1.4) * amount
            )
        light = light * (1 - share) + block * share
    return light


def write_on(light: np.ndarray, numbers: np.ndarray, width_px: float, rng: np.random.Generator) -> np.ndarray:
    """Felt-pen writing on some of the bags."""
    strokes = np.zeros(numbers.shape, np.uint8)
    for k in np.unique(numbers)[1:]:
        if rng.random() < 0.6:
            y0, _, x0, _ = extent(numbers == k)
            for line in range(rng.integers(1, 4)):
                words = "".join(rng.choice(list("ABEHKRS0123456789-% "), rng.integers(2, 9)))
                at = (
                    int(x0 + width_px * rng.uniform(0, 0.4)),
                    int(y0 + width_px * (rng.uniform(0.2, 0.5) + 0.2 * line)),
                )
                font = int(rng.choice([cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX]))
                cv2.putText(
                    strokes,
                    words,
                    at,
                    font,
                    width_px / 200 * rng.uniform(0.6, 1.4),
                    255,
                    max(1, round(width_px / 50)),
                    cv2.LINE_AA,
                )
    colour = np.exp(rng.uniform(-4.5, -2)) * np.exp(rng.normal(0, 0.4, 3))
    amount = (strokes / np.float32(255))[..., None] * rng.uniform(0.4, 0.95)
    return light * (1 - amount) + colour * amount


def put_boxes(light: np.ndarray, maps: np.ndarray, width_px: float, rng: np.random.Generator) -> None:
    """Plain boxes with sharp corners where no bag stands: no bags."""
    for _ in range(rng.integers(1, 4)):
        w, h = (width_px * rng.uniform(0.2, 1.4, 2)).astype(int)
        x, y = rng.integers(-w // 2, CROP_PX - w // 2), rng.integers(-h // 2, CROP_PX - h // 2)
        area = np.s_[max(0, y) : y + h, max(0, x) : x + w]
        if not maps[area][..., 0].any():
            shade = np.linspace(rng.uniform(0.7, 1), rng.uniform(0.7, 1), light[area].shape[1])[None, :, None]
            light[area] = np.exp(rng.uniform(-4, 0)) * np.exp(rng.normal(0, 0.3, 3)) * shade


def relight(light: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The crop under another lamp, through another lens and tone curve, as uint8 sRGB."""
    ramp = np.linspace(-1, 1, CROP_PX)
    light = light * np.exp(rng.normal(0, 0.3) * ramp[None, :] + rng.normal(0, 0.3) * ramp[:, None])[..., None]
    light = light * np.exp(rng.normal(0, 0.5)) * np.exp(rng.normal(0, 0.15, 3))
    grey = light.mean(2, keepdims=True)
    light = np.maximum(grey + (light - grey) * rng.uniform(0.3, 1.4), 0) + rng.uniform(0, 0.03)
    if rng.random() < 0.4:
        light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.4, 1.2))
    light = light * (1 + rng.normal(0, rng.uniform(0, 0.08), light.shape))
    return np.round(255 * np.clip(light, 0, 1) ** (rng.uniform(0.8, 1.25) / 2.2)).astype(np.uint8)


def sample(shelves: list[Shelf], rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Network input (3, h, w) and targets (2, h, w): face, and its core."""
    pick = lambda: shelves[int(rng.integers(len(shelves)))]  # noqa: E731
    light, maps, width_px = crop(pick(), rng)
    light, maps = light.copy(), maps.copy()
    if rng.random() < 0.45:
        push(light, maps, crop(pick(), rng)[:2], rng)
    if rng.random() < 0.25:
        put_boxes(light, maps, width_px, rng)
    if rng.random() < 0.7:
        light = rewall(light, maps[..., 0] > 0, rng)
    if rng.random() < 0.7:
        light = regrow(light, maps[..., 0], rng)
    if rng.random() < 0.3:
        light = write_on(light, maps[..., 0], width_px, rng)
    targets = np.stack([maps[..., 0] > 0, maps[..., 1] > CORE_DEPTH]).astype(np.float32)
    return network_input(to_linear(relight(light.astype(np.float32), rng))), targets


class Net(nn.Module):
    """The network of colscan/locate/facenet.py, each layer with batch normalisation."""

    def __init__(self, kinds: int) -> None:
        super().__init__()
        a, b, c, d = CHANNELS
        self.sizes = {
            "stem": (12, a, 1),
            "a1": (a, a, 3),
            "b1": (a, b, 3),
            "b2": (b, b, 3),
            "c1": (b, c, 3),
            "c2": (c, c, 3),
            "d1": (c, d, 3),
            "d2": (d, d, 3),
            "d3": (d, d, 3),
            "c3": (c + d, c, 3),
            "b3": (b + c, b, 3),
            "a3": (a + b, 16, 3),
        }
        self.convs = nn.ModuleDict(
            {k: nn.Conv2d(i, o, s, padding=s // 2, bias=False) for k, (i, o, s) in self.sizes.items()}
        )
        self.norms = nn.ModuleDict({k: nn.BatchNorm2d(o) for k, (_, o, _) in self.sizes.items()})
        self.out = nn.Conv2d(16, kinds, 3, padding=1)

    def layer(self, x: torch.Tensor, name: str) -> torch.Tensor:
        """Convolution, normalisation, rectifier."""
        return torch.relu(self.norms[name](self.convs[name](x)))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """Log odds (n, kinds, h / 2, w / 2)."""
        layer, halve = self.layer, nn.functional.avg_pool2d
        double = lambda y: nn.functional.interpolate(y, scale_factor=2, mode="nearest")  # noqa: E731
        a = layer(nn.functional.pixel_unshuffle(x, 2), "stem")
        a = layer(a, "a1") + a
        b = layer(halve(a, 2), "b1")
        b = layer(b, "b2") + b
        c = layer(halve(b, 2), "c1")
        c = layer(c, "c2") + c
        d = layer(halve(c, 2), "d1")
        d = layer(d, "d2") + d
        d = layer(d, "d3") + d
        c = layer(torch.cat([c, double(d)], 1), "c3")
        b = layer(torch.cat([b, double(c)], 1), "b3")
        a = layer(torch.cat([a, double(b)], 1), "a3")
        return self.out(a)

    def folded(self) -> dict[str, np.ndarray]:
        """Weights with the normalisation worked into them."""
        weights = {"out.weight": self.out.weight, "out.bias": self.out.bias}
        for name, norm in self.norms.items():
            factor = norm.weight / torch.sqrt(norm.running_var + norm.eps)
            weights[f"{name}.weight"] = self.convs[name].weight * factor[:, None, None, None]
            weights[f"{name}.bias"] = norm.bias - norm.running_mean * factor
        return {name: value.detach().numpy().astype(np.float16) for name, value in weights.items()}


def fit(draw: Callable[[np.random.Generator], tuple[np.ndarray, np.ndarray]], steps: int) -> Net:
    """The network after so many steps of Adam on drawn (input, targets), its rate falling to nothing."""
    rng = np.random.default_rng(0)
    torch.manual_seed(0)
    torch.set_num_threads(1)
    cv2.setNumThreads(1)
    net, mean = Net(len(draw(rng)[1])), 0.7
    adam = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=1e-3)
    for n in range(1, steps + 1):
        pairs = [draw(rng) for _ in range(BATCH)]
        x, t = (torch.from_numpy(np.stack(part)) for part in zip(*pairs, strict=True))
        for group in adam.param_groups:
            group["lr"] = RATE * min(1, n / 20) * (1 + np.cos(np.pi * n / steps)) / 2
        loss = nn.functional.binary_cross_entropy_with_logits(net(x), nn.functional.avg_pool2d(t, 2))
        adam.zero_grad()
        loss.backward()
        adam.step()
        mean = 0.97 * mean + 0.03 * float(loss.detach())
        if n % 50 == 0:
            print(n, round(mean, 4), flush=True)
    return net.eval()


def main() -> None:
    """Fit the network and write it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("truth_dir", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--without", action="append", default=[])
    parser.add_argument("--steps", type=int, default=600)
    options = parser.parse_args()
    paths = sorted(options.truth_dir.glob("*/truth.json"))
    kept = [path.parent for path in paths if json.loads(path.read_text())["series"] not in options.without]
    shelves = [read_shelf(folder) for folder in kept]
    net = fit(lambda rng: sample(shelves, rng), options.steps)
    np.savez_compressed(options.out, **net.folded())


if __name__ == "__main__":
    main()
