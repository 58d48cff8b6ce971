"""What was planned: bags, treatments, shelves and limits, from a trial's trial.toml and bags.csv.

Takes a trial's folder and gives a `Trial`, whole and checked (`load_trial`); makes such a folder
from a few numbers or a grower's bag list (`create_trial`), from an earlier trial (`begin_next`), or
with its bags drawn by lot (`draw_plan`, `write_plan`) and what that can't tell apart (`find_confounded`);
loads all trials of a farm (`load_farm`) and tells which tags are in use beside one (`sibling_tags`).
`recipe` is the arithmetic of what is weighed into a bag, `trial_recipe` that of a trial at each treatment,
`mixes` a day's work by heat run, `shelfplan` where bags stand, `power` what bags can show. Flags nothing:
a plan that is not understood is refused with file, line and value.
"""

from colscan.trial.confounding import find_confounded
from colscan.trial.creating import NewTrial, create_trial
from colscan.trial.farm import FarmTrial, load_farm
from colscan.trial.layout import Layout
from colscan.trial.next_trial import Changes, begin_next
from colscan.trial.planning import Scheme
from colscan.trial.reading import find_trials, load_trial
from colscan.trial.replanning import About, check_free, draw_plan, write_plan
from colscan.trial.siblings import LiveTag, sibling_tags

__all__ = [
    "load_trial",
    "load_farm",
    "find_trials",
    "create_trial",
    "begin_next",
    "draw_plan",
    "write_plan",
    "check_free",
    "About",
    "find_confounded",
    "sibling_tags",
    "FarmTrial",
    "Changes",
    "Layout",
    "Scheme",
    "NewTrial",
    "LiveTag",
]
