"""Risk by level: what is drawn and said of each level."""

from __future__ import annotations

from dataclasses import replace

import matplotlib
import pytest
from answers import level_risk, make_levels, make_risk
from drawn import by_gid, check_letters, texts_of
from matplotlib.figure import Figure

from colscan.growth.risk import RiskReport
from colscan.present.risk_chart import draw_risk_chart, make_risk_figure
from colscan.present.saving import SETTINGS
from colscan.present.sheet import SHEET_POINTS
from colscan.present.style import style_treatments
from colscan.trial.model import Trial

LEVELS = (
    level_risk("none", 0.0, clean=30),
    level_risk("bran", 4.0, more=6, running=2),
    level_risk("bran", 8.0, lost=2, clean=6, suspects=1, limit_at_worst=0.9),
    level_risk("bran", 12.0, clean=0, spawned=8, running=8),
)
TRIAL = make_levels(0.0, 4.0, 8.0, 12.0)


def _draw(trial: Trial, report: RiskReport) -> Figure:
    with matplotlib.rc_context(SETTINGS):
        return make_risk_figure(trial, report)


@pytest.fixture(scope="module")
def figure() -> Figure:
    """Two strains and both together, four levels."""
    return _draw(TRIAL, make_risk(TRIAL, *LEVELS, interim=True))


def test_same_data_same_bytes() -> None:
    """Two runs give the same files."""
    report = make_risk(TRIAL, *LEVELS)
    assert draw_risk_chart(TRIAL, report) == draw_risk_chart(TRIAL, report)


def test_share_limit_and_the_accepted_risk_are_drawn(figure: Figure) -> None:
    """At their places on the axis; a level without a followed bag has neither."""
    shares = [float(line.get_xdata()[0]) for line in by_gid(figure, "share")]
    assert shares == [0.0, 0.0, 25.0] * 3
    limits = [float(line.get_xdata()[0]) for line in by_gid(figure, "limit")]
    # 0 of 8: at most 1 - 0.05^(1/8) = 31 %.
    assert limits[:3] == pytest.approx([9.5, 31.2, 62.5], abs=0.05)
    assert [float(line.get_xdata()[0]) for line in by_gid(figure, "worst")] == [90.0] * 3
    assert {float(line.get_xdata()[0]) for line in by_gid(figure, "accepted")} == {20.0}


def test_numbers_of_bags_are_printed(figure: Figure) -> None:
    """How many were lost of how many, the limit, and what is still needed."""
    said = [text.get_text() for text in by_gid(figure, "said")][:4]
    assert said == [
        "0 of 30 lost\nat most 10 %: acceptable",
        "0 of 8 lost, 2 running\nat most 31 %; 6 more needed",
        "2 of 8 lost\nat most 62 %",
        "none of 8 judged yet\n8 still running",
    ]


def test_levels_look_as_in_the_curves(figure: Figure) -> None:
    """Colour and marker of a treatment are those of the other charts."""
    styles = style_treatments(TRIAL.bags)
    marks = by_gid(figure, "share")[:3]
    assert [mark.get_marker() for mark in marks] == [style.marker for style in styles.values()][:3]
    assert [mark.get_color() for mark in marks] == [style.colour for style in styles.values()][:3]


def test_letters_stand_free(figure: Figure) -> None:
    """Also with long names of supplements, one below the other."""
    check_letters(figure, SHEET_POINTS)
    name = "wheat bran pellets of the mill"
    long = make_levels(0.0, 4.0)
    report = make_risk(long, level_risk("none", 0.0), level_risk(name, 12.5))
    check_letters(_draw(long, report), SHEET_POINTS)


def test_a_control_of_two_supplements_is_counted_once() -> None:
    """It stands in the series of both: 8 + 8 + 8 bags."""
    trial = make_levels(0.0, 4.0)
    control = level_risk("none", 0.0)
    report = make_risk(trial, control, level_risk("bran", 4.0))
    (*_, bran) = report.series
    soy = replace(bran, supplement="soy hulls", levels=(control, level_risk("soy hulls", 4.0)))
    figure = _draw(trial, replace(report, series=(bran, soy)))
    assert any("24 bags" in text.get_text().replace("\n", " ") for text in texts_of(figure))


def test_interim_and_what_counts_are_said(figure: Figure) -> None:
    """In the title and in the footnote."""
    texts = " ".join(text.get_text().replace("\n", " ") for text in texts_of(figure))
    assert "hornbeam  (interim)" in texts
    assert "46 bags, of up to 2 heat runs a level" in texts
    assert "Only what people called contaminated is a loss" in texts
    assert "limit if every suspect patch were a loss" in texts
    ended = _draw(TRIAL, make_risk(TRIAL, *LEVELS[:2]))
    assert not any("interim" in text.get_text() for text in texts_of(ended))
    assert not any("every suspect patch" in text.get_text() for text in texts_of(ended))
