"""Real photographs of tags, small and oblique ones among them."""

from pathlib import Path

import numpy as np

from colscan.locate.cards import find_cards
from colscan.photo import load_rgb


def test_tags_of_real_photographs(real_photos: Path) -> None:
    """Of the 47 tags listed at least 42 are found, within half their size, and no id that isn't there."""
    folder = real_photos / "tags" / "test" / "data"
    found = listed = 0
    for path in sorted(folder.glob("*.jpg")):
        cards = find_cards(load_rgb(path, max_megapixels=10))
        assert {card.tag for card in cards} == {0}
        middles = np.array([card.corners_px.mean(0) for card in cards])
        for line in path.with_suffix(".txt").read_text().splitlines():
            corners = np.array(line.translate(str.maketrans("(),", "   ")).split()[1:], float).reshape(4, 2)
            away = np.hypot(*(middles - corners.mean(0)).T).min()
            found += bool(away < np.ptp(corners, 0).max() / 2)
            listed += 1
    assert listed == 47
    assert found >= 42
