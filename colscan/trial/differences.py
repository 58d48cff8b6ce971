"""What is other in a trial than in the one that it was begun from, line by line."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any

from colscan.trial.model import PLAN_FILE, Bag, Trial
from colscan.trial.siblings import LiveTag

PAST = {
    "heat_run": "heat runs",
    "mix_batch": "mixes",
    "spawn_lot": "spawn lots",
    "spawn_order": "spawning order",
    "fill_wet_g": "weights",
    "dry_g": "weights",
    "spawn_g": "weights",
    "note": "notes",
}
"""Columns of what a bag went through, and what they are called: another trial has its own."""

_DESIGN = {
    "shelf": "bags' shelves",
    "group": "groups",
    "position": "places",
    "spawn_method": "spawn methods",
}


def say_differences(earlier: Trial, trial: Trial, live: Sequence[LiveTag]) -> list[str]:
    """Return a line for what is the same, and one for each thing that isn't.

    Parameters
    ----------
    earlier, trial : Trial
        The two plans.
    live : sequence of LiveTag
        Tags in use in the siblings of the second.
    """
    return [
        f"as in {earlier.name!r}: {', '.join(_same(earlier, trial))}",
        *_say("time zone", earlier.time_zone, trial.time_zone),
        *_say("strains", *(_listed(s.code for s in of.strains) for of in (earlier, trial))),
        *_say("treatments", *(_listed(_treatments(of)) for of in (earlier, trial))),
        *_say("percent of", *(_listed(t.supplement_base for t in of.treatments) for of in (earlier, trial))),
        *_say("bags of each", *(_replicates(of.bags) for of in (earlier, trial))),
        *_say("bags", len(earlier.bags), len(trial.bags)),
        *_say("blanks", *(sum(bag.role == "blank" for bag in of.bags) for of in (earlier, trial))),
        *_say("inoculated_at", *(_days_0(of.bags) for of in (earlier, trial))),
        *_say("planned_end", *(_minutes(of.planned_end) for of in (earlier, trial))),
        *_say_lost(earlier.bags, trial.bags),
        *_say_tags(earlier.bags, trial.bags, live),
    ]


def _same(earlier: Trial, trial: Trial) -> list[str]:
    names = [f.name for f in dataclasses.fields(Trial) if f.name not in ("name", "plan", "bags")]
    values = [(name, getattr(earlier, name), getattr(trial, name)) for name in names]
    same = [name.replace("_", " ") for name, old, new in values if new and _is_same(old, new)]
    columns = [
        (what, _column(earlier.bags, name), _column(trial.bags, name)) for name, what in _DESIGN.items()
    ]
    return same + [what for what, old, new in columns if old == new and any(new)]


def _is_same(old: Any, new: Any) -> bool:
    return set(old) == set(new) if isinstance(new, tuple) else bool(old == new)


def _column(bags: Iterable[Bag], name: str) -> list[Any]:
    """Return a column's cells; a default says nothing."""
    default = next(f.default for f in dataclasses.fields(Bag) if f.name == name)
    return [None if (value := getattr(bag, name)) == default else value for bag in bags]


def _say(what: str, before: object, now: object) -> list[str]:
    return [] if before == now else [f"{what}: {before} -> {now}"]


def _listed(words: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(words))


def _treatments(trial: Trial) -> list[str]:
    levels = sorted(trial.treatments, key=lambda t: (t.supplement, t.supplement_pct))
    return [
        t.supplement if t.supplement == "none" else f"{t.supplement} {t.supplement_pct:g} %" for t in levels
    ]


def _replicates(bags: Sequence[Bag]) -> str:
    counts = Counter((b.strain, b.supplement, b.supplement_pct) for b in bags if b.role == "trial").values()
    return _span(min(counts, default=0), max(counts, default=0), " to ")


def _days_0(bags: Sequence[Bag]) -> str:
    times = sorted(bag.inoculated_at for bag in bags)
    return _span(_minutes(times[0]), _minutes(times[-1]), " to ")


def _minutes(time: datetime | None) -> str:
    return "not set" if time is None else time.isoformat(timespec="minutes")


def _span(first: object, last: object, between: str) -> str:
    return f"{first}" if first == last else f"{first}{between}{last}"


def _say_lost(before: Sequence[Bag], now: Sequence[Bag]) -> list[str]:
    lost = [
        what
        for name, what in (_DESIGN | PAST).items()
        if any(_column(before, name)) and not any(_column(now, name))
    ]
    return [f"not taken over: {_listed(lost)}"] if lost else []


def _say_tags(before: Sequence[Bag], now: Sequence[Bag], live: Sequence[LiveTag]) -> list[str]:
    old = {bag.tag for bag in before if bag.tag is not None}
    tagged = {bag.tag: bag.bag for bag in now if bag.tag is not None}
    if not tagged:
        return []
    codes = list(tagged.values())
    said = f"tags: {_span(codes[0], codes[-1], ' to ')} have {_spans(tagged)}"
    in_use = [tag for tag in live if tag.tag in old and tag.tag not in tagged]
    if not in_use:
        return [f"{said}, as before; the cards show the old date" if set(tagged) == old else said]
    trials = _listed(repr(tag.trial) for tag in in_use)
    plans = _listed(str(tag.folder / PLAN_FILE) for tag in in_use)
    used = _spans(tag.tag for tag in in_use)
    return [f"{said}; in use in {trials}: {used}, until ended_at is set in {plans}"]


def _spans(numbers: Iterable[int]) -> str:
    """Return numbers as stretches, e.g. ``1-3, 7``."""
    ordered = sorted(set(numbers))
    breaks = [i for i, (a, b) in enumerate(pairwise(ordered), start=1) if b != a + 1]
    stretches = [ordered[i:j] for i, j in zip([0, *breaks], [*breaks, len(ordered)], strict=True)]
    return ", ".join(_span(part[0], part[-1], "-") for part in stretches)
