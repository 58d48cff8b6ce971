"""What surrounds a lost bag: neighbours by the plan or the photo, batches, and the pattern."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hornbeam import at_day, event, make_bag, make_trial, score, verdict

from colscan.errors import TrialError
from colscan.growth.model import Advice
from colscan.growth.surroundings import PlacedBy, Surroundings, surroundings
from colscan.ledger import Ledger
from colscan.ledger.columns import ScoreRow
from colscan.trial.model import Shelf, Trial

NOW = at_day(9.5)


def rack() -> Trial:
    """Nine bags on three tiers of three places; B5 stands in the middle, B9's place is taken away."""
    bags = [
        make_bag(f"B{tier * 3 + place + 1}", shelf="A", position=f"tier {tier + 1} place {place + 1}")
        for tier in range(3)
        for place in range(3)
    ]
    bags[-1] = replace(bags[-1], position=None)
    return make_trial(*bags, shelves=(Shelf(name="A", tiers=3),))


def beside(found: Surroundings) -> dict[str, str]:
    """The neighbours' codes by side."""
    return {one.side: one.status.bag for one in found.neighbours}


def face(bag: str, x: float, y: float) -> ScoreRow:
    """A score whose face has its middle at a place in the photo of day 9."""
    return score(bag, 9, 50.0, outline=((x - 5, y - 8), (x + 5, y - 8), (x + 5, y + 8), (x - 5, y + 8)))


def runs(losses: dict[str, int]) -> tuple[Trial, Ledger]:
    """Three heat runs of eight bags alike; the first of each are lost."""
    bags, calls = [], []
    for run in ("1", "2", "3"):
        for at in range(8):
            bags.append(make_bag(f"R{run}-{at}", heat_run=run))
            if at < losses.get(run, 0):
                calls.append(verdict(f"R{run}-{at}", 8, "contaminated"))
    return make_trial(*bags), Ledger(verdicts=tuple(calls))


def test_neighbours_by_the_plan() -> None:
    """One on each side, tier 1 at the top; with their states."""
    ledger = Ledger(
        scores=(score("B4", 9, 50.0),),
        verdicts=(verdict("B5", 9, "contaminated"),),
        events=(event("discarded", 9, "B8"),),
    )
    found = surroundings(rack(), ledger, "B5", NOW)
    assert found.placed_by is PlacedBy.PLAN
    assert beside(found) == {"left": "B4", "right": "B6", "above": "B2", "below": "B8"}
    assert [one.status.advice for one in found.neighbours][-1] is Advice.DISCARDED
    assert found.neighbours[0].status.coverage == 0.5


def test_at_the_edge_and_beyond_an_empty_place() -> None:
    """A corner has two neighbours; a gap on a tier is looked across."""
    trial = rack()
    assert beside(surroundings(trial, Ledger(), "B1", NOW)) == {"right": "B2", "below": "B4"}
    thin = replace(trial, bags=tuple(bag for bag in trial.bags if bag.bag not in ("B2", "B4")))
    assert beside(surroundings(thin, Ledger(), "B1", NOW)) == {"right": "B3", "below": "B7"}


def test_neighbours_in_the_photo_where_the_plan_has_no_place() -> None:
    """The nearest middle of a face in each direction, in the bag's own latest photo."""
    faces = (
        face("B9", 50, 50),
        face("B1", 30, 52),
        face("B2", 10, 50),
        face("B3", 72, 45),
        face("B4", 55, 90),
    )
    elsewhere = score("B5", 8, 50.0, outline=((49.0, 9.0), (51.0, 9.0), (51.0, 11.0)))
    found = surroundings(rack(), Ledger(scores=(elsewhere, *faces)), "B9", NOW)
    assert found.placed_by is PlacedBy.PHOTO
    assert beside(found) == {"left": "B1", "right": "B3", "below": "B4"}


def test_a_bag_that_was_moved_has_left_its_place() -> None:
    """Its own plan counts no more, nor does it stand beside others; without a photo nothing is known."""
    ledger = Ledger(events=(event("moved", 5, "B5"),))
    found = surroundings(rack(), ledger, "B5", NOW)
    assert (found.placed_by, found.neighbours) == (None, ())
    assert beside(surroundings(rack(), ledger, "B4", NOW)) == {"right": "B6", "above": "B1", "below": "B7"}


def test_a_photo_from_before_a_bag_was_moved_counts_no_more() -> None:
    """Neither the bag's own place in it nor that of another."""
    scores = (face("B9", 50, 50), face("B1", 30, 50), face("B3", 70, 50))
    moved = Ledger(scores=scores, events=(event("moved", 9.2, "B1"), event("moved", 8.5, "B3")))
    assert beside(surroundings(rack(), moved, "B9", NOW)) == {"right": "B3"}
    found = surroundings(rack(), replace(moved, events=(event("moved", 9.2, "B9"),)), "B9", NOW)
    assert (found.placed_by, found.neighbours) == (None, ())


def test_bags_of_the_same_batches() -> None:
    """The others of its heat run, mix and lot, as far as bags.csv names them; itself not."""
    trial = make_trial(
        make_bag("A", heat_run="H1", mix_batch="M1"),
        make_bag("B", heat_run="H1", mix_batch="M2"),
        make_bag("C", heat_run="H2", mix_batch="M1"),
    )
    found = surroundings(trial, Ledger(), "A", NOW)
    named = [(b.kind, b.name, [one.bag for one in b.statuses]) for b in found.batches]
    assert named == [("heat run", "H1", ["B"]), ("mix", "M1", ["C"])]


def test_a_pattern_is_stated_with_its_numbers() -> None:
    """3 of the 4 other losses among 7 of the 23 other bags: 595 of 8855 ways, 7 %, less than one in ten."""
    trial, ledger = runs({"1": 1, "2": 4})
    found = surroundings(trial, ledger, "R2-0", NOW)
    assert found.losses == 5
    assert found.pattern == "4 of 5 losses from heat run 2, which holds 8 of 24 bags."
    assert surroundings(trial, ledger, "R1-0", NOW).pattern == "No pattern in 5 losses."


def test_what_chance_would_do_is_no_pattern() -> None:
    """3 of 5 from one of three runs happen by chance; so does one loss, whatever it shares."""
    trial, ledger = runs({"1": 1, "2": 3, "3": 1})
    assert surroundings(trial, ledger, "R2-0", NOW).pattern == "No pattern in 5 losses."
    trial, ledger = runs({"2": 1})
    assert surroundings(trial, ledger, "R2-0", NOW).pattern == "No pattern in 1 loss."


def test_the_bag_itself_counts_before_its_verdict() -> None:
    """What is about to be called is one of the losses."""
    trial, ledger = runs({"1": 1, "2": 3})
    found = surroundings(trial, ledger, "R2-7", NOW)
    assert found.losses == 5
    assert found.pattern == "4 of 5 losses from heat run 2, which holds 8 of 24 bags."


def test_groups_of_the_same_bags_are_one() -> None:
    """A mix that is the heat run adds nothing to look at; an independent lot does, and costs the claim."""
    trial, ledger = runs({"1": 1, "2": 4})
    mixed = replace(trial, bags=tuple(replace(bag, mix_batch=f"M{bag.heat_run}") for bag in trial.bags))
    assert surroundings(mixed, ledger, "R2-0", NOW).pattern == (
        "4 of 5 losses from heat run 2 (the same bags as mix M2), which holds 8 of 24 bags."
    )
    lots = replace(
        trial, bags=tuple(replace(bag, spawn_lot="ab"[int(bag.bag[-1]) % 2]) for bag in trial.bags)
    )
    assert surroundings(lots, ledger, "R2-0", NOW).pattern == "No pattern in 5 losses."


def test_a_run_of_the_high_levels_is_no_pattern() -> None:
    """Losses that strain and level explain alone aren't laid at the run's door."""
    trial, ledger = runs({"2": 6})
    levels = {"1": 0.0, "2": 8.0, "3": 4.0}
    bags = tuple(replace(bag, supplement_pct=levels[bag.heat_run or ""]) for bag in trial.bags)
    assert surroundings(replace(trial, bags=bags), ledger, "R2-0", NOW).pattern == "No pattern in 6 losses."


def test_nothing_that_differs_is_said() -> None:
    """Without runs, mixes, lots and places there is nothing that losses could share."""
    trial = make_trial(make_bag("A"), make_bag("B"))
    ledger = Ledger(verdicts=(verdict("B", 8, "contaminated"),))
    assert surroundings(trial, ledger, "A", NOW).pattern == (
        "No pattern in 2 losses: bags.csv names no run, mix, lot, shelf or tier that differs."
    )


def test_an_unknown_bag_is_refused() -> None:
    """It says which."""
    with pytest.raises(TrialError, match="no bag 'X'"):
        surroundings(rack(), Ledger(), "X", NOW)
