"""Suspect patches on real photographs: brown lesions on leaves against the votes of three experts.

    python tests/bench/dark_patches.py

63 close-ups of soybean leaves; a leaf fills its photo, so the whole photo is the face. It is told to be
FACE_MM long, as a bag's face is (the true scale isn't known), which makes most lesions 15 to 60 mm wide;
photos are reduced to SIDE_PX on the longer side, a finer grid than the face's. Paper is plain white.

It is another subject than colscan's: lesions with white crusts on green leaves with veins and hairs, no
day 0, no card, neither wood nor mycelium. So the figures tell how far the detection carries, not how well
it does on bags. Two answers are compared, without and with the one thing that a first photo would say:

- as it is: no baseline, so that the substrate is guessed from the reddest tenth of the face;
- substrate told: the leaf's own median colour as that of the substrate, still without a first photo.

Each is the union of all patches of every kind, against the pixels of two votes or more. Beside it stands
how well the experts agree with each other, by their pooled pairwise Dice, and how well "the photo's
reddest pixels, as many as the experts marked" does, which knows the answer's size.

What is seen: with the substrate told, marks lie on the lesions' red and brown parts; their white crusts,
shiny grains and pale rims, which the experts count in, are left out, so that the area is too small. Red
marks besides are few: shaded veins, and a yellow halo that the experts left out. As it is, the reddest
tenth holds the lesions themselves, and little more than their darkest middle is marked. That the plain
share of reddest pixels agrees so well says that colour alone tells lesions from leaf here.

Photos: COLSCAN_REAL, by default ../shared/real, folder dark-patches.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from colscan.locate.model import BagView
from colscan.photo import to_linear
from colscan.photo.model import ImageRGB, Mask
from colscan.score.measure import fit_bags
from colscan.score.prepare import Prepared, prepare_without
from colscan.score.substrate import guess_substrates

REAL = Path(os.environ.get("COLSCAN_REAL", Path(__file__).parents[2].parent / "shared" / "real"))
FOLDER = REAL / "dark-patches"
FACE_MM = 300.0
SIDE_PX = 640
_VOTE = 85


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """Pixels that both mark, that the method marks, that the experts mark; and all of the leaf."""

    both: int
    marked: int
    wanted: int
    leaf: int

    @property
    def dice(self) -> float:
        """Twice what both mark over the sum of what each marks."""
        return 2 * self.both / max(self.marked + self.wanted, 1)

    @property
    def area_error_pt(self) -> float:
        """Share marked less share wanted, points of the leaf's area."""
        return 100 * (self.marked - self.wanted) / self.leaf


def experts_dice(votes: NDArray[np.integer]) -> float:
    """The experts' pooled pairwise Dice, (n2 + 3 n3) / (n1 + 2 n2 + 3 n3) for n_k pixels of k votes.

    A pixel of two votes is shared by one of the three pairs, one of three votes by all three; each
    expert belongs to two pairs, so that twice the shared pixels stand over twice the votes.
    """
    one, two, three = (int((votes == k).sum()) for k in (1, 2, 3))
    return (two + 3 * three) / (one + 2 * two + 3 * three)


def read_leaf(name: str) -> tuple[ImageRGB, NDArray[np.uint8]]:
    """A leaf, reduced, and its votes, 0-3, on the same pixels."""
    with Image.open(FOLDER / "original_images" / f"{name}.jpeg") as image:
        rgb = np.asarray(image.convert("RGB"))
    with Image.open(FOLDER / "probabilistic_mask" / f"{name}.png") as image:
        votes = np.asarray(image.convert("L")) // _VOTE
    height, width = rgb.shape[:2]
    size = (round(width * SIDE_PX / max(height, width)), round(height * SIDE_PX / max(height, width)))
    return (
        np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8),
        np.asarray(cv2.resize(votes, size, interpolation=cv2.INTER_NEAREST), np.uint8),
    )


def leaf_view(rgb: ImageRGB) -> BagView:
    """A leaf as though it were a bag's face, nothing of it hidden, on white paper."""
    height, width = rgb.shape[:2]
    outline_px = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], float)
    return BagView(
        key=0,
        rgb=rgb,
        origin_px=(0, 0),
        face=np.ones((height, width), np.bool_),
        hidden=np.zeros((height, width), np.bool_),
        outline_px=outline_px,
        mm_per_px=FACE_MM / max(height, width),
        paper=np.ones(3),
        ink=np.zeros(3),
        blur_px=1.0,
    )


def as_it_is(view: BagView) -> Prepared:
    """The leaf with its substrate guessed."""
    return prepare_without(view, *guess_substrates([view], []))


def substrate_told(view: BagView) -> Prepared:
    """The leaf with its median colour as that of its substrate."""
    colour = np.median(to_linear(view.rgb).reshape(-1, 3), axis=0).astype(np.float64)
    return prepare_without(view, colour)


def patches_of(bag: Prepared) -> Mask:
    """All suspect patches of a leaf, on the pixels of its view."""
    (fit,) = fit_bags([bag])
    shape = bag.view.face.shape
    if fit is None:
        return np.zeros(shape, np.bool_)
    cells = fit.marks.mask.astype(np.uint8)
    return cv2.warpAffine(cells, bag.face.to_px, shape[::-1], flags=cv2.INTER_NEAREST) > 0


def reddest(rgb: ImageRGB, *, pixels: int) -> Mask:
    """The pixels of most red over green, as many as asked for: a yardstick that knows the answer's size."""
    light = cv2.GaussianBlur(to_linear(rgb), (0, 0), 2.0)
    redness = (light[..., 0] - light[..., 1]) / np.maximum(light.mean(2), 1e-4)
    return np.asarray(redness >= np.sort(redness, axis=None)[-max(pixels, 1)])


def overlap(mask: Mask, votes: NDArray[np.uint8]) -> Overlap:
    """A mask against two votes or more."""
    wanted = votes >= 2
    return Overlap(
        both=int((mask & wanted).sum()),
        marked=int(mask.sum()),
        wanted=int(wanted.sum()),
        leaf=mask.size,
    )


def compare(name: str) -> dict[str, Overlap]:
    """What each method marks on one leaf, against the experts."""
    rgb, votes = read_leaf(name)
    view = leaf_view(rgb)
    masks = {
        "as it is": patches_of(as_it_is(view)),
        "substrate told": patches_of(substrate_told(view)),
        "reddest, size known": reddest(rgb, pixels=int((votes >= 2).sum())),
    }
    return {method: overlap(mask, votes) for method, mask in masks.items()}


def quartiles(values: Iterable[float]) -> str:
    """Mean, and lower quartile, median and upper quartile, as text."""
    known = np.array(list(values))
    low, middle, high = np.quantile(known, [0.25, 0.5, 0.75])
    return f"mean {known.mean():6.3f}, quartiles {low:6.3f} {middle:6.3f} {high:6.3f}"


def print_method(method: str, overlaps: list[Overlap]) -> None:
    """Print a method's figures over all leaves."""
    total = Overlap(
        both=sum(o.both for o in overlaps),
        marked=sum(o.marked for o in overlaps),
        wanted=sum(o.wanted for o in overlaps),
        leaf=sum(o.leaf for o in overlaps),
    )
    print(f"{method}: Dice of all pixels together {total.dice:.3f}")
    print(f"  Dice a photo        {quartiles(o.dice for o in overlaps)}")
    print(f"  area error, points  {quartiles(o.area_error_pt for o in overlaps)}")
    print(f"  its size, points    {quartiles(abs(o.area_error_pt) for o in overlaps)}")
    print(
        f"  photos: nothing marked {sum(o.marked == 0 for o in overlaps)},"
        f" lesions touched {sum(o.both > 0 for o in overlaps)} of {len(overlaps)};"
        f" share marked {total.marked / total.leaf:.1%}, wanted {total.wanted / total.leaf:.1%}"
    )


def run() -> None:
    """Compare all leaves and print."""
    if not FOLDER.is_dir():
        sys.exit(f"{FOLDER} isn't there; set COLSCAN_REAL")
    names = sorted(path.stem for path in (FOLDER / "original_images").glob("*.jpeg"))
    votes = [read_leaf(name)[1] for name in names]
    pooled = experts_dice(np.concatenate([v.ravel() for v in votes]))
    print(f"{len(names)} leaves; experts among themselves: Dice of all pixels together {pooled:.3f}")
    print(f"  Dice a photo        {quartiles(experts_dice(v) for v in votes)}")
    compared = [compare(name) for name in names]
    for method in compared[0]:
        print_method(method, [each[method] for each in compared])


if __name__ == "__main__":
    run()
