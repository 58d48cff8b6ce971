"""Scores become curves, and curves become what to do with each bag today.

Takes a trial's plan and the committed rows of its ledger; reads and writes no file. Gives what a chart shows
of each bag, its status with an advice and the reason, what became of it, and its biological efficiency.
Flags nothing: it passes on the flags of the scores, and says `look` where they need a person.
"""

from colscan.growth.efficiency import biological_efficiency_pct, find_dry_substrate
from colscan.growth.judge import judge_bags
from colscan.growth.outcomes import outcomes_of
from colscan.growth.series import curves_of

__all__ = [
    "judge_bags",
    "curves_of",
    "outcomes_of",
    "biological_efficiency_pct",
    "find_dry_substrate",
]
