"""Takes a photo's pixels and gives the bags in it: card, face, what is hidden, neutral reference.

`find_cards` reads the tags; `locate_bags` gives a view of each bag whose card stands once in the photo, and
of those without one that stand where a map of their shelf (`map_shelf`) has them; `find_shown` proposes such.
`find_practice` squares up the drawn faces of practice sheets.
May flag a view `no-reference`, `reference-clipped`, `face-unsure`, `cut-off` or `card-and-place-disagree`.
Nothing here knows what a bag looked like before.
"""

from colscan.locate.cards import find_cards
from colscan.locate.model import Points
from colscan.locate.practice import find_practice
from colscan.locate.shelf import MappedShelf, map_shelf
from colscan.locate.sight import find_shown, locate_bags
from colscan.locate.turn import turned_points

__all__ = [
    "locate_bags", "find_cards", "find_shown", "find_practice", "map_shelf", "MappedShelf", "Points",
    "turned_points",
]  # fmt: skip
