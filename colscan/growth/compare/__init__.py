"""Treatments held against each other: who is sooner, by how many days, and whether it can be chance.

Takes a trial's plan, the committed rows of its ledger and its bags' curves; reads no file. Gives a
`Comparison`: times between photos, what became of all bags spawned day by day, effects with intervals, tests
by exchanging labels, and the answer in sentences. Flags nothing: what can't be told apart is said instead.
"""

from colscan.growth.compare.comparing import compare
from colscan.growth.compare.model import ALL_STRAINS, Comparison

__all__ = ["compare", "Comparison", "ALL_STRAINS"]
