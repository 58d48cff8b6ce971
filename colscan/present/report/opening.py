"""The first two sections: the question, and how the trial was set up."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import takewhile

from colscan.present.report.blocks import Block, Listing, Section, Table, Text
from colscan.present.report.content import ReportContent
from colscan.units import to_pct

MOST_IN_SHORT = 9
"""Sentences of each answer that stand at the top, of the comparison only those over all strains."""


def show_question(content: ReportContent) -> Section:
    """Return the question, and whether what follows is the last word on it."""
    blocks: list[Block] = [Text(text=content.trial.question or "No question is written in the plan.")]
    if content.interim:
        blocks.append(Text(text="The trial is still running: everything here is interim.", strong=True))
    # The comparison says so once more, in its first sentence.
    short = [said for said in _in_short(content) if not said.startswith("Interim")]
    blocks.append(Listing(items=tuple(short)))
    return Section(name="question", heading="The question", blocks=tuple(blocks))


def _in_short(content: ReportContent) -> Iterator[str]:
    """The answers in a few sentences; each section has all of them."""
    comparison, risk, yields = content.comparison, content.risk, content.yields
    if isinstance(comparison, str):
        yield comparison
    else:
        # As `say_contrast` begins what holds of a single strain.
        strains = tuple(f"{strain.code}, " for strain in content.trial.strains)
        single = strains if len(strains) > 1 else ()
        yield from takewhile(lambda said: not said.startswith(single), comparison.sentences[:MOST_IN_SHORT])
    if not isinstance(risk, str):
        for series in risk.overall:
            highest = series.highest.name if series.highest else "none yet"
            yield (
                f"Highest level of {series.supplement} shown to lose at most {to_pct(risk.accepted):g} % of"
                f" its bags: {highest}."
            )
    if not isinstance(yields, str) and any(one.flushes for one in yields.bags):
        yield from yields.answers[:MOST_IN_SHORT]


def show_setup(content: ReportContent) -> Section:
    """Return what was planned: limits, treatments, and a row for each bag."""
    trial = content.trial
    limits = trial.limits
    ended = trial.ended_at if trial.has_ended(content.now) else None
    facts = [
        ("time zone", trial.time_zone),
        ("planned end", trial.planned_end and f"{trial.planned_end:%Y-%m-%d}"),
        ("ended", ended and f"{ended.astimezone(trial.zone):%Y-%m-%d}"),
        ("accepted share of bags lost", f"{to_pct(limits.contamination_risk):g} %"),
        (
            "bags are followed to",
            f"day {limits.horizon:g}" if isinstance(limits.horizon, float) else limits.horizon,
        ),
        (
            "a bag is full at",
            f"{limits.full_coverage_pct:g} %, low end over {limits.ready_coverage_pct:g} %,"
            " in two photos running",
        ),
        ("drawn by lot", trial.plan or "not said in the plan"),
    ]
    strains = [(one.code, one.species, one.spawn, ", ".join(one.healthy_looks)) for one in trial.strains]
    treatments = [
        (one.name, "" if one.supplement == "none" else one.supplement_base) for one in trial.treatments
    ]
    blocks = (
        Table(
            caption="The plan",
            header=("what", "as planned"),
            rows=tuple((what, said) for what, said in facts if said),
        ),
        Table(
            caption="Strains",
            header=("strain", "species", "spawn", "looks healthy with"),
            rows=tuple(strains),
        ),
        Table(caption="Treatments", header=("supplement", "percent of"), rows=tuple(treatments)),
        *_recipe(content),
    )
    return Section(name="set-up", heading="How it was set up", blocks=blocks)


def _recipe(content: ReportContent) -> tuple[Table, ...]:
    recipe = content.trial.recipe
    if recipe is None:
        return ()
    rows = [
        *(("main substrate", text) for text in recipe.main),
        *(("supplement", text) for text in recipe.supplement),
        *(("other", text) for text in recipe.other),
        ("water", recipe.water),
        ("moisture", recipe.moisture_pct is not None and f"{recipe.moisture_pct:g} % of the wet weight"),
        ("a bag, wet", recipe.bag_wet),
        ("a bag, dry", recipe.bag_dry),
        ("spawn", recipe.spawn),
    ]
    return (
        Table(
            caption="Recipe of a bag",
            header=("part", "as planned"),
            rows=tuple((part, said) for part, said in rows if said),
        ),
    )
