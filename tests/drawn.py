"""What is checked of every figure: nothing cut off, nothing over other letters, none too small."""

from __future__ import annotations

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.text import Text


def texts_of(figure: Figure) -> list[Text]:
    """All texts that can be read."""
    return [text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible()]


def by_gid(figure: Figure, gid: str) -> list[Artist]:
    """The artists of a name."""
    return figure.findobj(lambda artist: artist.get_gid() == gid)


def boxes_of(figure: Figure, artists: list) -> list:
    """Where artists stand, px; nothing is painted for it."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas = FigureCanvasAgg(figure)
    figure.draw_without_rendering()
    return [artist.get_window_extent(canvas.get_renderer()) for artist in artists]


def check_letters(figure: Figure, least_points: float) -> None:
    """Every text stands within the picture, over no other one, in letters large enough."""
    texts = texts_of(figure)
    assert min(text.get_fontsize() for text in texts) >= least_points
    boxes = boxes_of(figure, texts)
    for text, box in zip(texts, boxes, strict=True):
        within = figure.bbox.x0 <= box.x0 and box.x1 <= figure.bbox.x1
        assert within and figure.bbox.y0 <= box.y0 and box.y1 <= figure.bbox.y1, text.get_text()  # noqa: PT018
    lower, upper = np.array([box.min for box in boxes]), np.array([box.max for box in boxes])
    touch = ((lower[:, None] <= upper) & (lower <= upper[:, None])).all(2)
    pairs = np.argwhere(np.triu(touch, 1))
    assert [[texts[index].get_text() for index in pair] for pair in pairs] == []
