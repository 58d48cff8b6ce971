"""Tables of faces: where pictures stand and what stands beside them."""

from __future__ import annotations

from dataclasses import replace

import matplotlib
import numpy as np
from answers import make_levels
from drawn import by_gid, check_letters, texts_of
from matplotlib.figure import Figure

from colscan.present.face_chart import (
    FaceCell,
    FaceLine,
    FaceSection,
    FaceTable,
    draw_face_table,
    make_face_figure,
)
from colscan.present.saving import SETTINGS
from colscan.present.sheet import SHEET_INCHES, SHEET_POINTS
from colscan.present.style import style_treatments

TRIAL = make_levels(0.0, 4.0)


def _picture(shade: int, shape: tuple[int, int] = (250, 240)) -> np.ndarray:
    return np.full((*shape, 3), shade, np.uint8)


def _table(columns: int, rows: int, *, sections: int = 1) -> FaceTable:
    """Rows of bags over days; the last cell of each row is empty."""
    lines = tuple(
        FaceLine(
            label=f"B{row:02}\nbran 4 %",
            treatment="bran 4 %",
            cells=tuple(
                FaceCell(rgb=_picture(10 * column), caption="d12 100 % ▽") if column < columns - 1 else None
                for column in range(columns)
            ),
        )
        for row in range(rows)
    )
    section = FaceSection(
        title="PO-3",
        columns=tuple(f"day {column}" for column in range(columns)),
        treatments=(None,) * columns,
        lines=lines,
    )
    return FaceTable(sections=(section,) * sections, note="8 bags. In one light.")


def _draw(table: FaceTable, *, interim: bool = False) -> Figure:
    with matplotlib.rc_context(SETTINGS):
        return make_face_figure(TRIAL, table, interim=interim)


def test_same_data_same_bytes() -> None:
    """Two runs give the same PNG and SVG."""
    table = _table(3, 2)
    one, two = (draw_face_table(TRIAL, table, interim=False) for _ in range(2))
    assert one == two
    assert b"<svg" in one.svg


def test_pictures_stand_in_their_columns() -> None:
    """In order from the left, each whole; an empty cell is white."""
    figure = _draw(_table(3, 1))
    (shown,) = figure.axes[0].images
    canvas = np.asarray(shown.get_array())
    height, width = canvas.shape[:2]
    assert height == 250
    for column, shade in ((0, 0), (1, 10), (2, 255)):
        middle = round((column + 0.5) * width / 3)
        assert canvas[height // 2, middle].tolist() == [shade] * 3
    assert (canvas == 0).all(2).sum() == 250 * 240


def test_smaller_faces_stand_on_the_foot_of_their_cell() -> None:
    """All to one scale, a small bag stays small."""
    small, large = _picture(50, (100, 120)), _picture(90)
    line = FaceLine(
        label="", treatment=None, cells=(FaceCell(rgb=small, caption="a"), FaceCell(rgb=large, caption="b"))
    )
    section = FaceSection(
        title="PO-3", columns=("none", "bran 4 %"), treatments=("none", "bran 4 %"), lines=(line,)
    )
    figure = _draw(FaceTable(sections=(section,), note="note"))
    canvas = np.asarray(figure.axes[0].images[0].get_array())
    rows, columns = np.nonzero((canvas == 50).all(2))
    assert (rows.min(), rows.max()) == (150, 249)
    assert (columns.min(), columns.max()) == (60, 179)


def test_treatments_have_their_markers() -> None:
    """Beside the labels of bags, or over the columns."""
    styles = style_treatments(TRIAL.bags)
    marks = by_gid(_draw(_table(3, 2)), "marker")
    assert [mark.get_marker() for mark in marks] == [styles["bran 4 %"].marker] * 2
    assert {mark.get_color() for mark in marks} == {styles["bran 4 %"].colour}


def test_letters_stand_free() -> None:
    """Of few, of many days and of many bags, whose pictures are smaller."""
    figures = [_draw(_table(*size), interim=True) for size in ((2, 1), (3, 2), (8, 4))]
    for figure in figures:
        check_letters(figure, SHEET_POINTS)
        assert "hornbeam  (interim)" in [text.get_text() for text in texts_of(figure)]
    widths = [figure.get_figwidth() for figure in figures]
    assert widths[:2] == [SHEET_INCHES] * 2
    assert SHEET_INCHES < widths[2] < 13
    many = _draw(_table(8, 24, sections=4))
    check_letters(many, SHEET_POINTS)
    assert many.get_figheight() < 24 * 4 * 1.4


def test_long_names_are_folded() -> None:
    """Heads of columns and captions don't reach into those beside them."""
    name = "wheat bran pellets 12.5 %"
    trial = make_levels(12.5)
    trial = replace(trial, bags=tuple(replace(bag, supplement="wheat bran pellets") for bag in trial.bags))
    cell = FaceCell(rgb=_picture(90), caption="PO3-12x5-2\nd12 100 % ▽")
    line = FaceLine(label="", treatment=None, cells=(cell,) * 6)
    section = FaceSection(title="PO-3", columns=(name,) * 6, treatments=(name,) * 6, lines=(line,) * 2)
    with matplotlib.rc_context(SETTINGS):
        figure = make_face_figure(trial, FaceTable(sections=(section,), note="note"), interim=False)
    check_letters(figure, SHEET_POINTS)
