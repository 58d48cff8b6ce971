"""Which batches of a plan tell what a bag got."""

from __future__ import annotations

import dataclasses

from colscan.trial.model import Bag, Trial


def hide_telling_batches(trial: Trial) -> Trial:
    """Return a plan without the batches that tell a bag's strain or treatment to who sees their names.

    A mix always does. Heat runs and spawn lots do where one of them holds bags of a single strain or
    treatment while the trial has several: then all of that column are left out, as the ones that were left
    out would tell the same.

    Parameters
    ----------
    trial : Trial
        The plan.
    """
    heat, lots = _tells(trial, "heat_run"), _tells(trial, "spawn_lot")
    bags = (
        dataclasses.replace(
            bag,
            mix_batch=None,
            heat_run=None if heat else bag.heat_run,
            spawn_lot=None if lots else bag.spawn_lot,
        )
        for bag in trial.bags
    )
    return dataclasses.replace(trial, bags=tuple(bags))


def _tells(trial: Trial, column: str) -> bool:
    spawned = [bag for bag in trial.bags if bag.role == "trial"]
    batches: dict[str, list[Bag]] = {}
    for bag in spawned:
        if name := getattr(bag, column):
            batches.setdefault(name, []).append(bag)
    return any(
        len({getattr(bag, what) for bag in bags}) == 1 < len({getattr(bag, what) for bag in spawned})
        for bags in batches.values()
        for what in ("strain", "treatment")
    )
