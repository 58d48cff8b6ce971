"""A first look at a photo, while its taker still stands there: which cards it shows, and how large."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from colscan.app.told import tell_tag_size
from colscan.locate import find_cards
from colscan.photo import load_rgb
from colscan.trial.model import SHELF_TAGS, Trial
from colscan.units import count_of


@dataclass(frozen=True, slots=True, kw_only=True)
class CardsSeen:
    """The cards in a photo.

    Parameters
    ----------
    seen, unseen : tuple of str
        The trial's bags whose card it shows, and those whose it doesn't.
    strangers : tuple of int
        Tags of no bag of this trial.
    smallest_px : float or None
        The side of the smallest of the trial's tags; None when it shows none.
    """

    seen: tuple[str, ...]
    unseen: tuple[str, ...]
    strangers: tuple[int, ...]
    smallest_px: float | None

    @property
    def lines(self) -> tuple[str, ...]:
        """What to know of it at once."""
        return tuple(self._tell())

    def _tell(self) -> Iterator[str]:
        with_card = len(self.seen) + len(self.unseen)
        if with_card:
            yield f"cards found: {len(self.seen)} of {count_of(with_card, 'bag')}"
        if self.unseen:
            yield f"no card seen of: {', '.join(self.unseen)}"
        if self.strangers:
            yield f"tags of no bag of this trial: {', '.join(map(str, self.strangers))}"
        yield from tell_tag_size(self.smallest_px)


def see_cards(path: Path, trial: Trial) -> CardsSeen:
    """Return the cards in a photo; about a second for one of 12 megapixels.

    Parameters
    ----------
    path : Path
        The photo.
    trial : Trial
        The plan.

    Raises
    ------
    PhotoError
        When it can't be read.
    """
    cards = find_cards(load_rgb(path, max_megapixels=trial.limits.max_photo_megapixels))
    bags = {bag.tag: bag.bag for bag in trial.bags if bag.tag is not None}
    found = {card.tag for card in cards}
    sides_px = [_side_px(card.corners_px) for card in cards if card.tag in bags]
    return CardsSeen(
        seen=tuple(code for tag, code in bags.items() if tag in found),
        unseen=tuple(code for tag, code in bags.items() if tag not in found),
        strangers=tuple(sorted(found - bags.keys() - set(SHELF_TAGS))),
        smallest_px=min(sides_px, default=None),
    )


def _side_px(corners_px: np.ndarray) -> float:
    return float(np.linalg.norm(corners_px - np.roll(corners_px, 1, axis=0), axis=1).mean())
