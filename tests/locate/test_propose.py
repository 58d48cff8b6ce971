"""Shelf photos with the cards painted over → all blocks proposed, none invented."""

from __future__ import annotations

import csv
import json
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from colscan.locate import find_cards
from colscan.locate.cards import card_outline_px, filled
from colscan.locate.propose import propose_faces, reading_order

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "colscan" / "app" / "demo" / "photos"
BENCH = Path(os.environ.get("COLSCAN_BENCH", ROOT.parent / "shared" / "bench")) / "dev"
FIRST_PHOTOS = [f"{series}-d00" for series in ("oakrack", "mixed", "bigrack", "outbreak", "nocard", "pen")]


def read(path: Path) -> np.ndarray:
    """A photo's pixels as RGB."""
    return cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)


def without_cards(rgb: np.ndarray) -> np.ndarray:
    """The photo with each card in the colour of what is around it."""
    rgb = rgb.copy()
    for card in find_cards(rgb):
        own = filled(card_outline_px(card, margin_mm=1.5, far_margin_mm=4), rgb.shape[:2])
        ring = (cv2.dilate(own.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0) & ~own
        rgb[own] = np.median(rgb[ring], 0)
    assert not find_cards(rgb)
    return rgb


def overlap(outline: np.ndarray, box: np.ndarray) -> float:
    """Intersection over union of an outline's box and another (x0, y0, x1, y1)."""
    low, high = np.maximum(outline.min(0), box[:2]), np.minimum(outline.max(0), box[2:])
    common = np.prod(np.maximum(high - low, 0))
    return float(common / (np.prod(np.ptp(outline, 0)) + np.prod(box[2:] - box[:2]) - common))


def assert_proposed(rgb: np.ndarray, boxes: np.ndarray, mm_per_px: float) -> None:
    """Each box has its proposal, in order of tiers from the top and from left to right."""
    proposals = propose_faces(rgb)
    corners = [np.array([box[:2], box[2:]], float) for box in boxes]
    ordered = boxes[reading_order(corners)]
    assert len(proposals) == len(ordered)
    for proposal, box in zip(proposals, ordered, strict=True):
        assert overlap(proposal.outline_px, box) > 0.6
        assert proposal.sure
        assert len(proposal.outline_px) <= 32
        assert abs(np.log(proposal.mm_per_px / mm_per_px)) < 0.15


@pytest.mark.parametrize("name", ["hornbeam-d00.jpg", "hornbeam-d09.jpg"])
def test_all_bags_of_the_demo(name: str) -> None:
    """All bags of a demo photo are proposed without their cards, bare or grown."""
    with (ROOT / "tests" / "fixtures" / "hornbeam-truth.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if row["photo"] == name]
    boxes = np.array([row["box"].split() for row in rows], float)
    scale = float(np.median([float(row["mm_per_px"]) for row in rows]))
    assert_proposed(without_cards(read(DEMO / name)), boxes, scale)


@pytest.mark.skipif(not BENCH.exists(), reason=f"no rendered photos in {BENCH}")
@pytest.mark.parametrize("name", FIRST_PHOTOS)
def test_all_bags_of_the_first_photos(name: str) -> None:
    """All bags of each series' first photo are proposed without their cards, and none is invented."""
    truth = json.loads((BENCH / name / "truth.json").read_text())
    boxes = np.array([bag["box"] for bag in truth["bags"]], float)
    scale = float(np.median([bag["mm_per_px"] for bag in truth["bags"]]))
    assert_proposed(without_cards(read(BENCH / name / truth["photo"])), boxes, scale)


def test_given_scale_is_kept() -> None:
    """With a scale given, blocks are looked for at that size, and the scale is theirs."""
    proposals = propose_faces(read(DEMO / "hornbeam-d00.jpg"), scale_mm_per_px=0.88)
    assert len(proposals) == 8
    assert {proposal.mm_per_px for proposal in proposals} == {0.88}


def test_cut_bag_is_unsure() -> None:
    """A block that the photo's border cuts is not sure, or not proposed; its neighbours are."""
    rgb = read(DEMO / "hornbeam-d00.jpg")[:, 460:]
    proposals = propose_faces(rgb, scale_mm_per_px=0.88)
    assert sum(proposal.sure for proposal in proposals) == 6
    assert all(proposal.outline_px[:, 0].min() < 3 for proposal in proposals if not proposal.sure)


def test_bare_wall_has_no_bags() -> None:
    """Nothing is proposed on a plain wall or on noise."""
    rng = np.random.default_rng(0)
    wall = np.full((300, 400, 3), 150, np.uint8)
    assert propose_faces(wall) == ()
    assert propose_faces(rng.integers(100, 160, wall.shape, np.uint8)) == ()


def test_tiers_in_reading_order() -> None:
    """A tilted shelf's bags stay in one tier; the tier below follows."""
    middles = [(100, 300), (300, 110), (100, 100), (500, 120), (300, 310)]
    outlines = [np.array([(x - 40, y - 40), (x + 40, y + 40)], float) for x, y in middles]
    assert reading_order(outlines) == [2, 1, 3, 0, 4]
