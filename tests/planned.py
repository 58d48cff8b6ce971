"""Plans of several sizes, and the sheets drawn of them read back, for the tests of printed sheets."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pypdfium2
from hornbeam import START, make_bag, make_trial
from pypdfium2.raw import FPDF_PAGEOBJ_IMAGE, FPDF_PAGEOBJ_TEXT

from colscan.present.paper import MARGIN_MM, Paper
from colscan.trial.layout import Layout, lay_out_bags
from colscan.trial.model import RecipePlan, Shelf, Strain, Treatment, Trial
from colscan.trial.planning import Scheme, draw_bags

DPI = 75
MM_PER_POINT = 25.4 / 72
LONG = "a strain whose name somebody wrote out in full, with all that was known of it, 12"
RECIPE = RecipePlan(
    main=("oak pellets, 2 lb, moisture 6%",), supplement=("bran, moisture 12%",),
    other=("shavings, 2 oz, moisture 10%", "gypsum, 10 g"), moisture_pct=60, spawn="1 lb",
)  # fmt: skip


def draw_plan(levels: tuple[float, ...], replicates: int, scheme: Scheme, **other: object) -> Trial:
    """Two strains at some levels of bran, drawn by lot; blanks have the last codes."""
    strains = ("PO-3", "PE-1")
    layout = Layout(strains=strains, levels_pct=levels, replicates=replicates)
    drawn = draw_bags(lay_out_bags(layout, START, taken=()), scheme)
    bags = [replace(bag, bag=f"B{number:02d}", tag=number) for number, bag in enumerate(drawn, start=1)]
    return make_trial(
        *bags,
        strains=tuple(Strain(code=code) for code in strains),
        treatments=tuple(Treatment(supplement="bran", supplement_pct=level) for level in levels),
        shelves=scheme.shelves,
        **other,
    )


def big_plan() -> Trial:
    """98 bags of 12 mixes and 4 heat runs, 20 places on a tier, all but one tier on one shelf."""
    shelves = (Shelf(name="cellar", tiers=4, cards=(580, 581)), Shelf(name="upper", cards=(582,)))
    lots = (("PO-3", "2026-14"), ("PE-1", "2026-15"), ("PE-1", "2026-16"))
    scheme = Scheme(seed=1, heat_runs=4, blanks_per_run=2, shelves=shelves, spawn_lots=lots)
    return draw_plan((0.0, 5.0, 10.0), 15, scheme, recipe=RECIPE)


def small_plan(**other: object) -> Trial:
    """Eight bags in one heat run on a shelf of two tiers."""
    scheme = Scheme(seed=1, heat_runs=1, shelves=(Shelf(name="rack", tiers=2, cards=(580,)),))
    return draw_plan((0.0, 8.0), 2, scheme, **other)


def odd_plan() -> Trial:
    """Names of all kinds, bags without run, mix, card or place, two at one place, a tier far down."""
    here = "Полка слева"
    return make_trial(
        make_bag("BAG-WITH-A-VERY-LONG-CODE-0001", strain=LONG, tag=1, shelf=here, position="tier 1 place 1",
                 mix_batch="the mix of the first day, of pellets from two bags and the rest of the old bran",
                 heat_run="H1", spawn_order=3),
        make_bag("B02", strain="Вешенка обыкновенная", level=8.0, shelf=here, position="tier 2 place 3"),
        make_bag("B03", strain="W" * 60, shelf=here, position="left back", mix_batch="M1", heat_run="H10"),
        make_bag("B04", strain="平菇", shelf=here, position="tier 2 place 3", mix_batch="M1", heat_run="H2"),
        make_bag("B05", level=0.0, spawn_lot="L" * 40),
        make_bag("B06", shelf="tall", position="tier 9 place 2", heat_run="H2", role="blank", strain="none"),
        make_bag("B07", shelf="wide", position="34"),
        name="W" * 90,
        shelves=(Shelf(name=here, tiers=2, cards=(582, 583, 584)),),
    )  # fmt: skip


class Printed:
    """A PDF as its reader sees it: pictures of the pages, and their texts with the places they stand at."""

    def __init__(self, pdf: bytes) -> None:
        document = pypdfium2.PdfDocument(pdf)
        self.sizes_mm = [tuple(side * MM_PER_POINT for side in page.get_size()) for page in document]
        self.images = [page.render(scale=DPI / 72).to_numpy()[:, :, :3].copy() for page in document]
        self.texts = [
            re.sub(r"\s+", " ", page.get_textpage().get_text_range().replace("\xa0", " "))
            for page in document
        ]
        self.boxes_mm = [
            np.array([piece.get_bounds() for piece in page.get_objects(filter=[FPDF_PAGEOBJ_TEXT])])
            * MM_PER_POINT
            for page in document
        ]
        self.pictures = [list(page.get_objects(filter=[FPDF_PAGEOBJ_IMAGE])) for page in document]

    @property
    def text(self) -> str:
        """All pages' text, its white space as single spaces."""
        return " ".join(self.texts)

    def check_margins(self, paper: Paper) -> None:
        """The margins of common printers are white; pages have the paper's size, upright or lying."""
        for image, size_mm in zip(self.images, self.sizes_mm, strict=True):
            assert np.allclose(sorted(size_mm), [paper.width_mm, paper.height_mm], atol=0.1)
            margin = int(MARGIN_MM / 25.4 * DPI)
            inside = image[margin:-margin, margin:-margin]
            assert (image < 255).sum() == (inside < 255).sum() > 0

    def check_texts_apart(self) -> None:
        """No text is written over another."""
        for boxes in self.boxes_mm:
            left, bottom, right, top = boxes.T
            across = np.minimum.outer(right, right) - np.maximum.outer(left, left)
            down = np.minimum.outer(top, top) - np.maximum.outer(bottom, bottom)
            over = (across > 0.3) & (down > 0.3) & ~np.eye(len(boxes), dtype=bool)
            assert not over.any(), boxes[over.any(0)]
