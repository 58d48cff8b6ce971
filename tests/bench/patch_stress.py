"""Suspect patches under stress: composed patches that must be found, clean faces that must not alarm.

    python tests/bench/patch_stress.py clean|found [EVERY] [ROUNDS]

Rendered shelf photos (series of SERIES; faces as located, or by truth where bags have no cards) are changed
in linear light as a lamp, film, phone or messenger would change them, and encoded again as JPEG.

- clean: bags without a true patch, under each of SHOTS; printed are bag-photos and those with an alarm.
- found: one made-up patch on a bag without one, ROUNDS times a bag-photo: colour, size, place and film at
  random, from the same seed each time; printed are found and of right kind by colour, size, ground, film.

With EVERY 3 only the second, fifth, ... photo is taken.

A patch's colour is its reflectance under the light that this face's white and veil tell of; it keeps the
face's own shading and fine texture, and its edge is ragged and soft. None of this was used for learning.
"""

from __future__ import annotations

import sys
import zlib
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from changed_photos import (
    SERIES,
    SHOTS,
    Case,
    cases_of,
    fitted,
    fogged,
    lit,
    with_light,
)

from colscan.locate.model import BagView
from colscan.photo.light import to_linear
from colscan.score.face import smooth
from colscan.score.measure import Fitted
from colscan.score.model import PatchSeen
from colscan.score.prepare import Prepared

WHITE = 0.7767
COLOURS = {
    ("green", "olive"): (0.22, 0.28, 0.12),
    ("green", "blue-green"): (0.22, 0.36, 0.30),
    ("green", "dark green"): (0.08, 0.15, 0.09),
    ("green", "pale green"): (0.42, 0.52, 0.42),
    ("green", "grass"): (0.20, 0.42, 0.15),
    ("dark", "black"): (0.035, 0.034, 0.033),
    ("dark", "charcoal"): (0.10, 0.10, 0.10),
    ("dark", "slate"): (0.16, 0.165, 0.165),
    ("orange", "salmon"): (0.75, 0.45, 0.35),
    ("orange", "orange"): (0.70, 0.36, 0.10),
    ("orange", "rust"): (0.58, 0.27, 0.11),
    ("grey", "mid grey"): (0.40, 0.40, 0.39),
    ("grey", "pale grey"): (0.58, 0.58, 0.56),
}
"""Reflectances of made-up patches: kind and shade."""
AREAS_MM2 = (150.0, 300.0, 800.0, 2500.0)
FILMS = ("plain", "plain", "half glare", "fog", "cast")


def blotch(view: BagView, centre: np.ndarray, area_mm2: float, rng: np.random.Generator) -> np.ndarray:
    """Share of a ragged patch in each pixel."""
    rows, columns = np.mgrid[: view.face.shape[0], : view.face.shape[1]]
    away = np.hypot(columns - centre[0], rows - centre[1]) * view.mm_per_px
    radius = np.sqrt(area_mm2 / np.pi)
    rough = cv2.GaussianBlur(rng.normal(0, 1, away.shape), (0, 0), max(radius / 3 / view.mm_per_px, 0.5))
    away = away + rough / max(rough.std(), 1e-6) * radius * 0.12
    edge = np.quantile(away, min(area_mm2 / view.mm_per_px**2 / away.size, 1.0))
    return (1 / (1 + np.exp(-(edge - away) / 0.7)))[..., None]


def patched(
    case: Case, bag: Prepared, fit: Fitted, centre: np.ndarray, *, area_mm2: float, colour, rng
) -> Case:
    """The case with a made-up patch."""
    share = blotch(case.view, centre, area_mm2, rng)
    light = to_linear(case.view.rgb)
    seen = case.view.face & ~case.view.hidden
    detail = light.mean(2) / np.maximum(smooth(light.mean(2), seen, 2.0 / case.view.mm_per_px * 1.5), 1e-4)
    best = fit.belief.best
    px = cv2.warpAffine(bag.shading, bag.face.to_px, seen.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
    sent = np.array(colour) / WHITE * (float(best.white[0]) - float(best.veil[0])) + float(best.veil[0])
    own = sent * px[..., None] * case.view.paper * np.clip(detail, 0.7, 1.4)[..., None] ** 0.5
    return replace(case, view=with_light(case.view, light * (1 - share) + own * share))


def glared(case: Case, centre: np.ndarray, area_mm2: float) -> Case:
    """A burnt-out bar over a patch's upper half."""
    rows, columns = np.mgrid[: case.view.face.shape[0], : case.view.face.shape[1]]
    mm, r = case.view.mm_per_px, np.sqrt(area_mm2 / np.pi)
    up, side = (centre[1] - rows) * mm, np.abs(columns - centre[0]) * mm
    bar = ((up > 0) & (up < r + 8) & (side < 2 * r + 10)).astype(np.float32)
    bar = cv2.GaussianBlur(bar, (0, 0), 0.8)[..., None]
    return replace(case, view=with_light(case.view, to_linear(case.view.rgb) * (1 - bar) + 1.2 * bar))


# -- tables ----------------------------------------------------------------------------------------------


def seed_of(*names: object) -> np.random.Generator:
    """The same chance for the same names."""
    return np.random.default_rng(zlib.crc32(" ".join(map(str, names)).encode()))


def clean_table(photos: list[list[Case]]) -> None:
    """Print alarms on clean bags a shot."""
    print(f"{'shot':24}{'bag-photos':>11}{'alarmed':>9}  kinds")
    for name, change in SHOTS.items():
        asked, alarmed, kinds = 0, 0, Counter()
        where = []
        for cases in photos:
            rng = seed_of(name, cases[0].photo)
            changed = [change(case, rng) for case in cases]
            for case, (_, fit) in zip(changed, fitted(changed), strict=True):
                if not case.clean or fit is None:
                    continue
                asked += 1
                alarmed += bool(fit.marks.patches)
                kinds.update(p.kind for p in fit.marks.patches)
                where += [f"{case.photo}:{case.view.key}" for _ in fit.marks.patches[:1]]
        listed = ", ".join(f"{kind} {n}" for kind, n in sorted(kinds.items()))
        print(f"{name:24}{asked:11}{alarmed:9}  {listed}  {' '.join(where[:6])}", flush=True)


def place_for(case: Case, area_mm2: float, rng: np.random.Generator) -> tuple[np.ndarray, str] | None:
    """A random middle inside the face, clear of card and outline, and the ground it lies on."""
    shown = np.pad((case.view.face & ~case.view.hidden).astype(np.uint8), 1)
    depth = cv2.distanceTransform(shown, cv2.DIST_L2, 3)[1:-1, 1:-1] * case.view.mm_per_px
    radius = np.sqrt(area_mm2 / np.pi)
    rows, columns = np.nonzero(depth > radius + 12)
    if not len(rows):
        return None
    i = int(rng.integers(len(rows)))
    centre = np.array([columns[i], rows[i]], float)
    y, x = np.mgrid[: depth.shape[0], : depth.shape[1]]
    inside = np.hypot(x - centre[0], y - centre[1]) * case.view.mm_per_px < radius + 8
    covered = (case.opacity[inside] >= 0.12).mean()
    return centre, "bare" if covered < 0.1 else "white" if covered > 0.9 else "border"


def is_found(patches: tuple[PatchSeen, ...], case: Case, centre: np.ndarray, area_mm2: float) -> str | None:
    """Kind of the nearest alarm within reach, as evaluate.py takes it."""
    at = centre + np.array(case.view.origin_px)
    away = [(float(np.hypot(*(np.array(p.centre_px) - at))) * case.view.mm_per_px, p.kind) for p in patches]
    near = [each for each in away if each[0] <= np.sqrt(area_mm2 / np.pi) + 15]
    return min(near)[1] if near else None


def found_table(photos: list[list[Case]], rounds: int) -> None:
    """Print found and right kind by what was drawn."""
    got: dict[str, list[tuple[bool, bool]]] = defaultdict(list)
    for turn in range(rounds):
        for cases in photos:
            for drawn, outcome in _one_photo(cases, seed_of(turn, cases[0].photo)):
                for name in drawn:
                    got[name].append(outcome)
    print(f"{'':34}{'asked':>6}{'found':>8}{'kind':>8}")
    for name in sorted(got):
        found, right = np.mean(got[name], axis=0)
        print(f"{name:34}{len(got[name]):6}{found:8.0%}{right:8.0%}")


def _one_photo(cases: list[Case], rng: np.random.Generator) -> Iterator[tuple[list[str], tuple[bool, bool]]]:
    film = FILMS[int(rng.integers(len(FILMS)))]
    made: list[Case] = []
    drawn: dict[int, tuple[np.ndarray, float, str, str, str]] = {}
    for i, (case, (bag, fit)) in enumerate(zip(cases, fitted(cases), strict=True)):
        kind, shade = list(COLOURS)[int(rng.integers(len(COLOURS)))]
        area_mm2 = AREAS_MM2[int(rng.integers(len(AREAS_MM2)))]
        place = place_for(case, area_mm2, rng) if case.clean and fit is not None else None
        if place is not None and fit is not None:
            colour = COLOURS[kind, shade]
            case = patched(case, bag, fit, place[0], area_mm2=area_mm2, colour=colour, rng=rng)
            if film == "half glare":
                case = glared(case, place[0], area_mm2)
            drawn[i] = (place[0], area_mm2, kind, shade, place[1])
        made.append(case)
    if film in ("fog", "cast"):
        change = fogged if film == "fog" else lit(*np.exp(rng.uniform(-0.3, 0.3, 3)))
        made = [change(case, rng) for case in made]
    for i, (_, fit) in enumerate(fitted(made)):
        if i in drawn:
            centre, area_mm2, kind, shade, ground = drawn[i]
            seen = is_found(fit.marks.patches if fit else (), made[i], centre, area_mm2)
            names = [
                "all",
                f"kind {kind}",
                f"shade {kind} {shade}",
                f"shade {kind} {shade} on {ground}",
                f"size {area_mm2:5.0f}",
                f"size {area_mm2:5.0f} {kind}",
                f"film {film}",
                f"film {film} {kind}",
                f"ground {ground}",
            ]
            yield names, (seen is not None, seen == kind)


def run(what: str, every: int, rounds: int) -> None:
    """Print the table asked for."""
    cv2.setNumThreads(1)
    photos = [cases for series in SERIES for cases in cases_of(series)]
    if what == "clean":
        clean_table(photos[every // 2 :: every])
    else:
        grown = [cases for cases in photos if not cases[0].photo.endswith("d00")]
        found_table(grown[every // 2 :: every], rounds)


if __name__ == "__main__":
    if len(sys.argv) < 2 or sys.argv[1] not in ("clean", "found"):
        sys.exit(__doc__)
    run(sys.argv[1], *(int(sys.argv[i]) if len(sys.argv) > i else (1, 3)[i - 2] for i in (2, 3)))
