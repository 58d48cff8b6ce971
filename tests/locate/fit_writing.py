"""Fits colscan/locate/writing.json, which tells pen strokes from other thin dark places, to rendered bags.

Usage: python tests/locate/fit_writing.py TRUTH_DIR OUT [--without SERIES]...

Needs PyTorch. Bags written on by the renderer are taken as they are; on the others words, figures and free
strokes are drawn at random (seeded), or nothing: then whatever is thin and dark there is no writing.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import nn

sys.path.insert(0, str(Path(__file__).parent))

from fit_faces import extent

from colscan.locate.cards import card_outline_px, filled, find_cards
from colscan.locate.standin import stand_in_references
from colscan.locate.uncarded import window_without_card
from colscan.locate.window import BOTTOM_MM, BRIGHTEST, LEFT_MM, RIGHT_MM, TOP_MM
from colscan.locate.writing import thin_places

WRITTEN_ON = "pen"
FINER = 4  # strokes are drawn this many times finer than the window's millimetres
ALTERED = 5  # times each bag is seen
HIDDEN_UNITS, STEPS, RATE, DECAY = 12, 700, 1e-2, 1e-2
Bag = tuple[np.ndarray, np.ndarray, np.ndarray]


def bags_of(folder: Path) -> list[Bag]:
    """Light, face and known strokes of the windows of a rendered photo's bags; cards are painted over."""
    truth = json.loads((folder / "truth.json").read_text())
    rgb = cv2.cvtColor(cv2.imread(str(folder / truth["photo"])), cv2.COLOR_BGR2RGB)
    truth_map = cv2.imread(str(folder / "truth.png"), cv2.IMREAD_UNCHANGED)
    for card in find_cards(rgb):
        own = filled(card_outline_px(card, margin_mm=1.5, far_margin_mm=4), rgb.shape[:2])
        ring = (cv2.dilate(own.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0) & ~own
        rgb[own] = np.median(rgb[ring], 0)
    x, y = np.meshgrid(np.arange(LEFT_MM, RIGHT_MM) + 0.5, np.arange(TOP_MM, BOTTOM_MM) + 0.5)
    bags = []
    for bag in truth["bags"]:
        x0, y0, x1, y1 = bag["box"]
        box = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)
        (reference,) = stand_in_references(rgb, [box], mm_per_px=bag["mm_per_px"])
        window = window_without_card(rgb, box, mm_per_px=bag["mm_per_px"], reference=reference)
        px = window.to_px(np.stack([x, y], -1)).astype(np.float32)
        laid = cv2.remap(truth_map, px[..., 0], px[..., 1], cv2.INTER_NEAREST)
        face = laid[..., 2] == bag["tag"]
        ink = face & (laid[..., 1] == 0) if truth["series"] == WRITTEN_ON else np.zeros_like(face)
        bags.append((np.minimum(window.light, BRIGHTEST), face, ink))
    return bags


def strokes(face: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Share of each place under drawn words, figures and free strokes."""
    y0, y1, x0, x1 = (int(v) * FINER for v in extent(face))
    drawn = np.zeros((face.shape[0] * FINER, face.shape[1] * FINER), np.uint8)
    thick = round(FINER * rng.uniform(1.5, 6))
    height_mm = rng.uniform(10, 40)
    for line in range(rng.integers(1, 4)):
        words = "".join(
            rng.choice(list("ABCDEFHIKLMNOPRSTUXZabdeghkmnoprstuz0123456789-%/. "), rng.integers(1, 12))
        )
        at = (
            int(x0 + (x1 - x0) * rng.uniform(0, 0.5)),
            int(y0 + (y1 - y0) * rng.uniform(0.15, 0.7) + 1.4 * FINER * height_mm * line),
        )
        font = int(
            rng.choice([cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX])
        )
        cv2.putText(drawn, words, at, font, FINER * height_mm / 22, 255, thick, cv2.LINE_AA)
    if rng.random() < 0.3:
        steps = rng.normal(0, 6 * FINER, (12, 2)).cumsum(0).cumsum(0) / 3
        path = steps + np.array([rng.uniform(x0, x1), rng.uniform(y0, y1)])
        cv2.polylines(drawn, [path.astype(np.int32)], bool(rng.random() < 0.3), 255, thick, cv2.LINE_AA)
    turn = cv2.getRotationMatrix2D(((x0 + x1) / 2, (y0 + y1) / 2), rng.normal(0, 6), 1)
    wave = 1.5 * FINER * np.sin(np.arange(drawn.shape[1]) / rng.uniform(10, 40) / FINER).astype(np.float32)
    drawn = cv2.warpAffine(drawn, turn, drawn.shape[::-1])
    x, y = np.meshgrid(
        np.arange(drawn.shape[1], dtype=np.float32), np.arange(drawn.shape[0], dtype=np.float32)
    )
    drawn = cv2.remap(drawn, x, y + wave[None], cv2.INTER_LINEAR)
    return cv2.resize(drawn, face.shape[::-1], interpolation=cv2.INTER_AREA) / np.float32(255) * face


def seen(bag: Bag, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Features of a bag's thin dark places, written on or not, and which of them are ink."""
    light, face, ink = bag
    light = light * np.exp(rng.normal(0, 0.2)) * np.exp(rng.normal(0, 0.06, 3))
    if rng.random() < 0.65 and not ink.any():
        share = strokes(face, rng)
        colour = np.exp(rng.uniform(-5, -3)) * np.exp(rng.normal(0, 0.5, 3))
        amount = cv2.GaussianBlur(share, (0, 0), rng.uniform(0.3, 0.9))[..., None] * rng.uniform(0.7, 0.98)
        light, ink = light * (1 - amount) + colour * amount, share > 0.3
    grey = light.mean(2, keepdims=True)
    light = np.maximum(grey + (light - grey) * rng.uniform(0.5, 1.3), 0) + rng.uniform(0, 0.03)
    light = np.maximum(light, 1e-4) ** rng.uniform(0.85, 1.2)
    light = np.maximum(light * (1 + rng.normal(0, rng.uniform(0, 0.06), light.shape)), 0).astype(np.float32)
    thin = thin_places(light, face)
    near = cv2.dilate(ink.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    share = [near[thin.labels == k + 1].mean() for k in range(len(thin.features))]
    return thin.features, np.array(share) > 0.5


def fit(features: np.ndarray, ink: np.ndarray) -> dict[str, list[object]]:
    """The network that tells ink from the rest, by Adam on all places at once."""
    torch.manual_seed(0)
    torch.set_num_threads(1)
    mean, spread = features.mean(0), features.std(0) + 1e-6
    x, t = torch.from_numpy((features - mean) / spread).float(), torch.from_numpy(ink.astype(np.float32))
    net = nn.Sequential(nn.Linear(x.shape[1], HIDDEN_UNITS), nn.Tanh(), nn.Linear(HIDDEN_UNITS, 1))
    adam = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=DECAY)
    loss_of = nn.functional.binary_cross_entropy_with_logits
    # A large place hides more than a small one, whether ink or not.
    weight = torch.from_numpy(np.exp(features[:, 0] / 2)).float()
    for _ in range(STEPS):
        loss = loss_of(net(x)[:, 0], t, weight=weight / weight.mean())
        adam.zero_grad()
        loss.backward()
        adam.step()
    print("places", len(ink), "ink", int(ink.sum()), "loss", round(float(loss.detach()), 4))
    first, last = net[0], net[2]
    hidden = first.weight.detach().numpy().T / spread[:, None]
    bias = first.bias.detach().numpy() - mean @ hidden
    out, end = last.weight.detach().numpy()[0], last.bias.detach().numpy()[0]
    return {name: rounded(v) for name, v in (("hidden", hidden), ("bias", bias), ("out", out), ("last", end))}


def rounded(values: np.ndarray) -> object:
    """Lists of numbers with five figures."""
    return [rounded(v) for v in values] if np.ndim(values) else float(f"{values:.5g}")


def main() -> None:
    """Fit the network and write it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("truth_dir", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--without", action="append", default=[])
    options = parser.parse_args()
    paths = sorted(options.truth_dir.glob("*/truth.json"))
    kept = [path.parent for path in paths if json.loads(path.read_text())["series"] not in options.without]
    bags = [bag for folder in kept for bag in bags_of(folder)]
    rng = np.random.default_rng(0)
    pairs = [seen(bag, rng) for bag in bags for _ in range(ALTERED)]
    features, ink = (np.concatenate(part) for part in zip(*pairs, strict=True))
    options.out.write_text(json.dumps(fit(features, ink), separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
