"""A rough outline → a view whose face is the block, and whose hidden places are hidden."""

from __future__ import annotations

import csv
import json

import cv2
import numpy as np
import pytest
from locate.scene import draw_scene
from locate.test_propose import BENCH, DEMO, ROOT, overlap, read, without_cards

from colscan.flags import Flag
from colscan.locate import find_cards
from colscan.locate.cards import filled
from colscan.locate.model import BagView
from colscan.locate.propose import propose_faces
from colscan.locate.standin import stand_in_references
from colscan.locate.uncarded import view_without_card

NO_CARDS = [
    f"{series}-d{day:02}"
    for series, days in (("nocard", (0, 4, 8, 12)), ("pen", (0, 5, 9, 13)))
    for day in days
]
ROUGH_MM = 6.0


def rough(box: np.ndarray, mm_per_px: float, rng: np.random.Generator) -> np.ndarray:
    """A box about a centimetre off its place, 4 % off its size."""
    x0, y0, x1, y1 = box
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)
    shifted = (corners - corners.mean(0)) * np.exp(rng.normal(0, 0.04)) + corners.mean(0)
    return shifted + rng.normal(0, ROUGH_MM / mm_per_px, 2)


def views(rgb: np.ndarray, boxes: np.ndarray, mm_per_px: float) -> list[BagView]:
    """Views of bags from rough outlines, by their own filter patches."""
    rng = np.random.default_rng(0)
    outlines = [rough(box, mm_per_px, rng) for box in boxes]
    references = stand_in_references(rgb, outlines, mm_per_px=mm_per_px)
    return [
        view_without_card(rgb, outline, key=1000 + k, mm_per_px=mm_per_px, reference=reference, others_px=[])
        for k, (outline, reference) in enumerate(zip(outlines, references, strict=True))
    ]


def test_faces_of_the_demo() -> None:
    """Rough outlines on a demo photo without its cards are refined to the blocks."""
    name = "hornbeam-d03.jpg"
    with (ROOT / "tests" / "fixtures" / "hornbeam-truth.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if row["photo"] == name]
    boxes = np.array([row["box"].split() for row in rows], float)
    found = views(without_cards(read(DEMO / name)), boxes, 0.88)
    assert min(overlap(view.outline_px, box) for view, box in zip(found, boxes, strict=True)) > 0.9
    assert [view.key for view in found] == [1000 + k for k in range(len(boxes))]
    for view in found:
        assert Flag.NO_REFERENCE in view.flags
        assert np.isfinite(view.paper).all()
        assert not (view.hidden & ~view.face).any()


@pytest.mark.skipif(not BENCH.exists(), reason=f"no rendered photos in {BENCH}")
def test_faces_without_cards() -> None:
    """On shelves without cards proposals are refined to the true faces: median .95, worst .90."""
    agreement = []
    for name in NO_CARDS:
        truth = json.loads((BENCH / name / "truth.json").read_text())
        number = cv2.imread(str(BENCH / name / "truth.png"), cv2.IMREAD_UNCHANGED)[..., 2]
        rgb = read(BENCH / name / truth["photo"])
        proposals = propose_faces(rgb)
        assert len(proposals) == len(truth["bags"])
        # One tier, numbered from left to right.
        outlines = [proposal.outline_px for proposal in proposals]
        references = stand_in_references(rgb, outlines, mm_per_px=proposals[0].mm_per_px)
        for bag, proposal, reference in zip(truth["bags"], proposals, references, strict=True):
            view = view_without_card(
                rgb,
                proposal.outline_px,
                key=1000 + bag["tag"],
                mm_per_px=proposal.mm_per_px,
                reference=reference,
                others_px=[other.outline_px for other in proposals if other is not proposal],
            )
            block, got = number == bag["tag"], filled(view.outline_px, number.shape)
            agreement.append((block & got).sum() / (block | got).sum())
    assert np.median(agreement) >= 0.95
    assert min(agreement) >= 0.9


@pytest.mark.skipif(not BENCH.exists(), reason=f"no rendered photos in {BENCH}")
def test_shelf_card_is_the_reference() -> None:
    """Where the shelf has cards the nearest one's paper serves, and nothing is flagged."""
    rgb = read(BENCH / "pen-d00" / "pen-d00.jpg")
    cards = find_cards(rgb)
    assert [card.tag for card in cards] == [580, 581]
    outlines = [np.array([(237, 562), (498, 804)], float), np.array([(1135, 555), (1392, 809)], float)]
    left, right = stand_in_references(rgb, outlines, mm_per_px=0.79, shelf_cards=cards)
    assert left.flags == right.flags == ()
    assert (left.paper != right.paper).any()


def test_without_any_white_paper_is_unknown() -> None:
    """With neither card nor filter patch paper is NaN and flagged, and the view is made all the same."""
    drawn = draw_scene()
    rgb = without_cards(drawn.rgb)
    y, x = np.nonzero(drawn.block)
    box = np.array([x.min(), y.min(), x.max(), y.max()], float)
    (view,) = views(rgb, box[None], 0.8)
    assert np.isnan(view.paper).all()
    assert Flag.NO_REFERENCE in view.flags
    assert overlap(view.outline_px, box) > 0.9


def test_neighbour_hides() -> None:
    """What lies within a neighbour's outline is hidden."""
    drawn = draw_scene()
    y, x = np.nonzero(drawn.block)
    box = np.array([(x.min(), y.min()), (x.max(), y.min()), (x.max(), y.max()), (x.min(), y.max())], float)
    other = box + np.array([0.8 * np.ptp(x), 0])
    rgb = without_cards(drawn.rgb)
    (reference,) = stand_in_references(rgb, [box], mm_per_px=0.8)
    view = view_without_card(rgb, box, key=1001, mm_per_px=0.8, reference=reference, others_px=[other])
    common = filled(other - view.origin_px, view.face.shape) & view.face
    assert common.any()
    assert view.hidden[common].all()
