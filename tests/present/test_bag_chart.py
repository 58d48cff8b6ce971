"""One bag's chart: its marks and events, looked up in the figure itself."""

from __future__ import annotations

from dataclasses import replace

import pytest
from drawn import boxes_of
from hornbeam import at_day, event, make_hornbeam
from matplotlib.figure import Figure

from colscan.growth.records import records_of
from colscan.growth.series import curve_of
from colscan.present.bag_chart import NARROW_INCHES, WIDTH_INCHES, draw_bag_chart, make_bag_figure
from colscan.present.frame import LABEL_POINTS


def _figure(bag: str, *events: tuple[str, float], width_inches: float = WIDTH_INCHES) -> Figure:
    trial, ledger = make_hornbeam()
    record = next(record for record in records_of(trial, ledger) if record.bag.bag == bag)
    more = tuple(event(what, day, bag) for what, day in events)
    happened = sorted((*record.events, *more), key=lambda row: row.at)
    record = replace(record, events=tuple(happened))
    return make_bag_figure(curve_of(record, ledger), width_inches=width_inches)


def _of(figure: Figure, gid: str) -> list:
    return [artist for artist in figure.axes[0].get_children() if artist.get_gid() == gid]


def test_same_data_same_bytes() -> None:
    """Two runs give the same SVG, without a date."""
    trial, ledger = make_hornbeam()
    record = records_of(trial, ledger)[0]
    one, two = (draw_bag_chart(curve_of(record, ledger)) for _ in range(2))
    assert one == two
    assert one.startswith(b"<?xml")
    assert at_day(0).strftime("%Y").encode() not in one


def test_onsets_and_events_are_marked() -> None:
    """A patch has its mark where it was first seen; an event its label above."""
    figure = _figure("PO3-3")
    assert len(_of(figure, "mark")) == 2
    assert [text.get_text().split()[0] for text in _of(figure, "event-label")] == ["moved"]


def test_a_line_breaks_where_the_bag_was_shaken() -> None:
    """Each segment is a line of its own."""
    whole, shaken = (len(_figure(bag).axes[0].containers) for bag in ("PO3-1", "HE2-2"))
    assert (whole, shaken) == (1, 2)


def test_nothing_tells_the_treatment() -> None:
    """Two bags of different strains and levels look the same but for where their scores lie."""
    looks = [
        {(line.get_color(), line.get_marker(), line.get_linestyle()) for line in figure.axes[0].get_lines()}
        for figure in (_figure("PO3-1"), _figure("PE1-2"))
    ]
    texts = [text.get_text() for text in _figure("PE1-2").findobj(lambda it: hasattr(it, "get_text"))]
    assert looks[0] & looks[1]
    assert not any("PE-1" in text or "bran" in text for text in texts)


@pytest.mark.parametrize("width_inches", [WIDTH_INCHES, NARROW_INCHES])
def test_many_events_make_room(width_inches: float) -> None:
    """Labels of events stand in lanes of their own, inside the figure and none on another."""
    events = [(what, 5.0) for what in ("turned", "pins", "other")]
    few, many = (_figure("PO3-1", *some, width_inches=width_inches) for some in ((), events))
    assert many.get_figwidth() == width_inches
    assert many.get_figheight() > few.get_figheight()
    boxes = boxes_of(many, _of(many, "event-label"))
    assert max(box.y1 for box in boxes) <= many.bbox.height
    assert max(box.x1 for box in boxes) <= many.bbox.width
    assert not any(one.overlaps(two) for i, one in enumerate(boxes) for two in boxes[i + 1 :])


@pytest.mark.parametrize("bag", ["PO3-1", "PE1-3"])
def test_letters_can_be_read(bag: str) -> None:
    """None is smaller than those of other charts."""
    shown = _figure(bag).findobj(lambda it: hasattr(it, "get_fontsize") and it.get_text())
    assert min(text.get_fontsize() for text in shown) >= LABEL_POINTS
