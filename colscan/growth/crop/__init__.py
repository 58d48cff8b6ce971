"""Harvests become yields: what each bag and each level gave, at the same flush or the same age.

Takes a trial's plan and the rows of its ledger; gives `Yields`: fresh grams per bag spawned with lost bags
counting zero, biological efficiency on both dry bases, days to pins and harvest, cost where prices are given,
and the answer in sentences. Flags nothing: what doesn't count in the comparison is counted and said.
"""

from colscan.growth.crop.levels import sum_yields
from colscan.growth.crop.model import Basis, Yields
from colscan.growth.crop.prices import Price, parse_price

__all__ = ["sum_yields", "parse_price", "Basis", "Price", "Yields"]
