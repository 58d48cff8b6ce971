"""What became of the bags day by day: the areas, the estimate, the words."""

from __future__ import annotations

from dataclasses import replace

import matplotlib
import numpy as np
import pytest
from answers import make_comparison, make_levels
from drawn import by_gid, check_letters, texts_of
from matplotlib.figure import Figure

from colscan.growth.compare import Comparison
from colscan.growth.outcomes import Span
from colscan.present.full_chart import draw_full_chart, make_full_figure
from colscan.present.saving import SETTINGS
from colscan.present.sheet import SHEET_POINTS
from colscan.trial.model import Trial

TRIAL = make_levels(0.0, 4.0, 8.0, 12.0)


def _draw(trial: Trial, comparison: Comparison) -> Figure:
    with matplotlib.rc_context(SETTINGS):
        return make_full_figure(trial, comparison)


@pytest.fixture(scope="module")
def figure() -> Figure:
    """Two strains and both together, four levels."""
    return _draw(TRIAL, make_comparison(TRIAL, interim=True))


def test_same_data_same_bytes() -> None:
    """Two runs give the same files."""
    small = make_levels(0.0, strains=("PO-3",))
    comparison = make_comparison(small)
    assert draw_full_chart(small, comparison) == draw_full_chart(small, comparison)


def test_a_panel_a_treatment(figure: Figure) -> None:
    """Under each strain's name, and over all strains."""
    assert [t.get_text() for t in by_gid(figure, "scope")] == ["PO-3  Pleurotus ostreatus",
        "PE-1  Pleurotus eryngii", "all strains"]  # fmt: skip
    names = [t.get_text() for t in by_gid(figure, "treatment")]
    assert names == ["none", "bran 4 %", "bran 8 %", "bran 12 %"] * 3
    assert len(figure.axes) == 12


def test_one_strain_is_shown_once() -> None:
    """All strains would be the same once more."""
    one = make_levels(0.0, 4.0, strains=("PO-3",))
    assert len(_draw(one, make_comparison(one)).axes) == 2


def test_areas_stand_for_the_days_that_end_with_their_counts(figure: Figure) -> None:
    """Full from the day whose end counts them, half of the bags; lost from the top, a quarter."""
    full, running, lost = figure.axes[0].collections
    vertices = full.get_paths()[0].vertices
    assert vertices[:, 1].max() == 50.0
    assert vertices[vertices[:, 1] > 0, 0].min() == 11.0
    vertices = lost.get_paths()[0].vertices
    assert vertices[:, 1].max() == 100.0
    assert vertices[:, 1].min() == 75.0
    assert lost.get_hatch()
    assert not running.get_hatch()


def test_the_estimate_slopes_between_photos(figure: Figure) -> None:
    """From the last photo before to the first after, then level to the end."""
    line = by_gid(figure, "estimate")[0]
    np.testing.assert_allclose(line.get_xdata(), [0, 9, 12, 16])
    np.testing.assert_allclose(line.get_ydata(), [0, 0, 50, 50])


def test_bags_runs_and_median_are_said(figure: Figure) -> None:
    """Over each panel; what isn't there yet, too."""
    texts = [text.get_text() for text in texts_of(figure)]
    assert texts.count("4 bags, 2 heat runs") == 8
    assert texts.count("8 bags, 2 heat runs") == 4
    assert "half full: day 9.0 to 12.0" in texts
    assert "hornbeam  (interim)" in texts
    comparison = make_comparison(TRIAL)
    open_ended = Span(after_days=16.0, by_days=float("inf"))
    late = [replace(one, median=open_ended, steps=()) for one in comparison.times]
    gone = [replace(one, median=open_ended, steps=(), running=0) for one in comparison.times]
    for times, words in ((late, "not half full yet"), (gone, "under half came full")):
        drawn = _draw(TRIAL, replace(comparison, times=tuple(times)))
        assert words in [text.get_text() for text in texts_of(drawn)]


def test_letters_stand_free(figure: Figure) -> None:
    """Also with six levels of four strains."""
    check_letters(figure, SHEET_POINTS)


def test_many_panels_stand_free() -> None:
    """Six levels of four strains and all of them together."""
    many = make_levels(0.0, 2.0, 4.0, 8.0, 12.5, 16.0, strains=("PO-3", "PE-1", "HE-2", "LE-9"))
    drawn = _draw(many, make_comparison(many))
    assert len(drawn.axes) == 30
    check_letters(drawn, SHEET_POINTS)


def test_bags_that_left_are_shown_apart() -> None:
    """Dotted, and in the legend only when there are some."""
    comparison = make_comparison(TRIAL)
    days = [replace(one, running=one.running - 1, gone=1) for one in comparison.days]
    drawn = _draw(TRIAL, replace(comparison, days=tuple(days)))
    assert len(drawn.axes[0].collections) == 4
    assert "no longer followed" in [text.get_text() for text in texts_of(drawn)]
    plain = [text.get_text() for text in texts_of(_draw(TRIAL, comparison))]
    assert "no longer followed" not in plain


def test_long_names_are_folded() -> None:
    """They don't reach into the next panel's."""
    bags = tuple(
        replace(bag, supplement="wheat bran pellets of the mill") if bag.supplement_pct else bag
        for bag in TRIAL.bags
    )
    long = replace(TRIAL, bags=bags)
    check_letters(_draw(long, make_comparison(long)), SHEET_POINTS)
