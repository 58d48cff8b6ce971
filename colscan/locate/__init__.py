"""Takes a photo's pixels and gives the bags in it: card, face, what is hidden, neutral reference.

`find_cards` reads the tags; `locate_bags` gives a view of each bag whose card stands once in the photo.
May flag a view `no-reference`, `reference-clipped`, `face-unsure` or `cut-off`.
Bags without a card of their own are not looked for; nothing here knows what a bag looked like before.
"""

from colscan.locate.bags import locate_bags
from colscan.locate.cards import find_cards
from colscan.locate.turn import turned_points

__all__ = ["locate_bags", "find_cards", "turned_points"]
