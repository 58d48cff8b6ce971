"""Scores become curves, and curves become what to do with each bag today.

Takes a trial's plan and the committed rows of its ledger; reads and writes no file. Gives each bag's series
of scores, what a chart marks on it, its status with an advice and the reason, and its biological efficiency.
Flags nothing: it passes on the flags of the scores, and says `look` where they need a person.
"""

from colscan.growth.efficiency import biological_efficiency_pct, find_dry_substrate
from colscan.growth.judge import judge_bags
from colscan.growth.series import curves_of, series_of

__all__ = ["judge_bags", "series_of", "curves_of", "biological_efficiency_pct", "find_dry_substrate"]
