"""Yield by level: a dot a bag, lost ones at what they gave, the mean with its interval."""

from __future__ import annotations

import matplotlib
import pytest
from answers import make_levels, make_yields
from drawn import boxes_of, by_gid, check_letters, texts_of
from matplotlib.figure import Figure

from colscan.growth.crop import Yields
from colscan.present.saving import SETTINGS
from colscan.present.sheet import SHEET_POINTS
from colscan.present.style import style_treatments
from colscan.present.yield_chart import draw_yield_chart, make_yield_figure
from colscan.trial.model import Trial

TRIAL = make_levels(0.0, 4.0, 8.0)


def _draw(trial: Trial, yields: Yields) -> Figure:
    with matplotlib.rc_context(SETTINGS):
        return make_yield_figure(trial, yields)


@pytest.fixture(scope="module")
def figure() -> Figure:
    """Two strains, three levels, four bags each."""
    return _draw(TRIAL, make_yields(TRIAL, interim=True))


def test_same_data_same_bytes() -> None:
    """Two runs give the same files."""
    yields = make_yields(TRIAL)
    assert draw_yield_chart(TRIAL, yields) == draw_yield_chart(TRIAL, yields)


def test_each_bag_is_a_dot(figure: Figure) -> None:
    """At its grams; a lost one is a cross at zero, one without a harvest hollow."""
    dots = by_gid(figure, "bag")
    assert len(dots) == 24
    crosses = [dot for dot in dots if dot.get_marker() == "x"]
    assert [float(dot.get_xdata()[0]) for dot in crosses] == [0.0] * 6
    assert sum(dot.get_markerfacecolor() == "white" for dot in dots) == 6
    assert max(float(dot.get_xdata()[0]) for dot in dots) == 422.0


def test_the_mean_counts_lost_bags(figure: Figure) -> None:
    """Over all bags spawned that count, with its interval, below the dots."""
    first = by_gid(figure, "mean")[0]
    assert float(first.get_xdata()[0]) == pytest.approx((400 + 402) / 4)
    ends = by_gid(figure, "interval")[0].get_xdata()
    assert list(ends) == pytest.approx([50.5, 350.5])
    texts = [text.get_text() for text in by_gid(figure, "said")]
    assert texts[0] == "200 g (50 to 350)\n4 bags, 1 lost"


def test_levels_look_as_in_the_curves(figure: Figure) -> None:
    """Colour of a treatment is that of the other charts."""
    colours = [mean.get_color() for mean in by_gid(figure, "mean")[:3]]
    assert colours == [style.colour for style in style_treatments(TRIAL.bags).values()]


def test_bags_that_do_not_count_yet_are_counted() -> None:
    """They have no dot; the words say how many, and a level without any bag says so."""
    drawn = _draw(TRIAL, make_yields(TRIAL, waiting=5))
    assert len(by_gid(drawn, "bag")) == 19
    said = [text.get_text() for text in by_gid(drawn, "said")]
    assert said[0] == "nothing to compare yet\n0 bags, 4 to come"
    assert said[1].endswith("3 bags, 1 lost, 1 to come")
    note = by_gid(drawn, "note")[0].get_text().replace("\n", " ")
    assert "first flush; 19 bags, 2 heat runs, and 5 bags not counted" in note


def test_letters_stand_free(figure: Figure) -> None:
    """Nothing is cut off or covered."""
    check_letters(figure, SHEET_POINTS)
    assert "hornbeam  (interim)" in [text.get_text() for text in texts_of(figure)]


def test_forty_bags_of_a_level_are_told_apart() -> None:
    """Dots that gave about the same stand one above the other; rows grow with them."""
    many = make_levels(0.0, 4.0, strains=("PO-3",), bags=40)
    drawn = _draw(many, make_yields(many))
    check_letters(drawn, SHEET_POINTS)
    boxes = boxes_of(drawn, by_gid(drawn, "bag"))
    middles = {(round(box.x0 + box.x1), round(box.y0 + box.y1)) for box in boxes}
    assert len(middles) == 80


def test_nothing_given_has_an_axis() -> None:
    """Where all bags were lost the axis still has a length."""
    small = make_levels(4.0, strains=("PO-3",), bags=1)
    drawn = _draw(small, make_yields(small, waiting=1))
    assert drawn.axes[0].get_xlim()[1] > 0
