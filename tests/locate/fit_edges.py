"""Fits colscan/locate/edges.json to rendered shelves with known outlines.

Usage: python tests/locate/fit_edges.py TRUTH_DIR [--without SERIES] [--out FILE]

`--without` leaves a series out, so that it can be used to judge what was fitted to the others.
Each bag's window is taken as it is and with other light, wall brightness and tint, blur and noise,
drawn at random (seeded), so that a wall's own look isn't learnt; some are cut by the photo's border, which
is no edge of a block as long as another is seen.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from colscan.locate import find_cards
from colscan.locate.edges import (
    LINES_EVERY,
    RANGE_MM,
    Side,
    appearance,
    line_features,
    net_of,
    range_steps,
    strip_means,
)
from colscan.locate.reference import read_reference
from colscan.locate.window import BOTTOM_MM, LEFT_MM, RIGHT_MM, TOP_MM, Window, cut_window

ALTERED = 5  # altered copies of each window
CROPPED = 0.4  # share of these that a photo's border cuts on one side
LINE_STRIDE = 2  # of the lines across a side, which are alike, one in two
HIDDEN_UNITS, EPOCHS, BATCH, RATE, DECAY = 16, 20, 64, 3e-3, 2e-4


def windows_of(folder: Path) -> Iterator[tuple[Window, np.ndarray, np.ndarray]]:
    """Window, block and all blocks (1 mm masks) of each card of a rendered photo."""
    truth = json.loads((folder / "truth.json").read_text())
    rgb = cv2.cvtColor(cv2.imread(str(folder / truth["photo"])), cv2.COLOR_BGR2RGB)
    number = cv2.imread(str(folder / "truth.png"), cv2.IMREAD_UNCHANGED)[..., 2]
    for card in find_cards(rgb):
        if card.tag > len(truth["bags"]):
            continue
        window = cut_window(rgb, card, read_reference(rgb, card).paper)
        x, y = np.meshgrid(np.arange(LEFT_MM, RIGHT_MM) + 0.5, np.arange(TOP_MM, BOTTOM_MM) + 0.5)
        px = window.to_px(np.stack([x, y], -1)).astype(np.float32)
        blocks = cv2.remap(number, px[..., 0], px[..., 1], cv2.INTER_NEAREST)
        yield window, blocks == card.tag, blocks > 0


def altered(window: Window, blocks: np.ndarray, rng: np.random.Generator) -> Window:
    """The window in other light, before another wall, with other blur and noise."""
    height, width = blocks.shape
    ramp = np.exp(
        rng.normal(0, 0.25) * np.linspace(-1, 1, width)[None, :]
        + rng.normal(0, 0.25) * np.linspace(-1, 1, height)[:, None]
    )
    light = window.light * ramp[..., None] * np.exp(rng.normal(0, 0.03, 3))
    if rng.random() < 0.3:
        light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.5, 1.5))
    light = np.maximum(light * (1 + rng.normal(0, rng.uniform(0, 0.06), light.shape)), 0)
    wall = np.exp(rng.normal(0, 0.5)) * np.exp(rng.normal(0, 0.04, 3))
    share = cv2.GaussianBlur(blocks.astype(np.float32), (0, 0), 0.8)[..., None]
    return dataclasses.replace(window, light=(light * (share + (1 - share) * wall)).astype(np.float32))


def cropped(window: Window, block: np.ndarray, rng: np.random.Generator) -> tuple[Window, np.ndarray]:
    """The window and the block as if the photo ended on one side of the block, or within it."""
    outside = np.zeros(block.shape, bool)
    turned = [outside, outside[:, ::-1], outside.T, outside.T[:, ::-1]]
    side = int(rng.integers(4))
    seen = [block, block[:, ::-1], block.T, block.T[:, ::-1]][side].any(0)
    edge = int(np.flatnonzero(seen)[0])
    turned[side][:, : max(0, edge + int(rng.uniform(-60, 25)))] = True
    light = np.where(outside[..., None], np.float32(0), window.light)
    return dataclasses.replace(window, light=light), block & ~outside


def lines(window: Window, block: np.ndarray, side: Side, start: int) -> tuple[np.ndarray, np.ndarray]:
    """Features (lines, places, K) of the lines across one side of a block, and where its edge is on each."""
    coarse = cv2.resize(block.astype(np.float32), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA) > 0.5
    features = np.moveaxis(line_features(strip_means(appearance(window)), side), 0, -1)
    turned, (first, last) = coarse, range_steps(side)
    if net_of(side) != "side":
        turned, features = turned.T, features.swapaxes(0, 1)
    turned = turned[::LINES_EVERY]
    if side in ("right", "bottom"):
        turned, features = turned[:, ::-1], features[:, ::-1]
        first, last = turned.shape[1] - last, turned.shape[1] - first
    seen = np.flatnonzero(turned.any(1))
    rows = np.arange(seen[0] + 4 + start, seen[-1] - 4, LINE_STRIDE)  # not on its rounded corners
    edge = turned[rows].argmax(1) - first
    known = (edge >= 0) & (edge < last - first)
    return features[rows[known]], edge[known]


def collect(folders: list[Path], rng: np.random.Generator) -> dict[str, list[tuple[np.ndarray, np.ndarray]]]:
    """Lines of all blocks by network."""
    data: dict[str, list[tuple[np.ndarray, np.ndarray]]] = {net_of(side): [] for side in RANGE_MM}
    for folder in folders:
        for window, block, blocks in windows_of(folder):
            for copy in range(1 + ALTERED):
                seen, left = (altered(window, blocks, rng), block) if copy else (window, block)
                if copy and rng.random() < CROPPED:
                    seen, left = cropped(seen, left, rng)
                for side in RANGE_MM:
                    data[net_of(side)].append(lines(seen, left, side, int(rng.integers(LINE_STRIDE))))
    return data


def fit(data: list[tuple[np.ndarray, np.ndarray]], rng: np.random.Generator) -> dict[str, np.ndarray]:
    """The network that gives the true places of edges the highest probability on their lines (Adam)."""
    features = data[0][0].shape[-1]
    flat = np.concatenate([x.reshape(-1, features) for x, _ in data])
    mean, spread = flat.mean(0), flat.std(0) + 1e-6
    groups: dict[int, list[tuple[np.ndarray, np.ndarray]]] = {}
    for x, t in data:
        groups.setdefault(x.shape[1], []).append(((x - mean) / spread, t))
    sets = [
        (np.concatenate([x for x, _ in g]).astype(np.float32), np.concatenate([t for _, t in g]))
        for g in groups.values()
    ]
    p = [
        rng.normal(0, features**-0.5, (features, HIDDEN_UNITS)).astype(np.float32),
        np.zeros(HIDDEN_UNITS, np.float32),
        rng.normal(0, HIDDEN_UNITS**-0.5, HIDDEN_UNITS).astype(np.float32),
        np.zeros(features, np.float32),
    ]
    m, v, n = [np.zeros_like(a) for a in p], [np.zeros_like(a) for a in p], 0
    for epoch in range(EPOCHS):
        rate = RATE * (1 - 0.95 * epoch / EPOCHS)
        for x, t in sets:
            order = rng.permutation(len(t))
            for batch in np.split(order[: len(order) // BATCH * BATCH], len(order) // BATCH):
                n += 1
                for j, g in enumerate(gradient(p, x[batch], t[batch])):
                    g = g + DECAY * p[j]
                    m[j] = 0.9 * m[j] + 0.1 * g
                    v[j] = 0.999 * v[j] + 0.001 * g * g
                    p[j] = p[j] - rate * (m[j] / (1 - 0.9**n)) / (np.sqrt(v[j] / (1 - 0.999**n)) + 1e-8)
    hidden = p[0] / spread[:, None]
    return {"hidden": hidden, "bias": p[1] - mean @ hidden, "out": p[2], "linear": p[3] / spread}


def gradient(p: list[np.ndarray], x: np.ndarray, t: np.ndarray) -> list[np.ndarray]:
    """Of the mean negative log probability of the true places; a step to either side is half right."""
    inner = np.tanh(x @ p[0] + p[1])
    score = inner @ p[2] + x @ p[3]
    chance = np.exp(score - score.max(1, keepdims=True))
    chance /= chance.sum(1, keepdims=True)
    truth, row, last = np.zeros_like(chance), np.arange(len(t)), chance.shape[1] - 1
    np.add.at(truth, (row, t), 0.5)
    np.add.at(truth, (row, np.maximum(t - 1, 0)), 0.25)
    np.add.at(truth, (row, np.minimum(t + 1, last)), 0.25)
    off = (chance - truth) / len(t)
    back = off[..., None] * p[2] * (1 - inner**2)
    flat = x.reshape(-1, x.shape[-1])
    return [
        flat.T @ back.reshape(-1, back.shape[-1]),
        back.sum((0, 1)),
        inner.reshape(-1, inner.shape[-1]).T @ off.ravel(),
        flat.T @ off.ravel(),
    ]


def main() -> None:
    """Fit the three networks and write them."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("truth_dir", type=Path)
    parser.add_argument("--without", action="append", default=[])
    parser.add_argument("--out", type=Path, default=Path("colscan/locate/edges.json"))
    options = parser.parse_args()
    folders = []
    for path in sorted(options.truth_dir.glob("*/truth.json")):
        truth = json.loads(path.read_text())
        if truth["cards"] and truth["series"] not in options.without:
            folders.append(path.parent)
    rng = np.random.default_rng(0)
    nets = {}
    for kind, data in collect(folders, rng).items():
        net = fit(data, rng)
        nets[kind] = {name: json.loads(json.dumps(_rounded(values))) for name, values in net.items()}
    about = "Made by tests/locate/fit_edges.py; see colscan/locate/edges.py."
    options.out.write_text(json.dumps({"about": about, "nets": nets}, separators=(",", ":")) + "\n")


def _rounded(values: np.ndarray) -> list[object]:
    return [_rounded(v) if np.ndim(v) else float(f"{v:.4g}") for v in values]


if __name__ == "__main__":
    main()
