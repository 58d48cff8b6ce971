"""Green and pale specks on a real photograph: a tray of pots with rosettes on brown, speckled soil.

    python tests/bench/tray.py OUT

Twenty pots in one photo: 19 with a rosette of 8 to 150 mm, one without. Each pot's soil is a face, told to
be POT_MM wide, as a bag's face is (a pot is really about a fifth of that), which makes the pale specks of
perlite and grit 3 to 15 mm: the size of pale shavings and grain.

Asked are

- green on brown: how much of the 19 rosettes lies in green patches, without any first photo; with that of
  the bare pot only; with the bare pot's as that of every pot; and with each pot's own (the same photo);
- pale specks of the first photo are not growth: the pots as they are make the baselines, and are measured
  in the same pixels photographed again: other exposure and cast (of pots and paper alike, as a card would
  say), noise, a shift. Nothing grew, so that coverage should be 0; where it isn't, which places are it;
- the same without first photos.

Paper is the white bench, as it is, and as bright as a card's is beside a bag's face (see CARD_IN_FRONT).

What is seen: with each pot's own first photo the leaves are outlined closely, rosettes of a few leaves
merging with the algae around them, and dark green films of algae are outlined too, two of them in the bare
pot, where the eye finds a faint green as well. Without a first photo the red lines lie on the shaded soil
beside the leaves and on their darker rims: the substrate is guessed from the reddest places, here orange
grit, white is taken to be hardly brighter than the soil, and leaves as well as specks, being brighter
than that, are set aside as reflections. The three smallest rosettes are then not marked at all. With the
bench as paper this happens to leaves that are new on known soil too; with paper as bright as a card's,
the bare pot's soil is enough for all others to have their leaves outlined, with some dark, brown and orange
marks on shadow and grit. Pale specks are hardly taken for mycelium: with the bench as paper nine of ten are
set aside as reflections. What is wrongly taken for it, with the bench as paper alone, is soil under noise.
Much else differs from a bag: no card, no film, and rosettes that are there on the first day.

Annotated pots are written to OUT. Photo: COLSCAN_REAL, by default ../shared/real, folder tray.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from colscan.locate.model import BagView
from colscan.photo import to_linear
from colscan.photo.model import ImageRGB, Mask
from colscan.score import make_baseline, measure_views, share_reference
from colscan.score.coverage import look_at
from colscan.score.cues import find_cues
from colscan.score.judged import OF_NETWORK
from colscan.score.measure import Fitted, fit_bags
from colscan.score.model import Baseline, Evidence
from colscan.score.network import judge
from colscan.score.prepare import Prepared, prepare

REAL = Path(os.environ.get("COLSCAN_REAL", Path(__file__).parents[2].parent / "shared" / "real"))
PHOTO = REAL / "tray" / "notebooks" / "arabidopsis_multi_plant_tutorial" / "img" / "arabidopsis_tray.jpg"
POT_MM = 300.0
# The soil of each pot, px, read off the photo by eye: top and bottom of a row, left and right of its
# pots. The first pot of the third row begins beside the label that is stuck into it.
ROWS = (
    ((24, 418), ((208, 592), (649, 1045), (1108, 1506), (1569, 1970), (2033, 2425))),
    ((555, 945), ((184, 578), (633, 1025), (1088, 1482), (1549, 1949), (2012, 2412))),
    ((1006, 1398), ((257, 578), (637, 1029), (1094, 1486), (1553, 1953), (2016, 2416))),
    ((1459, 1853), ((204, 578), (641, 1029), (1094, 1490), (1557, 1953), (2021, 2416))),
)
# The only pot in which nothing grows: fourth of the first row.
BARE_POT = 3
# White bench, left of the tray: left, top, right, bottom in px.
BENCH = (10, 200, 90, 1400)
# Scoring expects white on a face to be a quarter as bright as its card's paper, which hangs before the film
# at another angle; the bench lies as the soil does. So this paper is 0.8 (white mycelium) over a quarter.
CARD_IN_FRONT = 3.2
# Leaves by their greenness, and by their mean light of sRGB white: algae are darker. Set by looking.
LEAF_GREENNESS, LEAF_BRIGHTNESS = 0.35, 0.12
# Places that are green; scoring's own threshold for a third colour.
PLACE_GREENNESS = 0.10
# A pale speck is so many times as bright as its pot's middle.
PALE = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """How the same pots are photographed again.

    Parameters
    ----------
    exposure : float
        Factor of linear light.
    cast : tuple of float
        Factors of red, green, blue.
    noise : float
        Standard deviation of sRGB values, 0-255.
    shift_px : tuple of float
        To the right and down.
    """

    exposure: float = 1.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    noise: float = 0.0
    shift_px: tuple[float, float] = (0.0, 0.0)

    @property
    def light(self) -> NDArray[np.float64]:
        """Factor of each channel."""
        return self.exposure * np.array(self.cast)


AGAIN = {
    "the same pixels": Again(),
    "a stop darker": Again(exposure=0.5),
    "half a stop brighter": Again(exposure=2**0.5),
    "warm lamp": Again(cast=(1.0, 0.8, 0.5)),
    "cool lamp": Again(cast=(0.75, 0.95, 1.0)),
    "noise of 6": Again(noise=6.0),
    "shifted by 5, 4 mm": Again(shift_px=(6.7, -5.3)),
    "all of it": Again(exposure=0.6, cast=(1.0, 0.85, 0.65), noise=4.0, shift_px=(-6.7, 5.3)),
}


def read_photo() -> ImageRGB:
    """The tray's photo."""
    with Image.open(PHOTO) as image:
        return np.asarray(image.convert("RGB"))


def bench_white(rgb: ImageRGB) -> NDArray[np.float64]:
    """Linear light of the white bench: what stands for paper."""
    left, top, right, bottom = BENCH
    return np.median(to_linear(rgb[top:bottom, left:right]).reshape(-1, 3), axis=0).astype(np.float64)


def photograph_again(rgb: ImageRGB, again: Again) -> ImageRGB:
    """The same scene under another light, with noise, shifted; px beyond the photo repeat its edge."""
    light = np.clip(to_linear(rgb) * again.light, 0, 1)
    srgb = 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    move = np.array([[1, 0, again.shift_px[0]], [0, 1, again.shift_px[1]]], float)
    moved = cv2.warpAffine(srgb, move, rgb.shape[1::-1], borderMode=cv2.BORDER_REPLICATE)
    noise = np.random.default_rng(11).normal(0, again.noise, rgb.shape) if again.noise else 0.0
    return np.clip((moved + noise).round(), 0, 255).astype(np.uint8)


def pot_views(rgb: ImageRGB, *, paper: NDArray[np.float64]) -> tuple[BagView, ...]:
    """The pots as though they were bags' faces, row by row."""
    boxes = [(x0, y0, x1, y1) for (y0, y1), columns in ROWS for x0, x1 in columns]
    return tuple(_pot_view(rgb, box, tag=tag, paper=paper) for tag, box in enumerate(boxes))


def _pot_view(
    rgb: ImageRGB, box: tuple[int, int, int, int], *, tag: int, paper: NDArray[np.float64]
) -> BagView:
    x0, y0, x1, y1 = box
    crop = rgb[y0:y1, x0:x1]
    return BagView(
        key=tag,
        rgb=crop,
        origin_px=(x0, y0),
        face=np.ones(crop.shape[:2], np.bool_),
        hidden=np.zeros(crop.shape[:2], np.bool_),
        outline_px=np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float),
        mm_per_px=POT_MM / (y1 - y0),
        paper=paper,
        ink=np.zeros(3),
        blur_px=1.0,
    )


def baselines_of(views: Sequence[BagView]) -> dict[int, Baseline]:
    """Each pot's first look, by tag."""
    made = {view.key: make_baseline([view], photos=["first"], late=False) for view in views}
    return {tag: baseline for tag, baseline in made.items() if baseline is not None}


def coverage_pct(found: Sequence[Evidence]) -> NDArray[np.float64]:
    """Coverage of each pot in per cent, NaN where it was not measured."""
    return 100 * np.array([np.nan if each.coverage is None else each.coverage for each in found])


def low_pct(found: Sequence[Evidence]) -> NDArray[np.float64]:
    """Where each pot's interval begins, per cent, NaN where it was not measured."""
    return 100 * np.array([np.nan if each.low is None else each.low for each in found])


def greenness(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Green less the mean of red and blue, over brightness, of linear light (h, w, 3)."""
    brightness = np.maximum(light.mean(2), 1e-4)
    return np.asarray((light[..., 1] - (light[..., 0] + light[..., 2]) / 2) / brightness, np.float32)


def leaf_mask(view: BagView) -> Mask:
    """The rosette's leaves, (h, w) on the crop: bright and green, apart from algae and greenish grains."""
    light = cv2.GaussianBlur(to_linear(view.rgb), (0, 0), 1.5)
    leaf = (greenness(light) > LEAF_GREENNESS) & (light.mean(2) > LEAF_BRIGHTNESS)
    return cv2.morphologyEx(leaf.astype(np.uint8), cv2.MORPH_OPEN, np.ones((7, 7), np.uint8)) > 0


def flagged_share(view: BagView, found: Evidence) -> float:
    """Share of a pot's leaves that lies in green patches, 0-1; NaN without leaves."""
    leaf = leaf_mask(view)
    green = np.zeros(leaf.shape, np.uint8)
    for patch in found.patches:
        if patch.kind == "green":
            outline = (patch.outline_px - np.array(view.origin_px)).round().astype(np.int32)
            cv2.fillPoly(green, [outline], 1)
    return float(green[leaf].mean()) if leaf.any() else float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A kind of place over all pots, all 0-1.

    Parameters
    ----------
    share : float
        Of the pots' faces.
    chance : float
        Mean chance of being covered that scoring gives it, also where it is unseen.
    unseen : float
        How much of it is unseen.
    """

    share: float
    chance: float
    unseen: float


def judged_places(views: Sequence[BagView], baselines: Mapping[int, Baseline]) -> dict[str, Place]:
    """What each kind of place is taken for; shares times chances add up to the mean coverage of the pots."""
    bags = [prepare(view, baselines[view.key]) for view in share_reference(views)]
    kinds: dict[str, list[NDArray[np.float32]]] = {}
    for bag, fit in zip(bags, fit_bags(bags), strict=True):
        if fit is None:
            message = f"pot {bag.view.key} can't be measured"
            raise ValueError(message)
        chance, unseen = _chance_and_unseen(bag, fit)
        for name, mask in _kinds_of_place(bag).items():
            kinds.setdefault(name, []).append(np.stack([chance[mask], unseen[mask]]))
    figures = {name: np.concatenate(of_pots, axis=1) for name, of_pots in kinds.items()}
    whole = sum(both.shape[1] for both in figures.values())
    return {
        name: Place(share=both.shape[1] / whole, chance=float(both[0].mean()), unseen=float(both[1].mean()))
        for name, both in figures.items()
    }


def _chance_and_unseen(bag: Prepared, fit: Fitted) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """As in `judge_face`, whose evidence keeps no chances."""
    patches = fit.marks.mask
    seen = look_at(bag, fit.cells, fit.belief, patches=patches, glare=fit.marks.glare)
    chance = judge(find_cues(bag, fit.cells, fit.belief.best, look=seen, patches=patches)).chance
    both = np.where(seen.grown, OF_NETWORK * chance + (1 - OF_NETWORK) * seen.chance, chance)
    return np.where(patches, 0, both).astype(np.float32), (~seen.seen).astype(np.float32)


def _kinds_of_place(bag: Prepared) -> dict[str, Mask]:
    """Pale specks, green places and all other soil, by how they look in this photo."""
    light, shown = bag.face.light, bag.whole & (bag.face.seen | bag.face.burnt_out)
    brightness = light.mean(2)
    green = shown & (greenness(light) > PLACE_GREENNESS)
    pale = shown & ~green & (brightness > PALE * float(np.median(brightness[shown])))
    return {"pale specks": pale, "green places": green, "other soil": shown & ~green & ~pale}


def taken_again(
    rgb: ImageRGB, again: Again, *, pots: Sequence[int], paper_over_bench: float = 1.0
) -> tuple[list[BagView], dict[int, Baseline]]:
    """Some pots in the photo taken again, and their baselines from the photo as it is."""
    paper = bench_white(rgb) * paper_over_bench
    first = [view for view in pot_views(rgb, paper=paper) if view.key in pots]
    second = pot_views(photograph_again(rgb, again), paper=paper * again.light)
    return [view for view in second if view.key in pots], baselines_of(first)


def draw(rgb: ImageRGB, views: Sequence[BagView], found: Sequence[Evidence], folder: Path) -> None:
    """Write each pot with its patches outlined and named."""
    folder.mkdir(parents=True, exist_ok=True)
    canvas = cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR)
    for view, each in zip(views, found, strict=True):
        for patch in each.patches:
            cv2.polylines(canvas, [patch.outline_px.round().astype(np.int32)], True, (0, 0, 255), 2)
            x, y = (round(v) for v in patch.centre_px)
            label = f"{patch.kind} {patch.area_mm2:.0f}"
            cv2.putText(canvas, label, (x - 40, y), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (255, 255, 255), 1)
        (x0, y0), (height, width) = view.origin_px, view.rgb.shape[:2]
        cv2.imwrite(str(folder / f"pot-{view.key:02}.png"), canvas[y0 : y0 + height, x0 : x0 + width])


def print_green(case: str, views: Sequence[BagView], found: Sequence[Evidence]) -> None:
    """Print how much of the rosettes is flagged green, and what else is flagged."""
    pairs = list(zip(views, found, strict=True))
    shares = np.array([flagged_share(v, e) for v, e in pairs if v.key != BARE_POT])
    kinds = [patch.kind for each in found for patch in each.patches]
    bare = [round(p.area_mm2) for v, e in pairs if v.key == BARE_POT for p in e.patches]
    print(
        f"{case:22} {int((shares >= 0.5).sum()):2} of {len(shares)} rosettes green by half or more,"
        f" {int((shares > 0).sum()):2} touched, median share {np.median(shares):.2f};"
        f" patches: {', '.join(f'{kinds.count(k)} {k}' for k in sorted(set(kinds)))}; bare pot, mm2: {bare}"
    )


def print_coverage(case: str, found: Sequence[Evidence]) -> None:
    """Print one line on the coverage of pots."""
    pct, low = coverage_pct(found), low_pct(found)
    print(
        f"{case:22} mean {np.nanmean(pct):5.1f} %, largest {np.nanmax(pct):5.1f} %, over 2 % in"
        f" {int((pct > 2).sum()):2}, interval begins over 2 % in {int((low > 2).sum()):2};"
        f" unseen {100 * np.mean([each.unseen for each in found]):2.0f} %;"
        f" not measured {int(np.isnan(pct).sum())}"
    )


def print_places(places: Mapping[str, Place]) -> None:
    """Print which kind of place is taken for mycelium."""
    for name, place in places.items():
        print(
            f"    {name:13} {place.share:4.0%} of the pots; chance of covered {place.chance:5.1%},"
            f" adds {100 * place.share * place.chance:4.1f} points; unseen {place.unseen:4.0%}"
        )


def report_green(rgb: ImageRGB, out: Path, *, paper_over_bench: float) -> None:
    """Print green on brown, by what is known of the first day."""
    views = pot_views(rgb, paper=bench_white(rgb) * paper_over_bench)
    own = baselines_of(views)
    cases = {
        "no first photo": {},
        "the bare pot's only": {BARE_POT: own[BARE_POT]},
        "the bare pot's for all": {view.key: own[BARE_POT] for view in views},
        "each pot's own": own,
    }
    for case, known in cases.items():
        found = measure_views(views, known)
        print_green(case, views, found)
        draw(rgb, views, found, out / case.replace(" ", "-").replace("'", ""))


def report_growth(rgb: ImageRGB, *, paper_over_bench: float) -> None:
    """Print the coverage of pots in which nothing grew."""
    views = pot_views(rgb, paper=bench_white(rgb) * paper_over_bench)
    pots = range(len(views))
    for case, again in AGAIN.items():
        second, first = taken_again(rgb, again, pots=pots, paper_over_bench=paper_over_bench)
        print_coverage(case, measure_views(second, first))
        if case in ("the same pixels", "all of it"):
            print_places(judged_places(second, first))
    print_coverage("no first photo at all", measure_views(views, {}))
    known = {tag: first for tag, first in baselines_of(views).items() if tag != BARE_POT}
    one = measure_views(views, known)[BARE_POT]
    print_coverage("none of the bare pot", [one])
    print(f"    its flags: {', '.join(one.flags)}")


def run(out: Path) -> None:
    """Measure, print and draw."""
    if not PHOTO.is_file():
        sys.exit(f"{PHOTO} isn't there; set COLSCAN_REAL")
    rgb = read_photo()
    for paper, over in {"bench": 1.0, "card": CARD_IN_FRONT}.items():
        print(f"Paper as bright as the {paper}: green on brown")
        report_green(rgb, out / paper, paper_over_bench=over)
        print(f"Paper as bright as the {paper}: coverage of pots in which nothing grew")
        report_growth(rgb, paper_over_bench=over)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    run(Path(sys.argv[1]))
