"""Heat runs, their mixes, and the order of spawning, from a plan."""

from __future__ import annotations

import pytest
from hornbeam import make_bag, make_trial

from colscan.trial.mixes import list_heat_runs, natural_key, sum_spawn
from colscan.trial.model import RecipePlan, Treatment, Trial

RECIPE = RecipePlan(main=("pellets, 1 kg",), supplement=("bran",), water="1 l", spawn="10% of wet")


def plan(**other: object) -> Trial:
    """Two heat runs and a bag without; mix M2 goes into both, one blank."""
    return make_trial(
        make_bag("B10", mix_batch="M2", heat_run="H2", spawn_order=4),
        make_bag("B9", mix_batch="M2", heat_run="H10", spawn_order=5, spawn_lot="a"),
        make_bag("B3", mix_batch="M1", heat_run="H2", spawn_order=2, level=8.0, strain="PE-1"),
        make_bag("B2", mix_batch="M2", heat_run="H2", role="blank", strain="none"),
        make_bag("B1", mix_batch="M2", heat_run="H2", spawn_order=3),
        make_bag("B4"),
        **other,
    )


def test_every_bag_is_in_one_run_and_mix() -> None:
    """Runs and mixes by name as people count, those without a name last, blanks last in their mix."""
    runs = list_heat_runs(plan())
    assert [run.name for run in runs] == ["H2", "H10", None]
    assert [[(mix.name, [bag.bag for bag in mix.bags]) for mix in run.mixes] for run in runs] == [
        [("M1", ["B3"]), ("M2", ["B10", "B1", "B2"])],
        [("M2", ["B9"])],
        [(None, ["B4"])],
    ]


def test_a_mix_of_two_runs_is_made_once() -> None:
    """It fills its bags of both runs; bags without a mix are of no other."""
    runs = list_heat_runs(plan())
    assert [(mix.name, mix.elsewhere, mix.filled) for run in runs for mix in run.mixes] == [
        ("M1", 0, 1), ("M2", 1, 4), ("M2", 3, 4), (None, 0, 1),
    ]  # fmt: skip


def test_two_levels_under_one_name_are_two_mixes() -> None:
    """A mix has one treatment: what is weighed differs."""
    trial = make_trial(make_bag("B1", mix_batch="M1"), make_bag("B2", mix_batch="M1", level=8.0))
    (run,) = list_heat_runs(trial)
    assert [(mix.name, mix.treatment.supplement_pct) for mix in run.mixes] == [("M1", 4.0), ("M1", 8.0)]


def test_levels_under_no_name_go_by_their_size() -> None:
    """4 % before 10 %: levels are numbers."""
    (run,) = list_heat_runs(make_trial(*(make_bag(f"B{pct}", level=float(pct)) for pct in (10, 4, 0))))
    assert [mix.treatment.supplement_pct for mix in run.mixes] == [0, 4, 10]


def test_spawning_goes_by_order_without_blanks() -> None:
    """In the order planned over all mixes of the run; blanks apart."""
    run = list_heat_runs(plan())[0]
    assert [one.bag.bag for one in run.spawned] == ["B3", "B1", "B10"]
    assert [bag.bag for bag in run.blanks] == ["B2"]


def test_spawn_to_have_ready() -> None:
    """By hand: 1000 g pellets, 40 or 80 g bran, 998.2 g water; a tenth of the wet mix, bag by bag."""
    runs = list_heat_runs(plan(recipe=RECIPE))
    needs = {(need.strain, need.lot): need for run in runs[:2] for need in sum_spawn(run.spawned)}
    assert {kind: need.bags for kind, need in needs.items()} == {
        ("PE-1", None): 1, ("PO-3", None): 2, ("PO-3", "a"): 1,
    }  # fmt: skip
    assert needs["PE-1", None].weight_g == pytest.approx(207.82)
    assert needs["PO-3", None].weight_g == pytest.approx(2 * 203.82)
    assert [need.weight_g for need in sum_spawn(list_heat_runs(plan())[0].spawned)] == [None, None]


def test_the_level_s_base_is_the_treatment_s() -> None:
    """As trial.toml says it, for the sheet to show."""
    base = "all dry matter, oven-dry"
    treatment = Treatment(supplement="bran", supplement_pct=4.0, supplement_base=base)
    (run,) = list_heat_runs(make_trial(make_bag("B1"), treatments=(treatment,)))
    assert run.mixes[0].treatment.supplement_base == base


def test_names_sort_as_people_count() -> None:
    """H2 before H10, letters apart from figures."""
    assert sorted(["H10", "H2", "a", "H", "2"], key=natural_key) == ["2", "H", "H2", "H10", "a"]
    assert sorted(["M" + "9" * 5000, "M2"], key=natural_key)[0] == "M2"  # more digits than Python reads
