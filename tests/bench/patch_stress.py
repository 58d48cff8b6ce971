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
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from training_faces import BENCH, read_photo, views_of

from colscan.locate.model import BagView
from colscan.photo.light import to_linear
from colscan.score import make_baseline, share_reference
from colscan.score.face import smooth
from colscan.score.measure import Fitted, fit_bags
from colscan.score.model import Baseline, PatchSeen
from colscan.score.prepare import Prepared, prepare

SERIES = ("oakrack", "mixed", "bigrack", "outbreak", "nocard", "pen")
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


@dataclass(frozen=True, kw_only=True)
class Case:
    """One bag of a photo: its view, truth map on the same pixels, baseline, and whether it has a patch."""

    photo: str
    view: BagView
    classes: np.ndarray
    opacity: np.ndarray
    baseline: Baseline
    coverage: float
    clean: bool


def cases_of(series: str) -> Iterator[list[Case]]:
    """Photo by photo, the bags with their baselines."""
    baselines: dict[int, Baseline | None] = {}
    for folder in sorted((BENCH / "dev").glob(f"{series}-d*")):
        truth, truth_map, _ = read_photo(folder.name)
        views = share_reference(views_of(folder.name))
        if truth["day"] == 0:
            baselines = {v.tag: make_baseline([v], photos=[folder.name], late=False) for v in views}
        about = {bag["tag"]: bag for bag in truth["bags"]}
        yield [
            _case(folder.name, view, truth_map, baseline, about[view.tag])
            for view in views
            if (baseline := baselines.get(view.tag)) is not None
        ]


def _case(photo: str, view: BagView, truth_map: np.ndarray, baseline: Baseline, about: dict) -> Case:
    (h, w), (x, y) = view.face.shape, view.origin_px
    crop = truth_map[y : y + h, x : x + w]
    own = crop[..., 0] == view.tag
    return Case(
        photo=photo,
        view=view,
        classes=np.where(own, crop[..., 1], 0),
        opacity=np.where(own & (crop[..., 1] < 200), crop[..., 2], 0).astype(np.float32) / 255,
        baseline=baseline,
        coverage=about["coverage_pct"] / 100,
        clean=not about["suspects"],
    )


# -- changes of a photo ----------------------------------------------------------------------------------


def encoded(light: np.ndarray) -> np.ndarray:
    """Linear light as 8-bit sRGB."""
    light = np.clip(light, 0, 1)
    curve = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    return np.round(255 * curve).astype(np.uint8)


def with_light(
    view: BagView, light: np.ndarray, *, quality: int = 92, paper: np.ndarray | None = None
) -> BagView:
    """The view showing other light, encoded as JPEG."""
    bgr = np.ascontiguousarray(encoded(light)[..., ::-1])
    ok, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert ok
    rgb = np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])
    return replace(view, rgb=rgb, paper=view.paper if paper is None else paper)


Change = Callable[[Case, np.random.Generator], Case]


def lit(*gain: float) -> Change:
    """All light times a gain, card too."""

    def change(case: Case, rng: np.random.Generator) -> Case:
        light = to_linear(case.view.rgb) * np.array(gain)
        return replace(case, view=with_light(case.view, light, paper=case.view.paper * np.array(gain)))

    return change


def unnoticed(*gain: float) -> Change:
    """A tint of the face that the card doesn't show: mixed lamps."""

    def change(case: Case, rng: np.random.Generator) -> Case:
        return replace(case, view=with_light(case.view, to_linear(case.view.rgb) * np.array(gain)))

    return change


def coarse(quality: int) -> Change:
    """A JPEG of this quality."""

    def change(case: Case, rng: np.random.Generator) -> Case:
        return replace(case, view=with_light(case.view, to_linear(case.view.rgb), quality=quality))

    return change


def noisy(sd: float) -> Change:
    """Sensor noise: shot noise of this relative deviation at mid grey, then JPEG."""

    def change(case: Case, rng: np.random.Generator) -> Case:
        light = to_linear(case.view.rgb)
        return replace(
            case, view=with_light(case.view, light + rng.normal(0, sd, light.shape) * np.sqrt(light * 0.2))
        )

    return change


def smaller(factor: float) -> Change:
    """Sent by a messenger: reduced, quality 80."""

    def change(case: Case, rng: np.random.Generator) -> Case:
        view = with_light(case.view, to_linear(case.view.rgb))
        h, w = view.face.shape
        size = (round(w * factor), round(h * factor))
        face, hidden = (
            cv2.resize(m.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
            for m in (view.face, view.hidden)
        )
        rgb = cv2.resize(view.rgb, size, interpolation=cv2.INTER_AREA)
        view = replace(view, rgb=rgb, face=face, hidden=hidden, mm_per_px=view.mm_per_px / factor)
        return replace(case, view=with_light(view, to_linear(rgb), quality=80))

    return change


def toned(power: float, contrast: float) -> Change:
    """A phone's tone curve on the encoded values: a power, and an S round the middle."""

    def curve(values: np.ndarray) -> np.ndarray:
        bent = np.clip(values, 0, 1) ** power
        return bent + contrast * np.sin(2 * np.pi * (bent - 0.5)) / (2 * np.pi) * (bent > 0)

    def change(case: Case, rng: np.random.Generator) -> Case:
        table = np.clip(np.round(255 * curve(np.arange(256) / 255)), 0, 255).astype(np.uint8)
        paper = to_linear(table[encoded(case.view.paper[None, None])])[0, 0].astype(float)
        return replace(case, view=with_light(case.view, to_linear(table[case.view.rgb]), paper=paper))

    return change


def shadowed(how: str) -> Change:
    """A shadow that takes half of the light: from a side, a corner, in a strip (edges of 6 mm), or soft."""

    def change(case: Case, rng: np.random.Generator) -> Case:
        x, y = face_mm(case.view)
        w, h = np.ptp(x[case.view.face]) / 2, np.ptp(y[case.view.face]) / 2
        depth = {
            "side": x - 0.4 * w,
            "corner": x / w * 60 + y / h * 60 - 60,
            "strip": 14 - np.abs(x + 0.5 * y - 20),
            "soft": 25 - np.hypot(x - 10, y - 15) / 1.5,
        }[how]
        share = 1 / (1 + np.exp(-depth / (1.5 if how != "soft" else 8)))
        # Skylight fills a lamp's shadow: a little bluer.
        light = to_linear(case.view.rgb) * (1 - share[..., None] * np.array([0.52, 0.50, 0.46]))
        return replace(case, view=with_light(case.view, light))

    return change


def written(ink: tuple[float, float, float]) -> Change:
    """Felt pen on the film that locating didn't find: letters of 30 mm, strokes of 3 mm."""

    def change(case: Case, rng: np.random.Generator) -> Case:
        mm = case.view.mm_per_px
        mask = np.zeros(case.view.face.shape, np.uint8)
        x, y, w, _ = cv2.boundingRect(case.view.face.astype(np.uint8))
        at = (x + w // 6, y + int(case.view.face.shape[0] * 0.65))
        cv2.putText(
            mask, "B08 8%", at, cv2.FONT_HERSHEY_SIMPLEX, 1.4 / mm, 255, max(1, round(3 / mm)), cv2.LINE_AA
        )
        share = cv2.GaussianBlur(mask, (0, 0), 0.7)[..., None] / 255
        light = to_linear(case.view.rgb) * (1 - share * (1 - np.array(ink)))
        return replace(case, view=with_light(case.view, light))

    return change


def wet(case: Case, rng: np.random.Generator) -> Case:
    """The bottom corner is bare and wet: darker by 0.6, and redder."""
    x, y = face_mm(case.view)
    corner = np.hypot(x - x[case.view.face].max() + 35, y - y[case.view.face].max() + 40) < 22
    shown = case.view.face & ~case.view.hidden
    share = cv2.GaussianBlur((corner & shown).astype(np.float32), (0, 0), 1.5 / case.view.mm_per_px)[
        ..., None
    ]
    bag, fit = fitted([case])[0]
    bare = bare_light(case, bag, fit)
    light = to_linear(case.view.rgb)
    light = light * (1 - share) + share * bare * np.array([0.62, 0.57, 0.52])
    return replace(case, view=with_light(case.view, light))


def other_substrate(*gain: float) -> Change:
    """Another substrate: what bare places send times a gain, on the first photo too; film stays neutral."""

    def change(case: Case, rng: np.random.Generator) -> Case:
        more = np.array(gain) - 1
        a = cv2.GaussianBlur(case.opacity, (0, 0), 1)[..., None]
        bag, fit = fitted([case])[0]
        light = to_linear(case.view.rgb)
        light = np.maximum(light + (1 - a) * more * np.minimum(bare_light(case, bag, fit), light), 0.0)
        first = case.baseline
        face, colour = (np.asarray(x * np.array(gain), x.dtype) for x in (first.face, first.colour))
        return replace(
            case, view=with_light(case.view, light), baseline=replace(first, face=face, colour=colour)
        )

    return change


def fogged(case: Case, rng: np.random.Generator) -> Case:
    """Fog on the film: a veil of up to a third of white, uneven at 30 mm."""
    light = to_linear(case.view.rgb)
    white = np.quantile(light[case.view.face].mean(1), 0.9)
    field = cv2.GaussianBlur(rng.normal(0, 1, light.shape[:2]), (0, 0), 30 / case.view.mm_per_px)
    field = 0.3 * white * np.clip(0.5 + 0.5 * field / max(field.std(), 1e-6), 0, 1)[..., None]
    colour = case.view.paper / case.view.paper.mean()
    return replace(case, view=with_light(case.view, light * 0.85 + field * colour))


SHOTS: dict[str, Change] = {
    "as it is": lambda case, rng: case,
    "again as JPEG 92": coarse(92),
    "JPEG 85": coarse(85),
    "JPEG 70": coarse(70),
    "JPEG 50": coarse(50),
    "reduced to 0.7": smaller(0.7),
    "reduced to 0.5": smaller(0.5),
    "noise": noisy(0.03),
    "much noise": noisy(0.08),
    "tungsten": lit(1.3, 1.0, 0.6),
    "blue sky": lit(0.8, 1.0, 1.25),
    "green tube": lit(0.9, 1.15, 0.85),
    "one stop darker": lit(0.5, 0.5, 0.5),
    "two stops darker": lit(0.25, 0.25, 0.25),
    "one stop brighter": lit(2.0, 2.0, 2.0),
    "green tint, face only": unnoticed(0.95, 1.06, 0.93),
    "warm tint, face only": unnoticed(1.15, 1.0, 0.8),
    "blue tint, face only": unnoticed(0.88, 1.0, 1.12),
    "dark tone curve": toned(1.25, 0.0),
    "bright tone curve": toned(0.8, 0.0),
    "contrast": toned(1.0, -0.35),
    "shadow from a side": shadowed("side"),
    "shadow of a corner": shadowed("corner"),
    "shadow of a bar": shadowed("strip"),
    "soft shadow": shadowed("soft"),
    "black pen": written((0.1, 0.1, 0.1)),
    "blue pen": written((0.1, 0.15, 0.4)),
    "red pen": written((0.6, 0.1, 0.1)),
    "green pen": written((0.1, 0.45, 0.15)),
    "wet corner": wet,
    "fog": fogged,
    "grey substrate": other_substrate(0.85, 1.0, 1.2),
    "greenish substrate": other_substrate(0.82, 1.06, 0.92),
    "dark substrate": other_substrate(0.45, 0.42, 0.4),
    "reddish substrate": other_substrate(1.25, 0.95, 0.8),
}


# -- what stands on a face -------------------------------------------------------------------------------


def face_mm(view: BagView) -> tuple[np.ndarray, np.ndarray]:
    """x, y of each pixel from the middle of the face's box, mm."""
    x, y, w, h = cv2.boundingRect(view.face.astype(np.uint8))
    rows, columns = np.mgrid[: view.face.shape[0], : view.face.shape[1]]
    return (columns - x - w / 2) * view.mm_per_px, (rows - y - h / 2) * view.mm_per_px


def fitted(cases: list[Case]) -> list[tuple[Prepared, Fitted | None]]:
    """The bags of one photo as the tool sees them."""
    views = share_reference([case.view for case in cases])
    bags = [prepare(view, case.baseline) for view, case in zip(views, cases, strict=True)]
    return list(zip(bags, fit_bags(bags), strict=True))


def bare_light(case: Case, bag: Prepared, fit: Fitted | None) -> np.ndarray:
    """What bare substrate sends today at each pixel, by the fitted light."""
    gain, veil = (fit.belief.best.gain, fit.belief.best.veil) if fit else (1.0, 0.0)
    cells = (bag.light0 * gain + veil * bag.shading[..., None]).astype(np.float32)
    px = cv2.warpAffine(cells, bag.face.to_px, case.view.face.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
    return px * case.view.paper


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
                where += [f"{case.photo}:{case.view.tag}" for _ in fit.marks.patches[:1]]
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
