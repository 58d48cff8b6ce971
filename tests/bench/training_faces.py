"""The rendered shelf photos → faces with exact truth per cell, and painted ones made from them.

    python tests/bench/training_faces.py real CACHE            # each rendered face as the tool sees it
    python tests/bench/training_faces.py painted CACHE N SEED  # real first faces with painted growth
    python tests/bench/training_faces.py relit CACHE N SEED    # real faces under another lamp and film
    python tests/bench/training_faces.py still CACHE N SEED    # painted under nearly the first lamp
    python tests/bench/training_faces.py flat CACHE N SEED     # painted, colonies even and with hard edges
    python tests/bench/training_faces.py filmed CACHE N SEED   # painted through a rendered bag's own film

The folder of the rendered photos comes from COLSCAN_BENCH (default ../shared/bench).
"""

from __future__ import annotations

import json
import os
import pickle
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from painted import (
    Growth,
    Lamp,
    draw_growth,
    draw_lamp,
    draw_still_lamp,
    flatten,
    paint,
    recolour,
    relight,
    warp_growth,
)
from transplanted import Film, film_of, fog_first, lay_film

from colscan.locate import MappedShelf, locate_bags, map_shelf
from colscan.locate.model import BagView
from colscan.score import make_baseline, share_reference
from colscan.score.coverage import look_at, unmix
from colscan.score.cues import Cues, find_cues
from colscan.score.face import near_mm, smooth
from colscan.score.measure import Fitted, fit_bags
from colscan.score.model import Baseline
from colscan.score.prepare import Prepared, prepare

SERIES = ("oakrack", "mixed", "outbreak", "bigrack", "nocard", "pen")
# These have no cards on their bags.
WITHOUT_CARDS = ("nocard", "pen")
_AROUND_PATCHES_MM = 4.0
BENCH = Path(os.environ.get("COLSCAN_BENCH", Path(__file__).parents[3] / "shared" / "bench"))


@dataclass(frozen=True, kw_only=True)
class Sample:
    """A face to learn from, or to be judged by.

    Parameters
    ----------
    shown : ndarray of bool, shape (h, w)
        The face outside card and wires; reflections included.
    growth : Growth
        Truth on the face's grid.
    known, foreign : ndarray of bool, shape (h, w)
        Where truth is known, and where it is a patch of something else.
    series : tuple of str
        All the series it is made from.
    unmixed : tuple of float
        Coverage, low, high, density by unmixing alone.
    """

    cues: Cues
    patches: np.ndarray
    shown: np.ndarray
    growth: Growth
    known: np.ndarray
    foreign: np.ndarray
    series: tuple[str, ...]
    photo: str
    bag: str
    strain: str
    day: int
    light: str
    coverage: float
    density: float
    unmixed: tuple[float, float, float, float]


def look(bag: Prepared, fit: Fitted) -> dict:
    """What the tool sees of a face: all of a sample but its truth."""
    patches = fit.marks.mask
    seen = look_at(bag, fit.cells, fit.belief, patches=patches, glare=fit.marks.glare)
    plain = unmix(bag, fit.cells, fit.belief, look=seen)
    return {
        "cues": find_cues(bag, fit.cells, fit.belief.best, look=seen, patches=patches),
        "patches": patches,
        "shown": bag.whole & (bag.face.seen | bag.face.burnt_out),
        "unmixed": (plain.coverage, plain.low, plain.high, plain.density),
    }


def read_photo(name: str) -> tuple[dict, np.ndarray, np.ndarray]:
    """Truth, truth map (bag, class, opacity) and the photo."""
    folder = BENCH / "dev" / name
    image = cv2.imread(str(folder / f"{name}.jpg"), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    truth_map = cv2.imread(str(folder / "truth.png"), cv2.IMREAD_UNCHANGED)[..., ::-1]
    return json.loads((folder / "truth.json").read_text()), truth_map, np.ascontiguousarray(image[..., ::-1])


def views_of(name: str) -> list[BagView]:
    """The photo's bags as located; where they have no cards, by a map of the first photo's true faces."""
    truth, _, image = read_photo(name)
    tags = {bag["tag"] for bag in truth["bags"]}
    shelves = (_true_map(truth["series"]),) if truth["series"] in WITHOUT_CARDS else ()
    return [view for view in locate_bags(image, shelves).views if view.key in tags]


@cache
def _true_map(series: str) -> MappedShelf:
    truth, truth_map, image = read_photo(
        sorted(path.name for path in (BENCH / "dev").glob(f"{series}-d*"))[0]
    )
    return map_shelf(image, [(bag["tag"], _outline(truth_map, bag["tag"])) for bag in truth["bags"]], [])


def _outline(truth_map: np.ndarray, tag: int) -> np.ndarray:
    face = (truth_map[..., 0] == tag).astype(np.uint8)
    contours, _ = cv2.findContours(face, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    return cv2.approxPolyDP(max(contours, key=cv2.contourArea), 2, True)[:, 0].astype(float)


def truth_on_grid(
    truth_map: np.ndarray, view: BagView, bag: Prepared
) -> tuple[Growth, np.ndarray, np.ndarray]:
    """Growth on the bag's grid, where it is known, and where patches of something else are."""
    h, w = view.face.shape
    x, y = view.origin_px
    crop = truth_map[y : y + h, x : x + w]
    own = crop[..., 0] == view.key
    layers = (
        own & (crop[..., 1] == 170),
        np.where(own & (crop[..., 1] < 200), crop[..., 2], 0) / 255,
        own & (crop[..., 1] > 0),
        own & (crop[..., 1] > 200),
    )
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    shape = bag.seen.shape[::-1]
    covered, opacity, known, foreign = (
        cv2.warpAffine(layer.astype(np.float32), bag.face.to_px, shape, flags=flags) for layer in layers
    )
    return Growth(covered=covered, opacity=opacity), known > 0.6, foreign > 0.1


def real_faces(series: str) -> list[tuple[Prepared, Sample]]:
    """Every face of a series, laid onto its first photo."""
    faces = []
    baselines: dict[int, Baseline | None] = {}
    for folder in sorted((BENCH / "dev").glob(f"{series}-d*")):
        truth, truth_map, _ = read_photo(folder.name)
        views = share_reference(views_of(folder.name))
        if truth["day"] == 0:
            baselines = {v.key: make_baseline([v], photos=[folder.name], late=False) for v in views}
        about = {bag["tag"]: bag for bag in truth["bags"]}
        known = [(view, b) for view in views if (b := baselines.get(view.key)) is not None]
        bags = [prepare(view, baseline) for view, baseline in known]
        for (view, _), bag, fit in zip(known, bags, fit_bags(bags), strict=True):
            if fit is not None:
                faces.append((_without_pixels(bag), _real_sample(view, bag, fit, truth, truth_map, about)))
    return faces


def _real_sample(
    view: BagView, bag: Prepared, fit: Fitted, truth: dict, truth_map: np.ndarray, about: dict
) -> Sample:
    growth, known, foreign = truth_on_grid(truth_map, view, bag)
    own = about[view.key]
    return Sample(
        **look(bag, fit),
        growth=growth,
        known=known,
        foreign=foreign,
        series=(truth["series"],),
        photo=truth["photo"],
        bag=own["bag"],
        strain=own["strain"],
        day=truth["day"],
        light=truth["light"],
        coverage=own["coverage_pct"] / 100,
        density=own["opacity_pct"] / 100,
    )


def _without_pixels(bag: Prepared) -> Prepared:
    """The bag without its crop of the photo, which nothing needs any more."""
    one = np.s_[:1, :1]
    view = bag.view
    return replace(bag, view=replace(view, rgb=view.rgb[one], face=view.face[one], hidden=view.hidden[one]))


def made_faces(
    real: dict[str, list[tuple[Prepared, Sample]]], how: str, *, count: int, seed: int
) -> list[Sample]:
    """Painted, flat, still, filmed or relit faces, photo by photo: the bags of a photo share its lamp."""
    rng = np.random.default_rng(seed)
    growths = {s: _growths([sample for _, sample in real[s]]) for s in SERIES}
    films = _films(real) if how == "filmed" else {}
    samples: list[Sample] = []
    photo = 0
    while len(samples) < count:
        series = SERIES[photo % 6] if photo % 7 else SERIES[int(rng.integers(6))]
        grown_in, film_from = (SERIES[int(rng.integers(6))] for _ in range(2))
        photo += 1
        sources = (series,) if how == "relit" else (series, grown_in)
        bare = 0.5 if rng.random() < 0.2 else 0.1
        if how == "relit":
            made = _relit(real[series], draw_lamp(rng), rng)
        elif how == "filmed":
            sources = (*sources, film_from)
            of_photo = list(films[film_from].values())
            chosen = of_photo[int(rng.integers(len(of_photo)))]
            made = _filmed(real[series], growths[grown_in], chosen, rng, bare=bare)
        else:
            lamp = draw_still_lamp(rng) if how == "still" else draw_lamp(rng)
            flat = {"flat": 1.0, "still": 0.5}.get(how, 0.0)
            made = _painted(real[series], growths[grown_in], lamp, rng, bare=bare, flat=flat)
        fits = fit_bags([bag for bag, _, _ in made])
        for (bag, growth, known), fit in zip(made, fits, strict=True):
            if fit is not None:
                samples.append(_made_sample(bag, fit, growth, known, sources, f"{how}-{seed}-{photo}"))
    return samples


def _made_sample(
    bag: Prepared, fit: Fitted, growth: Growth, known: np.ndarray, sources: tuple[str, ...], photo: str
) -> Sample:
    return Sample(
        **look(bag, fit),
        growth=growth,
        known=known,
        foreign=np.zeros_like(known),
        series=sources,
        photo=photo,
        bag=str(bag.view.key),
        strain="",
        day=-1,
        light="",
        coverage=float(growth.covered[known].mean()),
        density=float(growth.opacity[known].mean()),
    )


def _growths(samples: list[Sample]) -> dict[str, list[Growth]]:
    """What grew on a series' bags, by strain, with hidden places filled from around them."""
    growths: dict[str, list[Growth]] = {}
    for sample in samples:
        if sample.coverage > 0:
            filled = (_fill(x, sample.known) for x in (sample.growth.covered, sample.growth.opacity))
            covered, opacity = filled
            growths.setdefault(sample.strain, []).append(Growth(covered=covered, opacity=opacity))
    return growths


def _fill(layer: np.ndarray, known: np.ndarray) -> np.ndarray:
    layer = np.where(known, layer, 0).astype(np.float32)
    near, far = smooth(layer, known, 6.0), smooth(layer, known, 30.0)
    reach = cv2.GaussianBlur(known.astype(np.float32), (0, 0), 4) > 0.02
    return np.where(known, layer, np.where(reach, near, far)).astype(np.float32)


def _relit(faces: list, lamp: Lamp, rng: np.random.Generator) -> list[tuple[Prepared, Growth, np.ndarray]]:
    photos = sorted({sample.photo for _, sample in faces if sample.day > 0})
    photo = photos[int(rng.integers(len(photos)))]
    chosen = [face for face in faces if face[1].photo == photo]
    order = rng.choice(len(chosen), min(6, len(chosen)), replace=False)
    return [
        (relight(bag, lamp, rng), sample.growth, sample.known) for bag, sample in (chosen[i] for i in order)
    ]


def _painted(
    faces: list,
    growths: dict[str, list[Growth]],
    lamp: Lamp,
    rng: np.random.Generator,
    *,
    bare: float,
    flat: float,
) -> list[tuple[Prepared, Growth, np.ndarray]]:
    made = []
    for first, grown in _bags_with_growth(faces, growths, rng, bare=bare):
        growth = flatten(grown, rng) if flat and rng.random() < flat else grown
        bag, growth = paint(first, growth, lamp, rng)
        made.append((bag, growth, bag.whole))
    return made


def _films(real: dict[str, list[tuple[Prepared, Sample]]]) -> dict[str, dict[str, list[Film]]]:
    """Light and film of each rendered face after its first day, by series and photo."""
    films: dict[str, dict[str, list[Film]]] = {series: {} for series in SERIES}
    for series in SERIES:
        for bag, sample in real[series]:
            if sample.day > 0:
                film = film_of(
                    bag, sample.growth, sample.known & ~near_mm(sample.foreign, _AROUND_PATCHES_MM)
                )
                films[series].setdefault(sample.photo, []).append(film)
    return films


def _filmed(
    faces: list, growths: dict[str, list[Growth]], films: list[Film], rng: np.random.Generator, *, bare: float
) -> list[tuple[Prepared, Growth, np.ndarray]]:
    made = []
    for first, growth in _bags_with_growth(faces, growths, rng, bare=bare):
        film, before = (films[int(rng.integers(len(films)))] for _ in range(2))
        bag, growth = lay_film(first, growth, film, rng)
        made.append((fog_first(bag, before, rng) if rng.random() < 0.2 else bag, growth, bag.whole))
    return made


def _bags_with_growth(
    faces: list, growths: dict[str, list[Growth]], rng: np.random.Generator, *, bare: float
) -> Iterator[tuple[Prepared, Growth]]:
    """Some first faces, two in five with another substrate, each with a growth of any strain."""
    first = [bag for bag, sample in faces if sample.day == 0]
    count = min(int(rng.integers(3, 7)), len(first))
    for i in rng.choice(len(first), count, replace=False):
        own = growths[list(growths)[int(rng.integers(len(growths)))]]
        growth = warp_growth(own[int(rng.integers(len(own)))], first[i].seen.shape, rng)
        if rng.random() < 0.4:
            growth = draw_growth(first[i].seen.shape, rng)
        if rng.random() < bare:
            growth = Growth(covered=growth.covered * 0, opacity=growth.opacity * 0)
        yield (recolour(first[i], rng) if rng.random() < 0.4 else first[i]), growth


def main(arguments: list[str]) -> None:
    """Fill a cache folder (pickles that nobody but these scripts reads)."""
    cv2.setNumThreads(1)
    how, cache = arguments[0], Path(arguments[1])
    cache.mkdir(parents=True, exist_ok=True)
    if how == "real":
        for series in SERIES:
            (cache / f"real-{series}.pkl").write_bytes(pickle.dumps(real_faces(series)))
        return
    count, seed = int(arguments[2]), int(arguments[3])
    real = {s: pickle.loads((cache / f"real-{s}.pkl").read_bytes()) for s in SERIES}
    (cache / f"{how}-{seed}.pkl").write_bytes(pickle.dumps(made_faces(real, how, count=count, seed=seed)))


if __name__ == "__main__":
    main(sys.argv[1:])
