"""Rendered shelf photos with truth: sound on a photo each of two racks."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from colscan.locate import locate_bags
from colscan.photo.load import load_rgb
from colscan.score import make_baseline, measure_views, share_reference


@pytest.mark.parametrize(("first", "later"), [("oakrack-d00", "oakrack-d06"), ("mixed-d00", "mixed-d14")])
def test_coverage_on_rendered_racks(bench: Path, first: str, later: str):
    """Mean absolute error at most 10 points, and four in five truths in the 90 % interval."""
    views = share_reference(locate_bags(read(bench, first)).views)
    made = {view.key: make_baseline([view], photos=["00"], late=False) for view in views}
    baselines = {tag: baseline for tag, baseline in made.items() if baseline is not None}
    got = measure_views(locate_bags(read(bench, later)).views, baselines)
    bags = json.loads((bench / "dev" / later / "truth.json").read_text())["bags"]
    truth = {bag["tag"]: bag["coverage_pct"] / 100 for bag in bags}
    assert {e.key for e in got} == set(truth)
    assert np.mean([abs((e.coverage or 0) - truth[e.key]) for e in got]) < 0.10
    inside = [(e.low or 0) - 0.005 <= truth[e.key] <= (e.high or 0) + 0.005 for e in got]
    assert np.mean(inside) >= 0.8


def read(bench: Path, name: str) -> np.ndarray:
    """The photo's pixels."""
    return load_rgb(bench / "dev" / name / f"{name}.jpg", max_megapixels=100)
