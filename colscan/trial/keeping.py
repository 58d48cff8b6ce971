"""A recipe into a trial: its trial.toml with a block more, everything else in it as it was."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from colscan.errors import TrialError
from colscan.trial.lines import find_key_lines
from colscan.trial.model import PLAN_FILE, RecipePlan, Trial
from colscan.trial.problems import decode_plan_file, read_plan_file
from colscan.trial.reading import load_trial, parse_plan
from colscan.trial.recipe import Part
from colscan.trial.recipe_text import drop_amount, parse_ingredient
from colscan.trial.trial_recipe import recipe_of
from colscan.trial.writing import format_recipe, format_value, replace_file


def with_recipe(trial: Trial, plan: RecipePlan) -> Trial:
    """Return a trial with another recipe; its supplements lose their amounts, for the treatments say them.

    Raises
    ------
    TrialError
        When it doesn't work out at one of the treatments, or has a supplement that none of them names.
    """
    recipe = dataclasses.replace(plan, supplement=tuple(map(drop_amount, plan.supplement)))
    named = dict.fromkeys(t.supplement for t in trial.treatments if t.supplement != "none")
    for text in recipe.supplement:
        name = parse_ingredient(text, Part.SUPPLEMENT, weighed=False)[0].name
        if name not in named:
            msg = f"No treatment of the trial {trial.name} has the supplement {name!r}."
            hint = (
                f"Its supplements: {', '.join(named) or 'none'}. What every bag gets is another ingredient."
            )
            raise TrialError(msg, hint)
    changed = dataclasses.replace(trial, recipe=recipe)
    for supplement, pct in [("none", 0.0), *((t.supplement, t.supplement_pct) for t in trial.treatments)]:
        recipe_of(changed, supplement, pct)
    return changed


def keep_recipe(folder: Path, recipe: RecipePlan) -> bool:
    """Write a recipe into a trial's trial.toml, and return whether it wasn't there yet.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    recipe : RecipePlan
        As `with_recipe` gives it.

    Raises
    ------
    TrialError
        When the trial has another recipe.
    LedgerError
        When the file can't be written; it is as before.
    """
    path = folder / PLAN_FILE
    earlier = load_trial(folder).recipe
    if earlier == recipe:
        return False
    raw = read_plan_file(path)
    if earlier is not None:
        line = find_key_lines(decode_plan_file(raw, str(path)))[("recipe",)]
        there = [
            f"{name} = {format_value(value)}" if value is not None else f"no {name}"
            for name, value in dataclasses.asdict(earlier).items()
            if value != getattr(recipe, name)
        ]
        msg = f"{path}:{line}: there is another [recipe], with {', '.join(there)}"
        raise TrialError(msg, "Change that one in an editor, or take its lines out and keep this one again.")
    end = b"\r\n" if b"\r\n" in raw else b"\n"
    block = format_recipe(recipe).encode().replace(b"\n", end)
    whole = raw + (b"" if raw.endswith(b"\n") else end) + end + block + end
    parse_plan(whole, str(path))  # what load_trial would refuse must not come about
    replace_file(path.resolve(), whole)
    return True
