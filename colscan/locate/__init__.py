"""Takes a photo's pixels and gives the bags in it: card, face, what is hidden, neutral reference.

`find_cards` reads the tags; `locate_bags` gives a view of each bag whose card stands once in the photo.
`propose_faces` finds all blocks, with cards or without; `view_without_card` makes a view of one.
May flag a view `no-reference`, `reference-clipped`, `face-unsure` or `cut-off`.
Nothing here knows what a bag looked like before.
"""

from colscan.locate.bags import locate_bags
from colscan.locate.cards import find_cards
from colscan.locate.propose import Proposal, propose_faces
from colscan.locate.standin import stand_in_references
from colscan.locate.turn import turned_points
from colscan.locate.uncarded import view_without_card

__all__ = [
    "Proposal",
    "find_cards",
    "locate_bags",
    "propose_faces",
    "stand_in_references",
    "turned_points",
    "view_without_card",
]
