"""Rendered shelf photos as another lamp, film, phone, messenger or substrate would show them."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from training_faces import BENCH, read_photo, views_of

from colscan.locate.model import BagView
from colscan.photo import colour_error
from colscan.photo.light import to_linear
from colscan.score import make_baseline, share_reference
from colscan.score.measure import Fitted, fit_bags
from colscan.score.model import Baseline
from colscan.score.prepare import Prepared, prepare

SERIES = ("oakrack", "mixed", "bigrack", "outbreak", "nocard", "pen")


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
            baselines = {v.key: make_baseline([v], photos=[folder.name], late=False) for v in views}
        about = {bag["tag"]: bag for bag in truth["bags"]}
        yield [
            _case(folder.name, view, truth_map, baseline, about[view.key])
            for view in views
            if (baseline := baselines.get(view.key)) is not None
        ]


def _case(photo: str, view: BagView, truth_map: np.ndarray, baseline: Baseline, about: dict) -> Case:
    (h, w), (x, y) = view.face.shape, view.origin_px
    crop = truth_map[y : y + h, x : x + w]
    own = crop[..., 0] == view.key
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
    paper = view.paper if paper is None else paper
    return replace(view, rgb=rgb, paper=paper, colour_error=_error_at(quality))


@cache
def _error_at(quality: int) -> float:
    """How far a JPEG of this quality puts colours off, as the tool reads it from a file."""
    ok, data = cv2.imencode(".jpg", np.zeros((256, 256, 3), np.uint8), [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert ok
    return colour_error(Path("sheet.jpg"), max_megapixels=1, raw=data.tobytes())


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
