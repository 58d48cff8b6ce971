"""Levels: grams per bag spawned, what a day brings, efficiency, gain, cost and sentences."""

from __future__ import annotations

import dataclasses

import pytest
from hornbeam import at_day, event, make_bag, make_trial, photo, verdict

from colscan.errors import AnalysisError, TrialError
from colscan.growth.crop import Basis, Yields, parse_price, sum_yields
from colscan.ledger import Ledger
from colscan.ledger.columns import HarvestRow
from colscan.trial.model import RecipePlan, Trial

RECIPE = RecipePlan(
    main=("pellets, 1 kg, moisture 8%",),
    supplement=("bran, moisture 12%",),
    moisture_pct=60.0,
    spawn="75 g",
    spawn_moisture_pct=45.0,
)


def _harvest(bag: str, fresh_g: float, day: float = 30.0) -> HarvestRow:
    return HarvestRow(at=at_day(day), bag=bag, flush=1, fresh_g=fresh_g)


BAGS = (
    *(make_bag(f"A{i}", level=0.0, heat_run="H1", dry_g=1000.0) for i in range(3)),
    *(make_bag(f"B{i}", level=4.0, heat_run="H1", dry_g=1000.0) for i in range(3)),
)
TRIAL = make_trial(*BAGS)


def summed(trial: Trial, ledger: Ledger, **options: object) -> Yields:
    """What bags gave, asked on day 61."""
    return sum_yields(trial, ledger, at_day(61), **options)


LEDGER = Ledger(
    harvests=(
        _harvest("A0", 300.0), _harvest("A1", 400.0), _harvest("A2", 500.0),
        _harvest("B0", 600.0, day=32), _harvest("B1", 450.0, day=34),
    ),
    verdicts=(verdict("B2", 9, "contaminated"),),
)  # fmt: skip


def test_lost_bags_count_zero() -> None:
    """600, 450 and a lost one are 350 g per bag spawned, 525 g of those harvested; a day 350 / 33 g."""
    control, level = summed(TRIAL, LEDGER).levels
    assert (control.treatment, control.grams.value, control.gain) == ("none", 400.0, None)
    assert (level.grams.value, level.grams.bags, level.harvested_g.value) == (350.0, 3, 525.0)
    assert level.per_day_g == pytest.approx(350.0 / 33.0)
    assert (level.bags, level.counted, level.heat_runs) == (3, 3, 1)
    assert level.standings == {"harvested": 2, "lost": 1}
    assert (level.first.median, level.first.first, level.first.last, level.first.bags) == (
        pytest.approx(33.0), pytest.approx(32.0), pytest.approx(34.0), 2,
    )  # fmt: skip


def test_a_day_of_an_age_compared() -> None:
    """At equal days the cycle is that age: 400 g in 40 days are 10 g a day."""
    ledger = dataclasses.replace(LEDGER, photos=(photo(41),))
    control, _ = summed(TRIAL, ledger, basis=Basis(days=40.0)).levels
    assert (control.cycle_days, control.per_day_g) == (40.0, 10.0)


def test_efficiency_on_both_bases() -> None:
    """450 g from 1000 g dry are 45.0 %; with 41.25 g dry spawn in it 43.2173 % (hand arithmetic).

    75 g of spawn at 45 % moisture are 41.25 g dry.
    """
    trial = make_trial(make_bag("A1", level=0.0, dry_g=1000.0, spawn_g=75.0), recipe=RECIPE)
    (level,) = summed(trial, Ledger(harvests=(_harvest("A1", 450.0),))).levels
    assert level.efficiency.value == pytest.approx(45.0, rel=1e-9)
    assert level.efficiency_with_spawn.value == pytest.approx(43.2173, abs=5e-5)
    assert level.dry_sources == ()


@pytest.mark.parametrize(
    ("efficiency_pct", "yield_pct"), [(261.1, 60.0), (240.6, 55.3), (213.3, 49.0), (170.9, 39.3)]
)
def test_efficiency_over_100_pct_is_legal(efficiency_pct, yield_pct) -> None:
    """P. ostreatus on rice straw, four strains (Cayetano-Catarino et al., ijastnet.com index/922)."""
    wet_g = 1000.0
    bag = make_bag("A1", level=0.0, dry_g=wet_g * yield_pct / efficiency_pct)
    harvests = (_harvest("A1", wet_g * yield_pct / 100),)
    (level,) = summed(make_trial(bag), Ledger(harvests=harvests)).levels
    assert level.efficiency.value == pytest.approx(efficiency_pct, rel=1e-9)


def test_efficiency_is_of_the_bags_harvested() -> None:
    """A lost bag has no part in it: 600 and 450 g of 1000 g dry are 52.5 %; none without dry matter."""
    *_, level = summed(TRIAL, LEDGER).levels
    assert (level.efficiency.value, level.efficiency.bags) == (pytest.approx(52.5), 2)
    assert level.efficiency_with_spawn is None
    bare = make_trial(*(dataclasses.replace(bag, dry_g=None) for bag in BAGS))
    yields = summed(bare, LEDGER)
    assert all(level.efficiency is None for level in yields.levels)
    assert any("No biological efficiency" in sentence for sentence in yields.sentences)


def test_strains_are_kept_apart() -> None:
    """Each has its own lowest level."""
    bags = (*BAGS, *(make_bag(f"C{i}", strain="PE-1", level=lvl) for i, lvl in enumerate((4.0, 8.0))))
    harvests = (*LEDGER.harvests, _harvest("C0", 100.0), _harvest("C1", 130.0))
    ledger = dataclasses.replace(LEDGER, harvests=harvests)
    levels = {(one.strain, one.treatment): one for one in summed(make_trial(*bags), ledger).levels}
    assert levels["PE-1", "bran 4 %"].gain is None
    assert levels["PE-1", "bran 8 %"].gain.value == pytest.approx(30.0)
    assert levels["PO-3", "bran 4 %"].gain.value == pytest.approx(-50.0)


def test_sentences() -> None:
    """What can't be said is said: an interval over zero, few bags, levels that share no heat run, an end."""
    said = " ".join(summed(TRIAL, LEDGER).sentences)
    assert "PO-3, bran 4 %: 50 g less per bag spawned than at the lowest level, none" in said
    assert "(first flush; 6 bags of 1 heat run; 90 % interval" in said
    assert "these bags can't say which of the two gives more" in said
    assert "Few bags: 2 of 2 levels count under 5, 3 at the least" in said
    assert "were in no heat run together" not in said
    assert "Interim: the trial goes on" in said
    runs = make_trial(*(dataclasses.replace(b, heat_run=f"H{b.supplement_pct:g}") for b in BAGS))
    assert "in no heat run together: what the runs did can't be told apart" in " ".join(
        summed(dataclasses.replace(runs, ended_at=at_day(60)), LEDGER).sentences
    )
    ended = summed(dataclasses.replace(TRIAL, ended_at=at_day(60)), LEDGER)
    assert not ended.interim
    assert "Interim" not in " ".join(ended.sentences)


def test_an_interval_off_zero_says_no_more() -> None:
    """Where it leaves zero out there is nothing to add."""
    gave = [("A0", 100), ("A1", 101), ("A2", 102), ("B0", 500), ("B1", 501), ("B2", 502)]
    yields = summed(TRIAL, Ledger(harvests=tuple(_harvest(bag, g) for bag, g in gave)))
    gain = yields.levels[1].gain
    assert gain.low > 0
    assert yields.sentences[0].endswith(f"90 % interval {gain.low:+.0f} to {gain.high:+.0f} g).")


def test_bags_that_are_waited_for_or_left_are_said() -> None:
    """With how many of how many; at an age, why."""
    ledger = dataclasses.replace(LEDGER, verdicts=(), events=(event("retired", 20, "A2"),))
    ledger = dataclasses.replace(ledger, harvests=tuple(r for r in LEDGER.harvests if r.bag != "A2"))
    said = " ".join(summed(TRIAL, ledger).sentences)
    assert "have not had it yet and don't count; lost bags do already" in said
    assert "PO-3, bran 4 % 1 of 3" in said
    assert "taken out or went missing without a harvest and don't count: PO-3, none 1 of 3." in said
    assert "were not followed so long and don't count: PO-3, none 3 of 3" in " ".join(
        summed(
            make_trial(*BAGS, *(make_bag(f"Z{i}", strain="PE-1", inoculated_at=at_day(-20)) for i in (1, 2))),
            dataclasses.replace(LEDGER, harvests=(*LEDGER.harvests, _harvest("Z1", 9.0, day=10))),
            basis=Basis(days=40.0),
        ).sentences
    )


def test_no_harvest_yet() -> None:
    """An answer, too: how many bags are waited for and how many are lost already."""
    yields = summed(TRIAL, Ledger(verdicts=LEDGER.verdicts))
    assert yields.sentences == ("No harvest yet (first flush); 6 bags spawned, 1 of them lost.",)
    assert summed(TRIAL, Ledger()).sentences == (
        "No harvest yet (first flush); 6 bags spawned, 0 of them lost.",
    )
    (said,) = summed(TRIAL, LEDGER, basis=Basis(days=900.0)).sentences
    assert said.startswith("No bag that bears is known to have come to day 900 yet: ages count to")


def test_nothing_but_blanks() -> None:
    """There is nothing to sum."""
    with pytest.raises(AnalysisError, match="no bag that is spawned"):
        summed(make_trial(make_bag("B0", role="blank")), Ledger())


def test_cost_by_the_recipe() -> None:
    """1000 g pellets at 0.5, 40 g bran at 2 a kg and a bag of 0.4 are 0.98; 350 g spawned-bag: 2.80 a kg.

    Spawn has no price here, and that is said.
    """
    prices = tuple(map(parse_price, ("pellets, 0.5 per kg", "bran, 2 per kg", "bag, 0.4 each")))
    yields = summed(make_trial(*BAGS, recipe=RECIPE), LEDGER, prices=prices)
    control, level = yields.levels
    assert control.cost.per_bag == pytest.approx(0.9)
    assert level.cost.per_bag == pytest.approx(0.98)
    assert level.cost.per_kg == pytest.approx(2.80)
    assert level.cost.without == ("spawn",)
    assert "The cost counts nothing for spawn: no price was given." in yields.sentences
    assert summed(TRIAL, LEDGER).levels[0].cost is None


def test_prices_that_cannot_be_used() -> None:
    """Without a recipe, of nothing that is in it, or twice."""
    bran, straw = parse_price("bran, 2 per kg"), parse_price("straw, 2 per kg")
    with pytest.raises(TrialError, match="has no recipe"):
        summed(TRIAL, LEDGER, prices=(bran,))
    recipe = make_trial(*BAGS, recipe=RECIPE)
    with pytest.raises(TrialError, match="called 'straw'"):
        summed(recipe, LEDGER, prices=(straw,))
    with pytest.raises(TrialError, match="given twice"):
        summed(recipe, LEDGER, prices=(bran, bran))
