"""Deviations from the plan, told as facts."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hornbeam import START, at_day, event, make_bag, make_hornbeam, make_trial, photo, score, verdict

from colscan.growth import outcomes_of
from colscan.growth.deviations import About, find_deviations
from colscan.ledger import Ledger
from colscan.ledger.columns import BatchRow, EventRow, HeatRunRow
from colscan.trial.model import RecipePlan, Trial

LATER = at_day(100)


def texts(trial: Trial, ledger: Ledger, about: About, now: datetime = LATER) -> list[str]:
    """What is told about one thing."""
    found = find_deviations(trial, ledger, outcomes_of(trial, ledger), now)
    return [one.text for one in found if one.about is about]


def batch(mix: str, ingredient: str, grams: float, **other: object) -> BatchRow:
    """What was weighed into a mix."""
    return BatchRow(**{"mix_batch": mix, "at": START, "ingredient": ingredient, "weight_g": grams, **other})


def test_a_trial_as_planned_says_nothing() -> None:
    """One bag, photographed daily until full, nothing shared: no deviation."""
    trial = make_trial(make_bag("B1"))
    days = [0.1, 1.1, 2.1, 3.1]
    ledger = Ledger(
        photos=tuple(photo(day) for day in days),
        scores=tuple(score("B1", day, pct) for day, pct in zip(days, (0, 40, 99, 99.5), strict=True)),
    )
    assert find_deviations(trial, ledger, outcomes_of(trial, ledger), LATER) == ()


def test_heat_runs() -> None:
    """Runs that were not planned, planned ones without record, and in what recorded ones differ."""
    trial = make_trial(make_bag("B1", heat_run="H1"), make_bag("B2", heat_run="H2"))
    assert texts(trial, Ledger(), About.HEAT) == ["How the heat runs went was not recorded (H1, H2)."]
    runs = (
        HeatRunRow(heat_run="H1", started_at=START, core_celsius=95.0, method="steam"),
        HeatRunRow(heat_run="H3", started_at=START, core_celsius=88.0, method="pressure"),
    )
    assert texts(trial, Ledger(heat_runs=runs), About.HEAT) == [
        "Heat run H3 was recorded and is in no bag's plan.",
        "Of these heat runs nothing was recorded: H2.",
        "Core temperatures differ: H1 95 C, H3 88 C.",
        "Methods differ: H1 steam, H3 pressure.",
    ]


def test_weights_are_held_against_the_recipe() -> None:
    """A recipe of 1 kg pellets and 1 kg water a bag, two bags of a mix: off by over 2 % is told."""
    plan = RecipePlan(main=("pellets, 1 kg, moisture 0%",), water="1 kg")
    bags = [make_bag(code, level=0.0, mix_batch="M1") for code in ("B1", "B2")]
    trial = make_trial(*bags, recipe=plan)
    good = (batch("M1", "pellets", 2030), batch("M1", "water", 1970))
    assert texts(trial, Ledger(batches=good), About.MIX) == []
    off = (
        batch("M1", "pellets", 1500, lot="A"), batch("M1", "pellets", 600, lot="B"), batch("M1", "lime", 20),
        batch("M9", "pellets", 1000),
    )  # fmt: skip
    assert texts(trial, Ledger(batches=off), About.MIX) == [
        "Mix M9 was weighed and is in no bag's plan.",
        "Mix M1: pellets 2100 g, +5.0 % against the recipe's 2000 g for 2 bags.",
        "Mix M1: lime, 20 g, is not in the recipe.",
        "Mix M1: of water no weight was recorded.",
        "pellets came from more than one lot: A (M1), B (M1).",
    ]


def test_water_that_the_recipe_does_without() -> None:
    """Not so many percent more than nothing."""
    plan = RecipePlan(main=("straw, 1 kg, moisture 65%",), water="0 kg")
    trial = make_trial(make_bag("B1", level=0.0, mix_batch="M1"), recipe=plan)
    rows = (batch("M1", "straw", 1000), batch("M1", "water", 50))
    assert texts(trial, Ledger(batches=rows), About.MIX) == ["Mix M1: water, 50 g, is not in the recipe."]
    assert texts(trial, Ledger(batches=rows[:1]), About.MIX) == []


def test_late_spawning_and_its_order() -> None:
    """Bags spawned hours after the first, against the drawn order."""
    late = START + timedelta(hours=30)
    trial = make_trial(
        make_bag("B1", spawn_order=2),
        make_bag("B2", spawn_order=1, inoculated_at=late),
        make_bag("B3", spawn_order=3),
    )
    assert texts(trial, Ledger(), About.SPAWNING) == [
        "Bags were spawned over 30 hours: B2 later than the first by more than 6 hours. Each bag's days count"
        " from its own spawning.",
        "They were not spawned in the planned order.",
    ]


def test_bags_photos_and_places() -> None:
    """The made-up trial: a discarded bag, open ones, a room moved, three days between photos."""
    trial, ledger = make_hornbeam()
    bags = texts(trial, ledger, About.BAGS)
    assert bags[0] == "Discarded: PE1-3 on day 10.0."
    assert "were neither full nor lost when last measured, on day 15.1" in bags[1]
    found_again = replace(
        ledger,
        events=(event("missing", 4.0, "PO3-1"),),
        verdicts=(verdict("PO3-2", 5, "unsure", action="discarded"),),
    )
    assert texts(trial, found_again, About.BAGS)[0] == "Discarded: PO3-2 on day 5.0."
    assert texts(trial, ledger, About.PLACE) == [f"Moved: the room's bags on {at_day(3.5).date()}."]
    # Two in the morning UTC is the evening before in New York.
    late = EventRow(at=datetime(2026, 3, 10, 2, tzinfo=UTC), scope="room", what="moved")
    assert texts(trial, replace(ledger, events=(late,)), About.PLACE) == [
        "Moved: the room's bags on 2026-03-09."
    ]
    moved = EventRow(at=at_day(2.0), scope="bag", name="PO3-1", what="moved", detail="B")
    assert texts(trial, replace(ledger, events=(moved,)), About.PLACE) == ["Moved: PO3-1 to B on day 2.0."]
    assert texts(trial, ledger, About.PHOTOS) == [
        "Photos were taken on 6 of 16 days; the longest time without one was 3 days. What came between two"
        " photos is known to lie between them, no closer."
    ]


def test_unmeasured_bags_and_several_methods() -> None:
    """A bag that no photo could measure, one that one couldn't, and scores of two methods."""
    trial = make_trial(make_bag("B1"), make_bag("B2"))
    rows = (score("B1", 1.1, 10), score("B1", 1.2, None), score("B2", 1.1, None, method="test-2"))
    assert texts(trial, Ledger(scores=rows), About.PHOTOS) == [
        "Never measured in any photo: B2.",
        "Seen and not measurable, times: B1 1, B2 1.",
        "Scores were made by more than one version of the method: test-1, test-2.",
    ]


def test_the_end() -> None:
    """A trial that ended five days before it was planned to; a day's fraction says nothing."""
    trial = make_trial(make_bag("B1"), planned_end=at_day(30), ended_at=at_day(25))
    assert texts(trial, Ledger(), About.END) == ["The trial ended 5 days earlier than planned."]
    assert texts(replace(trial, ended_at=at_day(30.5)), Ledger(), About.END) == []
    assert texts(trial, Ledger(), About.END, now=at_day(24)) == []
    (late,) = texts(replace(trial, ended_at=at_day(31.2)), Ledger(), About.END)
    assert late == "The trial ended 1 day later than planned."


def test_missing_bags() -> None:
    """Each kind of leaving is a sentence of its own."""
    trial = make_trial(make_bag("B1"), make_bag("B2"))
    ledger = Ledger(events=(event("missing", 3.0, "B1"), event("retired", 4.0, "B2")))
    assert texts(trial, ledger, About.BAGS)[:2] == ["Missing: B1 on day 3.0.", "Retired: B2 on day 4.0."]
