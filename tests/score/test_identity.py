"""Who stands in a place: composed photos in which bags were swapped or replaced."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from rendered import Rendered, pasted, rendered
from score.compose import compose, grow

from colscan.locate.model import BagView
from colscan.photo.light import to_linear
from colscan.score.baseline import make_baseline
from colscan.score.identity import Verdict, identify, stands_out
from colscan.score.model import Baseline

KEYS = {"B01": 1, "B02": 2, "B03": 3, "B04": 4}


def view(photo: Rendered, bag: str) -> BagView:
    """A bag's view by its true outline; the brightest of the photo stands for paper."""
    outline = photo.outlines_px[bag]
    last = np.array(photo.size_px) - 1
    x0, y0 = np.maximum(outline.min(0) - 8, 0).astype(int)
    x1, y1 = np.minimum(outline.max(0) + 8, last).astype(int)
    face = np.zeros((y1 - y0, x1 - x0), np.uint8)
    cv2.fillPoly(face, [np.round(outline - (x0, y0)).astype(np.int32)], 1)
    paper = np.quantile(to_linear(photo.rgb).reshape(-1, 3), 0.995, axis=0).astype(np.float64)
    return BagView(
        key=KEYS[bag],
        rgb=photo.rgb[y0:y1, x0:x1],
        origin_px=(int(x0), int(y0)),
        face=face > 0,
        hidden=(face > 0) & photo.hidden[y0:y1, x0:x1],
        outline_px=outline,
        mm_per_px=photo.mm_per_px[bag],
        paper=paper,
        ink=0.05 * paper,
        blur_px=0.8,
    )


def shelf(photo: Rendered) -> dict[int, Baseline]:
    """What is known of a shelf's bags from a first photo."""
    made = {
        KEYS[bag]: make_baseline([view(photo, bag)], photos=["00"], late=False) for bag in photo.outlines_px
    }
    return {key: baseline for key, baseline in made.items() if baseline is not None}


def who(
    photo: Rendered, known: dict[int, Baseline], **coverage: float
) -> dict[int, tuple[Verdict, int | None]]:
    """The verdict on each place of a photo."""
    views = [view(photo, bag) for bag in photo.outlines_px]
    shares = {KEYS[bag]: share for bag, share in coverage.items()}
    return {one.key: (one.verdict, one.found) for one in identify(views, known, coverage=shares)}


def test_an_honest_shelf_is_not_accused(bench: Path):
    """Four bags, four days, two lights: no other, no strange one; all known on day 4."""
    known = shelf(rendered(bench, "nocard-d00"))
    fourth = who(rendered(bench, "nocard-d04"), known)
    assert fourth == {key: (Verdict.SAME, key) for key in KEYS.values()}
    for day in ("nocard-d08", "nocard-d12"):
        verdicts = [verdict for verdict, _ in who(rendered(bench, day), known).values()]
        assert set(verdicts) <= {Verdict.SAME, Verdict.UNKNOWN}


def test_two_bags_swapped_are_told(bench: Path):
    """Both, and each by the other's name; their neighbours are themselves."""
    today = rendered(bench, "nocard-d04")
    swapped = pasted(pasted(today, "B01", today, "B03"), "B03", today, "B01")
    assert who(swapped, shelf(rendered(bench, "nocard-d00"))) == {
        1: (Verdict.OTHER, 3),
        2: (Verdict.SAME, 2),
        3: (Verdict.OTHER, 1),
        4: (Verdict.SAME, 4),
    }


def test_a_strange_bag_in_a_place_is_told(bench: Path):
    """A bag of another rack, half bare, is nobody's of this shelf."""
    today, elsewhere = rendered(bench, "nocard-d04"), rendered(bench, "mixed-d04")
    replaced = pasted(today, "B02", elsewhere, "B02")
    found = who(replaced, shelf(rendered(bench, "nocard-d00")), B02=0.3)
    assert found == {k: (Verdict.STRANGE, None) if k == 2 else (Verdict.SAME, k) for k in KEYS.values()}


def test_a_white_bag_is_left_unknown(bench: Path):
    """Grown over there is nothing to tell it by, and it isn't called strange."""
    today, elsewhere = rendered(bench, "nocard-d04"), rendered(bench, "mixed-d14")
    replaced = pasted(today, "B02", elsewhere, "B02")
    found = who(replaced, shelf(rendered(bench, "nocard-d00")), B02=1.0)
    assert found[2] == (Verdict.UNKNOWN, None)


def test_without_white_paper_a_bag_is_itself(bench: Path):
    """Grain is told by ratios: a photo in which nothing is known to be white is no other bag's."""
    baselines, today = shelf(rendered(bench, "nocard-d00")), rendered(bench, "nocard-d04")
    views = [replace(view(today, bag), paper=np.full(3, np.nan)) for bag in today.outlines_px]
    told = identify(views, baselines, coverage=dict.fromkeys(KEYS.values(), 0.2))
    assert [one.verdict for one in told] == [Verdict.SAME] * len(views)


def test_composed_bags_stand_out_only_as_themselves():
    """Another substrate's likeness stays under what chance reaches."""
    baselines = {bag: make_baseline([compose(bag=bag)], photos=["00"], late=False) for bag in (1, 2)}
    assert baselines[1] is not None
    assert baselines[2] is not None
    today = compose(grow(0.33), bag=1)
    assert stands_out(today, baselines[1]) > 5.5
    assert stands_out(today, baselines[2]) < 5.3


def test_a_place_whose_bag_is_not_known_is_unknown():
    """No baseline, no verdict."""
    (found,) = identify([compose()], {}, coverage={})
    assert (found.verdict, found.found) == (Verdict.UNKNOWN, None)
