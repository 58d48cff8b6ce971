"""The chart: its panels, lines, marks and labels, looked up in the figure itself."""

from __future__ import annotations

import io
from itertools import combinations, pairwise

import numpy as np
import pytest
from drawn import boxes_of
from hornbeam import (
    PHOTO_DAYS,
    at_day,
    event,
    gompertz_pct,
    make_bag,
    make_hornbeam,
    make_trial,
    score,
    suspect,
)
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from PIL import Image

from colscan.growth import curves_of
from colscan.ledger import Ledger
from colscan.present.chart import Shown, draw_chart, make_figure
from colscan.present.frame import LABEL_POINTS, WIDTH_INCHES
from colscan.present.saving import DOTS_PER_INCH
from colscan.present.style import style_treatments


@pytest.fixture(scope="module")
def figure() -> Figure:
    """The chart of the made-up trial."""
    trial, ledger = make_hornbeam()
    return make_figure(trial, curves_of(trial, ledger))


def _artists(ax: Axes, gid: str) -> list:
    return [artist for artist in ax.get_children() if artist.get_gid() == gid]


def test_same_data_same_bytes() -> None:
    """Two runs give the same PNG and SVG, of the declared size, without a date."""
    trial, ledger = make_hornbeam()
    one, two = (draw_chart(trial, curves_of(trial, ledger)) for _ in range(2))
    assert one == two
    picture = Image.open(io.BytesIO(one.png))
    assert picture.width == WIDTH_INCHES * DOTS_PER_INCH
    assert picture.info.keys() <= {"dpi"}
    assert b"<svg" in one.svg
    assert b"<dc:date>" not in one.svg


def test_a_panel_a_strain_with_shared_axes(figure: Figure) -> None:
    """In the plan's order, all from 0 to 100 % and over the same days."""
    titles = [ax.get_title(loc="left") for ax in figure.axes]
    assert titles == ["PO-3  Pleurotus ostreatus", "PE-1  Pleurotus eryngii", "HE-2  Hericium erinaceus"]
    assert len({ax.get_xlim() for ax in figure.axes}) == 1
    low, high = figure.axes[0].get_ylim()
    assert low < 0 < 100 < high


def test_the_lines_hold_the_scores(figure: Figure) -> None:
    """A line a bag, in days and percent, its interval as a bar at each score."""
    po3 = figure.axes[0]
    assert len(po3.containers) == 3
    line, _, (bars,) = po3.containers[0]
    np.testing.assert_allclose(line.get_xdata(), PHOTO_DAYS)
    np.testing.assert_allclose(line.get_ydata(), [gompertz_pct(d, 14.0) for d in PHOTO_DAYS], atol=0.006)
    segments = np.array(bars.get_segments())
    np.testing.assert_allclose(segments[2, :, 1], line.get_ydata()[2] + np.array([-3, 3]))


def test_lines_break_at_segments(figure: Figure) -> None:
    """The bag that was shaken has two lines, none across the shake."""
    parts = [container[0].get_xdata() for container in figure.axes[2].containers]
    assert [len(part) for part in parts] == [6, 3, 3]
    assert max(parts[1]) < 6.5 < min(parts[2])


def test_a_line_breaks_where_the_caption_says_it_does() -> None:
    """At the event, though the photos after it were scored before it was entered."""
    rows = tuple(score("B1", day, 10 * day) for day in (1, 2, 3, 4))
    ledger = Ledger(scores=rows, events=(event("opened", 2.5, "B1"),))
    figure = make_figure(make_trial(make_bag("B1")), curves_of(make_trial(make_bag("B1")), ledger))
    assert [list(one[0].get_xdata()) for one in figure.axes[0].containers] == [[1, 2], [3, 4]]
    assert "A line breaks where the bag was shaken, turned or opened" in figure.texts[-1].get_text()


def test_unmeasured_photos_are_left_out() -> None:
    """A photo without a score leaves no point, a bag without any no line, a strain without any no panel."""
    trial = make_trial(make_bag("B1"), make_bag("B2"), make_bag("B3", strain="PE-1"))
    rows = (score("B1", 1, 5), score("B1", 2, None), score("B1", 3, 20), score("B2", 3, None))
    figure = make_figure(trial, curves_of(trial, Ledger(scores=rows)))
    assert len(figure.axes) == 1
    assert [list(one[0].get_xdata()) for one in figure.axes[0].containers] == [[1, 3]]


def test_every_bag_is_named_at_its_line_without_overlap(figure: Figure) -> None:
    """Codes stand apart and within the picture; with an alarm or a call they carry its mark."""
    codes = [text for ax in figure.axes for text in _artists(ax, "code")]
    assert {text.get_text() for text in codes} == {
        "PO3-1", "PO3-2", "PO3-3 ▽", "PE1-1", "PE1-2", "PE1-3 ✖", "HE2-1 ✖", "HE2-2",
    }  # fmt: skip
    boxes = boxes_of(figure, codes)
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))
    assert all(figure.bbox.x0 <= box.x0 and box.x1 <= figure.bbox.x1 for box in boxes)


def test_twenty_bags_that_end_together_are_told_apart() -> None:
    """The panel grows with its bags."""
    bags = [make_bag(f"B-{i:02}") for i in range(40)]
    rows = [score(bag.bag, day, 99) for bag in bags for day in (1, 5)]
    trial = make_trial(*bags)
    figure = make_figure(trial, curves_of(trial, Ledger(scores=tuple(rows))))
    boxes = boxes_of(figure, _artists(figure.axes[0], "code"))
    assert len(boxes) == 40
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))


def test_onsets_are_marked_and_calls_differ(figure: Figure) -> None:
    """A band from the last photo without the patch to the first with it; X for contaminated, open else."""
    po3, pe1, he2 = figure.axes
    assert [list(line.get_xdata()) for line in _artists(po3, "onset")] == [[6.125, 9.125], [12.125, 15.125]]
    marks = [[line.get_marker() for line in _artists(ax, "mark")] for ax in (po3, pe1, he2)]
    assert marks == [["v", "v"], ["X"], ["X"]]
    assert [line.get_xdata()[0] for line in _artists(po3, "mark")] == [9.125, 15.125]


def test_a_patch_on_a_bag_that_was_not_measured_is_marked() -> None:
    """On the day it was first seen, at the height of the score before, or at the panel's foot."""
    trial = make_trial(make_bag("B1"))
    rows = (score("B1", 2, None), score("B1", 5, 30), score("B1", 9, None))
    ledger = Ledger(scores=rows, suspects=(suspect("B1", 2), suspect("B1", 9, "p2")))
    (ax,) = make_figure(trial, curves_of(trial, ledger)).axes
    marks = [(mark.get_xdata()[0], mark.get_ydata()[0]) for mark in _artists(ax, "mark")]
    assert marks == [(2.0, 0.0), (9.0, 30.0)]


def test_events_are_labelled_ticks(figure: Figure) -> None:
    """Each with the bags it happened to; labels don't overlap and no tick runs through another's label."""
    labels = [[text.get_text().strip() for text in _artists(ax, "event-label")] for ax in figure.axes]
    assert labels == [
        ["moved (all)"],
        ["discarded PE1-3", "moved (all)"],
        ["shaken HE2-2", "moved (all)"],
    ]
    for ax in figure.axes:
        boxes = boxes_of(figure, _artists(ax, "event-label"))
        ticks = boxes_of(figure, _artists(ax, "event"))
        assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))
        for index, tick in enumerate(ticks):
            others = boxes[:index] + boxes[index + 1 :]
            assert not any(box.x0 < tick.x0 < box.x1 and tick.y1 > box.y0 for box in others)


def test_events_of_many_bags_are_counted() -> None:
    """Two bags are named, the others counted."""
    trial = make_trial(*(make_bag(f"B{i}") for i in range(1, 6)))
    events = tuple(event("moved", 1, f"B{i}") for i in range(1, 5))
    rows = tuple(score(f"B{i}", day, 5 * day) for i in range(1, 6) for day in (0, 12))
    (ax,) = make_figure(trial, curves_of(trial, Ledger(scores=rows, events=events))).axes
    assert [text.get_text().strip() for text in _artists(ax, "event-label")] == ["moved B1, B2 +2"]


def test_events_of_a_shelf_are_named_by_it() -> None:
    """Who stands in the panel is another matter: a shelf may hold all of its bags or some."""
    trial = make_trial(make_bag("B1", shelf="upper"), make_bag("B2", shelf="upper"))
    events = (event("moved", 1, "upper", scope="shelf"), event("moved", 4, scope="room"))
    rows = tuple(score(bag, day, 5 * day) for bag in ("B1", "B2") for day in (0, 12))
    (ax,) = make_figure(trial, curves_of(trial, Ledger(scores=rows, events=events))).axes
    labels = {text.get_text().strip() for text in _artists(ax, "event-label")}
    assert labels == {"moved (shelf upper)", "moved (all)"}


def test_no_tick_shows_through_a_label() -> None:
    """Where labels at the right end are pushed left over other ticks, their white ground lies above these."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    trial = make_trial(make_bag("B1"))
    what = ("looked-round", "cold-shocked", "power-cut", "fruiting", "moved")
    events = tuple(event(name, 11.2 + 0.2 * i, "B1") for i, name in enumerate(what))
    rows = tuple(score("B1", day, 5 * day) for day in (0, 12))
    figure = make_figure(trial, curves_of(trial, Ledger(scores=rows, events=events)))
    labels, ticks = (_artists(figure.axes[0], gid) for gid in ("event-label", "event"))
    boxes, lines = boxes_of(figure, labels), boxes_of(figure, ticks)
    assert any(box.x0 < line.x0 < box.x1 and line.y1 > box.y1 for box in boxes for line in lines)
    canvas = FigureCanvasAgg(figure)

    def draw() -> np.ndarray:
        canvas.draw()
        return np.asarray(canvas.buffer_rgba()).copy()

    with_ticks = draw()
    for tick in ticks:
        tick.set_visible(False)
    without = draw()
    height = with_ticks.shape[0]
    for box in boxes:
        rows_px = slice(int(height - box.y1) + 2, int(height - box.y0) - 1)
        seen = (rows_px, slice(int(box.x0) + 2, int(box.x1) - 1))
        np.testing.assert_array_equal(with_ticks[seen], without[seen])


def test_head_legend_and_footnote(figure: Figure) -> None:
    """Name and question above; below what colours, marks and bars mean, and what the camera doesn't see."""
    texts = " ".join(text.get_text().replace("\n", " ") for text in figure.texts)
    assert texts.startswith("hornbeam Which strain takes which level of bran before bags are lost?")
    assert "90 % interval" in texts
    assert "between the last photo without it and the first with it" in texts
    assert "one side" in texts
    (legend,) = figure.legends
    assert legend.get_title().get_text() == "supplement, % of main substrate as weighed"
    assert [text.get_text() for text in legend.get_texts()] == [
        "none", "bran 4 %", "bran 8 %", "suspect patch", "called contaminated",
    ]  # fmt: skip


def test_nothing_is_cut_off_or_too_small(figure: Figure) -> None:
    """Every text stands within the picture, in letters of 9 points at least."""
    from matplotlib.text import Text

    texts = [text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible()]
    assert min(text.get_fontsize() for text in texts) >= LABEL_POINTS
    for text, box in zip(texts, boxes_of(figure, texts), strict=True):
        assert figure.bbox.x0 <= box.x0, text.get_text()
        assert box.x1 <= figure.bbox.x1, text.get_text()
        assert figure.bbox.y0 <= box.y0, text.get_text()
        assert box.y1 <= figure.bbox.y1, text.get_text()


def test_names_with_dollar_signs_are_no_formulas() -> None:
    """A question about prices is drawn as it is written."""
    trial = make_trial(make_bag("B1"), name="5$ or 8$", question="Is $5 bran as good as $8 bran_x?")
    figure = make_figure(trial, curves_of(trial, Ledger(scores=(score("B1", 1, 5),))))
    assert not any(text.get_parse_math() for text in figure.texts)
    assert draw_chart(trial, curves_of(trial, Ledger(scores=(score("B1", 1, 5),)))).png


def test_blanks_are_drawn_apart() -> None:
    """A bag without spawn is grey, named as blank, and in the legend."""
    trial = make_trial(make_bag("B1"), make_bag("Z1", role="blank"))
    rows = (score("B1", 1, 5), score("Z1", 1, 1))
    figure = make_figure(trial, curves_of(trial, Ledger(scores=rows)))
    assert "Z1 (blank)" in [text.get_text() for text in _artists(figure.axes[0], "code")]
    assert "blank (no spawn)" in [text.get_text() for text in figure.legends[0].get_texts()]


def _lightness(colour: tuple[float, float, float]) -> float:
    """CIE L* of an sRGB colour (IEC 61966-2-1; CIE 15)."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour]
    luminance = float(np.dot([0.2126, 0.7152, 0.0722], linear))
    return 116 * luminance ** (1 / 3) - 16 if luminance > 0.008856 else 903.3 * luminance


# Dichromats' view in linear light: Vienot, Brettel & Mollon 1999, Color Res Appl 24:243-252, as matrices.
DICHROMATS = {
    "protan": [[0.11238, 0.88762, 0], [0.11238, 0.88762, 0], [0.00401, -0.00401, 1]],
    "deutan": [[0.29275, 0.70725, 0], [0.29275, 0.70725, 0], [-0.02234, 0.02234, 1]],
}


@pytest.mark.parametrize("levels", [2, 3, 5])
def test_levels_differ_in_lightness_marker_and_line(levels: int) -> None:
    """More supplement is darker, by clear steps in greyscale, and has a marker and a line of its own."""
    bags = tuple(make_bag(f"B{i}", level=3.0 * i) for i in range(levels))
    styles = list(style_treatments(bags).values())
    lightness = [_lightness(style.colour) for style in styles]
    assert all(a - b >= 10 for a, b in pairwise(lightness))
    assert max(lightness) <= 75, "stays visible on white"
    assert len({style.marker for style in styles}) == len({style.line for style in styles}) == levels


@pytest.mark.parametrize("kind", list(DICHROMATS))
def test_levels_differ_for_colour_blind_eyes(kind: str) -> None:
    """Their order in lightness is kept in the simulated view."""
    styles = style_treatments(tuple(make_bag(f"B{i}", level=3.0 * i) for i in range(5))).values()
    seen = []
    for style in styles:
        linear = np.array([c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in style.colour])
        view = np.clip(np.array(DICHROMATS[kind]) @ linear, 0, 1)
        seen.append(float(np.dot([0.2126, 0.7152, 0.0722], view)))
    lightness = [116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y for y in seen]
    assert all(a - b >= 8 for a, b in pairwise(lightness))


def test_two_supplements_of_one_level_share_their_colour_only() -> None:
    """Marker and line tell them apart."""
    bags = (make_bag("B1"), make_bag("B2", supplement="soy"))
    one, two = style_treatments(bags).values()
    assert one.colour == two.colour
    assert (one.marker, one.line) != (two.marker, two.line)


def test_a_trial_of_one_photo_has_a_chart() -> None:
    """Day 0 alone."""
    trial = make_trial(make_bag("B1"))
    assert at_day(0) == score("B1", 0, 0.0).taken_at
    figure = make_figure(trial, curves_of(trial, Ledger(scores=(score("B1", 0, 0.0),))))
    assert figure.axes[0].get_xlim()[1] > 1


def test_how_white_the_bags_are() -> None:
    """Density in place of coverage, without intervals, and said so."""
    trial, ledger = make_hornbeam()
    figure = make_figure(trial, curves_of(trial, ledger), shown=Shown.DENSITY)
    line, _, (bars,) = figure.axes[0].containers[0]
    np.testing.assert_allclose(line.get_ydata(), [0.7 * gompertz_pct(d, 14.0) for d in PHOTO_DAYS], atol=0.01)
    assert np.ptp(np.array(bars.get_segments())[:, :, 1], axis=1).max() == 0
    assert figure.axes[0].get_ylabel().startswith("how white, %")
    assert "It carries no interval" in figure.texts[-1].get_text().replace("\n", " ")


def test_an_interim_chart_says_so() -> None:
    """In its title."""
    trial, ledger = make_hornbeam()
    assert make_figure(trial, curves_of(trial, ledger), interim=True).texts[0].get_text() == (
        "hornbeam  (interim)"
    )


def test_bags_and_heat_runs_are_counted() -> None:
    """In the footnote; blanks are none of the bags, runs that nobody names are left out."""
    trial = make_trial(
        make_bag("B1", heat_run="H1"), make_bag("B2", heat_run="H2"), make_bag("Z1", role="blank")
    )
    rows = tuple(score(bag, 1, 5) for bag in ("B1", "B2", "Z1"))
    figure = make_figure(trial, curves_of(trial, Ledger(scores=rows)))
    assert figure.texts[-1].get_text().startswith("2 bags, 2 heat runs. Bars:")
    plain = make_trial(make_bag("B1"))
    figure = make_figure(plain, curves_of(plain, Ledger(scores=rows)))
    assert figure.texts[-1].get_text().startswith("1 bag. Bars:")


def test_many_bags_are_a_line_a_treatment() -> None:
    """Over 60 bags: the median of each, bars that hold four in five, side by side so that none is covered."""
    bags = [make_bag(f"B{level:g}-{i}", level=level) for level in (0.0, 4.0) for i in range(31)]
    rows = tuple(score(bag.bag, day, 10.0 * day + i % 31) for day in (1, 2, 3) for i, bag in enumerate(bags))
    trial = make_trial(*bags)
    figure = make_figure(trial, curves_of(trial, Ledger(scores=rows)))
    (ax,) = figure.axes
    for line, _, (bars,) in ax.containers:
        np.testing.assert_allclose(line.get_xdata(), [1, 2, 3])
        np.testing.assert_allclose(line.get_ydata(), [25, 35, 45])
        np.testing.assert_allclose([bar[:, 1] for bar in bars.get_segments()], [[13, 37], [23, 47], [33, 57]])
    places = [
        {round(float(bar[0, 0]), 6) for bar in container[2][0].get_segments()} for container in ax.containers
    ]
    assert not places[0] & places[1]
    assert [text.get_text() for text in _artists(ax, "code")] == ["none: 31", "bran 4 %: 31"]
    assert figure.texts[-1].get_text().startswith("62 bags. Over 60 bags in a panel")
