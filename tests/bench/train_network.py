"""Train the face network (needs torch, which nothing else does).

    python tests/bench/train_network.py CACHE leave-out SERIES...   # judged on a series never seen
    python tests/bench/train_network.py CACHE ship OUT.npz          # all series: what is shipped

CACHE is what training_faces.py made: real, then 4500 painted, 800 flat, 4400 filmed, 1800 relit and 800
still faces. Leaving a series out leaves out its photos and everything made from its first faces, its growth
or its film. Training has two stages: 2600 steps on real, painted, flat, filmed and relit faces, then 900 with
still faces too, without which the network takes a face that is unchanged outside its colonies for a first
photo, hence bare. (Those of the series left out in docs/method.md had no flat faces, 4000 and 1500 steps.)
"""

from __future__ import annotations

import pickle
import sys
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as functional
from torch import nn
from training_faces import SERIES, Sample

from colscan.score.cues import MAPS, NUMBERS

STEPS = (2600, 900)
# Trainings differ by chance: of four with flat faces that differ in this and in length, one reads all drawn
# faces of the practice sheet within 3 points.
SEED = 1
FINE, MIDDLE, COARSE, WHOLE = 20, 32, 48, 64
"""Channels at 3, 6 and 12 mm, and of the face as a whole."""


class FaceNetwork(nn.Module):
    """The network that colscan/score/network.py runs; layers have the same names."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = nn.Conv2d(MAPS, FINE, 2, 2)
        self.a1 = nn.Conv2d(FINE, FINE, 3, padding=1)
        self.b1 = nn.Conv2d(FINE, MIDDLE, 3, padding=1)
        self.b2 = nn.Conv2d(MIDDLE, MIDDLE, 3, padding=1)
        self.c1 = nn.Conv2d(MIDDLE, COARSE, 3, padding=1)
        self.c2 = nn.Conv2d(COARSE, COARSE, 3, padding=1)
        self.f1 = nn.Linear(2 * COARSE + MIDDLE + NUMBERS, WHOLE)
        self.f2 = nn.Linear(WHOLE, 2 * (FINE + MIDDLE + COARSE))
        nn.init.zeros_(self.f2.weight)
        nn.init.zeros_(self.f2.bias)
        self.doubt = nn.Linear(WHOLE, 1)
        nn.init.zeros_(self.doubt.weight)
        nn.init.zeros_(self.doubt.bias)
        self.c3 = nn.Conv2d(COARSE, COARSE, 3, padding=1)
        self.b3 = nn.Conv2d(MIDDLE + COARSE, MIDDLE, 3, padding=1)
        self.a3 = nn.Conv2d(FINE + MIDDLE, FINE, 3, padding=1)
        self.out = nn.Conv2d(FINE, 8, 1)

    def forward(
        self, maps: torch.Tensor, numbers: torch.Tensor, clear: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """Log odds of covered and of opacity, (n, 2, h, w); log of the coverage's usual error, (n,)."""
        relu, halve = functional.relu, functional.avg_pool2d
        a = relu(self.stem(maps))
        a = relu(self.a1(a)) + a
        b = relu(self.b1(halve(a, 2)))
        b = relu(self.b2(b)) + b
        c = relu(self.c1(halve(b, 2)))
        c = relu(self.c2(c)) + c
        weight_b, weight_c = halve(clear, 4), halve(clear, 8)
        weight_b = weight_b / (weight_b.sum((2, 3), keepdim=True) + 1e-3)
        weight_c = weight_c / (weight_c.sum((2, 3), keepdim=True) + 1e-3)
        mean = (c * weight_c).sum((2, 3))
        spread = torch.sqrt(((c - mean[..., None, None]) ** 2 * weight_c).sum((2, 3)) + 1e-4)
        seen = torch.cat([mean, spread, (b * weight_b).sum((2, 3)), numbers], 1)
        hidden = relu(self.f1(seen))
        by = self.f2(hidden)[..., None, None]
        fa, ta, fb, tb, fc, tc = torch.split(by, [FINE, FINE, MIDDLE, MIDDLE, COARSE, COARSE], 1)
        c = c * (1 + fc) + tc
        c = relu(self.c3(c)) + c
        b = b * (1 + fb) + tb
        b = relu(self.b3(torch.cat([b, functional.interpolate(c, scale_factor=2)], 1)))
        a = a * (1 + fa) + ta
        a = relu(self.a3(torch.cat([a, functional.interpolate(b, scale_factor=2)], 1)))
        return functional.pixel_shuffle(self.out(a), 2), _bounded(self.doubt(hidden.detach())[:, 0])


def _bounded(doubt: torch.Tensor) -> torch.Tensor:
    """Logarithm of an error between a third of a point and 60 points."""
    return -3 + 2.5 * torch.tanh(doubt)


def pack(samples: list[Sample], rng: np.random.Generator | None) -> list[torch.Tensor]:
    """Maps, numbers, clear, truth (2) and its weight; turned, shifted and shaken at random if `rng`."""
    height, width = (max(-(-s.cues.clear.shape[i] // 8) * 8 for s in samples) for i in (0, 1))
    maps = np.zeros((len(samples), MAPS, height, width), np.float32)
    layers = np.zeros((len(samples), 4, height, width), np.float32)
    numbers = np.stack([s.cues.numbers for s in samples])
    for i, sample in enumerate(samples):
        own = np.asarray(sample.cues.maps, np.float32)
        known = sample.shown & sample.known
        layer = np.stack([sample.growth.covered, sample.growth.opacity, sample.cues.clear, known])
        top, left = 0, 0
        if rng is not None:
            own, layer = _turned(own, layer, rng)
            top = int(rng.integers(0, height - own.shape[1] + 1))
            left = int(rng.integers(0, width - own.shape[2] + 1))
        here = np.s_[:, top : top + own.shape[1], left : left + own.shape[2]]
        maps[i][here], layers[i][here] = own, layer
    if rng is not None:
        numbers = numbers + rng.normal(0, 0.08, numbers.shape).astype(np.float32)
    tensors = [torch.from_numpy(x) for x in (maps, numbers, layers)]
    clear, truth, weight = tensors[2][:, 2:3], tensors[2][:, :2], tensors[2][:, 3]
    return [tensors[0].contiguous(memory_format=torch.channels_last), tensors[1], clear, truth, weight]


def _turned(maps: np.ndarray, layers: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    if rng.random() < 0.5:
        maps, layers = maps[:, :, ::-1], layers[:, :, ::-1]
    if rng.random() < 0.25:
        maps, layers = maps[:, ::-1], layers[:, ::-1]
    maps = maps.copy()
    # The light a little off (maps of brightness), and the colour (maps of redness).
    for group in ([0, 5, 6], [2, 7, 8]):
        if rng.random() < 0.3:
            maps[group] += rng.normal(0, 0.08, (3, 1, 1)).astype(np.float32)
    return maps, layers


def loss_of(
    odds: torch.Tensor, doubt: torch.Tensor, truth: torch.Tensor, weight: torch.Tensor
) -> torch.Tensor:
    """Per cell: cross entropy of covered, twice the error of opacity; of the face: 4 times each error.

    And the doubt's likelihood, if coverage errs by Laplace's law.
    """
    covered, opacity = torch.sigmoid(odds[:, 0]), torch.sigmoid(odds[:, 1])

    def face(x: torch.Tensor) -> torch.Tensor:
        return (x * weight).sum((1, 2)) / (weight.sum((1, 2)) + 1)

    cells = functional.binary_cross_entropy_with_logits(odds[:, 0], truth[:, 0], reduction="none")
    dense = (opacity - truth[:, 1]).abs()
    of_cover = face(covered - truth[:, 0]).abs()
    of_face = of_cover + face(opacity - truth[:, 1]).abs()
    unlikely = (of_cover.detach() + 0.003) * torch.exp(-doubt) + doubt
    return (face(cells) + 2 * face(dense) + 4 * of_face + 0.2 * unlikely).mean()


def train(real: list[Sample], made: dict[str, list[Sample]]) -> FaceNetwork:
    """A network trained in two stages; of each batch of 8 three are real, one in six of them a first one."""
    torch.manual_seed(SEED)
    network = FaceNetwork().to(memory_format=torch.channels_last)
    first, later = ([s for s in real if (s.day == 0) == is_first] for is_first in (True, False))
    changed = made["painted"] + made["flat"] + made["relit"] + made["filmed"]
    _stage(network, (later, first, changed, []), (5, 0), steps=STEPS[0], rate=3e-3)
    _stage(network, (later, first, changed, made["still"]), (3, 2), steps=STEPS[1], rate=1.5e-3)
    return network.eval()


def _stage(
    network: FaceNetwork,
    pools: tuple[list[Sample], list[Sample], list[Sample], list[Sample]],
    made_counts: tuple[int, int],
    *,
    steps: int,
    rate: float,
) -> None:
    """Train on later, first, changed and still faces; the weights end as their running mean."""
    rng = np.random.default_rng(SEED)
    optimizer = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=1e-3)
    mean = {name: value.clone() for name, value in network.state_dict().items()}
    began = time.time()
    for step in range(steps):
        for group in optimizer.param_groups:
            warm = min(1, (step + 1) / 50)
            group["lr"] = rate * warm * (0.5 + 0.5 * np.cos(np.pi * step / steps)) + 1e-5
        some_first = 1 - step % 2
        counts = (3 - some_first, some_first, *made_counts)
        chosen = [
            pool[j]
            for pool, count in zip(pools, counts, strict=True)
            if count
            for j in rng.integers(len(pool), size=count)
        ]
        maps, numbers, clear, truth, weight = pack(chosen, rng)
        with torch.autocast("cpu", dtype=torch.bfloat16):
            odds, doubt = network(maps, numbers, clear)
        loss = loss_of(odds.float(), doubt.float(), truth, weight)
        optimizer.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimizer.step()
        keep = min(0.995, (step + 1) / (step + 10))
        with torch.no_grad():
            for name, value in network.state_dict().items():
                mean[name].mul_(keep).add_(value, alpha=1 - keep)
        if (step + 1) % 100 == 0:
            print(step + 1, round(loss.item(), 3), f"{time.time() - began:.0f} s", flush=True)
    network.load_state_dict(mean)


def judge(network: FaceNetwork, sample: Sample) -> tuple[np.ndarray, np.ndarray, float]:
    """Chance of covered and opacity, (h, w), and doubt: the mean of the face as it is and mirrored."""
    maps, numbers, clear, _, _ = pack([sample], None)
    h, w = sample.cues.clear.shape
    with torch.no_grad():
        plain, doubt = network(maps, numbers, clear)
        mirrored, doubt2 = network(maps.flip(3), numbers, clear.flip(3))
    covered, opacity = torch.sigmoid((plain + mirrored.flip(3)) / 2)[0, :, :h, :w].numpy()
    return covered, opacity, float(torch.exp((doubt + doubt2) / 2)[0])


def _load(file: Path) -> list:
    """A pickle's samples, their maps in half precision: thousands of them must fit into memory."""
    items = pickle.loads(file.read_bytes())
    for item in items:
        cues = (item[1] if isinstance(item, tuple) else item).cues
        object.__setattr__(cues, "maps", cues.maps.astype(np.float16))
    return items


def save(network: FaceNetwork, path: Path) -> None:
    """Weights as the tool ships them."""
    np.savez_compressed(path, **{k: v.numpy().astype(np.float16) for k, v in network.state_dict().items()})


def main(arguments: list[str]) -> None:
    """Leave series out one by one, or make the weights that are shipped."""
    torch.set_num_threads(1)
    cache, task, rest = Path(arguments[0]), arguments[1], arguments[2:]
    real = [s for name in SERIES for _, s in _load(cache / f"real-{name}.pkl")]
    made = {
        how: [s for file in sorted(cache.glob(f"{how}-*.pkl")) for s in _load(file)]
        for how in ("painted", "flat", "relit", "still", "filmed")
    }
    if task == "ship":
        save(train(real, made), Path(rest[0]))
        return
    for series in rest:
        network = train(
            [s for s in real if series not in s.series],
            {how: [s for s in samples if series not in s.series] for how, samples in made.items()},
        )
        held = [s for s in real if series in s.series]
        save(network, cache / f"without-{series}.npz")
        answers = [judge(network, s) for s in held]
        (cache / f"held-{series}.pkl").write_bytes(pickle.dumps(answers))
        errors = [
            100 * (covered[s.shown].mean() - s.coverage)
            for s, (covered, _, _) in zip(held, answers, strict=True)
        ]
        before = [100 * (s.unmixed[0] - s.coverage) for s in held]
        print(series, "MAE", np.abs(errors).mean(), "by unmixing", np.abs(before).mean(), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
