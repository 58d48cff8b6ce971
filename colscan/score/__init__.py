"""Takes views of one photo's bags and their baselines, gives coverage, density, unseen, suspect patches.

`make_baseline` says how a bag looked before anything grew, `measure_views` what a photo shows of its
bags (it depends on the photo and the baselines alone), `remember` turns that and what was known before
into a score, photo by photo in order of time. Of photos of the same minutes `prepare_slim` and
`measure_burst` make one. `share_reference` gives a photo's views one colour of light.
May flag `no-baseline late-baseline glare part-hidden blurred too-small unmeasured fell`, a patch `expected`.
"""

from colscan.score.baseline import make_baseline
from colscan.score.combine import measure_burst, prepare_slim
from colscan.score.first import judge_first
from colscan.score.late import make_late_baselines
from colscan.score.measure import measure_views
from colscan.score.reference import share_reference
from colscan.score.remember import remember

METHOD = "veil-9"
"""Name and version of the method; rows of the ledger carry it."""

__all__ = [
    "judge_first",
    "make_baseline",
    "make_late_baselines",
    "measure_burst",
    "measure_views",
    "prepare_slim",
    "share_reference",
    "remember",
    "METHOD",
]
