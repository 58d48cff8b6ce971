"""How surely rendered bags' faces are found again on their first ones, and how surely bags are told apart.

    python tests/bench/known_again.py

Every later face of each series is laid onto its own first face and onto other bags' (of bigrack's a third).
What others reach is chance: printed is how many faces of which mycelium isn't dense (mean opacity under 60
%) are more like their own than 95 and 99 of 100 others. Then each photo is taken for one of a shelf without
cards, as it is and with any two bags exchanged, coverage being the true one: what `identify` would say. Takes
two minutes.

The folder of the rendered photos comes from COLSCAN_BENCH (default ../shared/bench).
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from training_faces import BENCH, SERIES, read_photo, views_of

from colscan.score import identity, make_baseline, share_reference
from colscan.score.identity import Verdict, stands_out
from colscan.score.prepare import prepare

DENSE_PCT = 60.0


@dataclass(frozen=True, kw_only=True)
class Pair:
    """A later face and a first one: how alike they become, and how far that stands out."""

    photo: str
    series: str
    bag: int
    first: int
    coverage: float
    dense: bool
    likeness: float
    outstanding: float


def pairs_of(series: str) -> list[Pair]:
    """All pairs of a series."""
    pairs: list[Pair] = []
    baselines: dict = {}
    for folder in sorted((BENCH / "dev").glob(f"{series}-d*")):
        truth, _, _ = read_photo(folder.name)
        views = share_reference(views_of(folder.name))
        if truth["day"] == 0:
            made = {v.key: make_baseline([v], photos=[folder.name], late=False) for v in views}
            baselines = {key: baseline for key, baseline in made.items() if baseline is not None}
            continue
        about = {bag["tag"]: bag for bag in truth["bags"]}
        for view in views:
            for key, baseline in baselines.items():
                if series == "bigrack" and key != view.key and (key + view.key) % 3:
                    continue
                own = about[view.key]
                pairs.append(
                    Pair(
                        photo=folder.name,
                        series=series,
                        bag=view.key,
                        first=key,
                        coverage=own["coverage_pct"] / 100,
                        dense=own["opacity_pct"] >= DENSE_PCT,
                        likeness=prepare(view, baseline).likeness,
                        outstanding=stands_out(view, baseline),
                    )
                )
    return pairs


def print_found(pairs: list[Pair]) -> None:
    """How many of their own faces are more alike than chance."""
    thin = [pair for pair in pairs if pair.first == pair.bag and not pair.dense]
    others = [pair for pair in pairs if pair.first != pair.bag]
    print(f"{len(thin)} later faces that aren't dense on their own first face, {len(others)} on others'")
    print(f"found: {sum(p.likeness > 0 for p in thin)} own, {sum(p.likeness > 0 for p in others)} others")
    for what in ("likeness", "outstanding"):
        chance = np.array([getattr(pair, what) for pair in others])
        own = np.array([getattr(pair, what) for pair in thin])
        limits = np.quantile(chance, [0.95, 0.99])
        shares = [f"{100 * (own > limit).mean():.0f} % of own over {limit:.2f}" for limit in limits]
        print(f"{what}: others' 95 and 99 %: {', '.join(shares)}; others' most {chance.max():.2f}")


def print_told(pairs: list[Pair]) -> None:
    """What would be said of each bag, in its place and in another's."""
    honest: Counter[str] = Counter()
    swaps: Counter[str] = Counter()
    for photo in sorted({pair.photo for pair in pairs if pair.series != "bigrack"}):
        here = [pair for pair in pairs if pair.photo == photo]
        bags = sorted({pair.bag for pair in here})
        known = {bag: {p.first: p.outstanding for p in here if p.bag == bag} for bag in bags}
        coverage = {pair.bag: pair.coverage for pair in here}
        honest.update(verdict for verdict, _ in _told({bag: bag for bag in bags}, known, coverage).values())
        for a, b in combinations(bags, 2):
            told = _told({bag: {a: b, b: a}.get(bag, bag) for bag in bags}, known, coverage)
            accused = [
                (bag, told[bag][1]) for bag in (a, b) if told[bag][0] in (Verdict.OTHER, Verdict.STRANGE)
            ]
            swaps["told" if accused else "not told"] += 1
            swaps["by a wrong name"] += sum(found not in (None, bag) for bag, found in accused)
    print(f"bags in their own place: {dict(honest)}")
    print(f"two bags exchanged: {dict(swaps)}")


def _told(
    places: dict[int, int], known: dict[int, dict[int, float]], coverage: dict[int, float]
) -> dict[int, tuple[Verdict, int | None]]:
    """Verdict and name by bag, each standing in the place of another or its own."""
    views = [SimpleNamespace(key=places[bag]) for bag in places]
    scores = [
        {view.key: known[bag][view.key]} if known[bag][view.key] >= identity.SURE else known[bag]
        for bag, view in zip(places, views, strict=True)
    ]
    swapped = identity._exchanged(views, scores)
    judged = [
        identity._judge(view.key, score, swapped.get(view.key), coverage=coverage[bag])
        for bag, view, score in zip(places, views, scores, strict=True)
    ]
    return {bag: (one.verdict, one.found) for bag, one in zip(places, judged, strict=True)}


def main() -> None:
    """Print both."""
    cv2.setNumThreads(1)
    pairs = [pair for series in SERIES for pair in pairs_of(series)]
    print_found(pairs)
    print_told(pairs)


if __name__ == "__main__":
    main()
