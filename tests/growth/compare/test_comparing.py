"""The comparison of a trial's treatments as a whole, on made-up and on simulated trials."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from compare_holds import RATIO
from compare_holds import find_once as find_effects
from compare_null import find_once
from hornbeam import at_day, event, make_bag, make_trial, score, suspect, verdict
from simulate import Design, Simulated, simulate

from colscan.errors import AnalysisError, TrialError
from colscan.growth.compare import ALL_STRAINS, Comparison, compare
from colscan.growth.compare.comparing import rates_of
from colscan.growth.curve import fit_bags
from colscan.growth.outcomes import Milestone
from colscan.ledger import Ledger
from colscan.ledger.columns import ROOM, TemperatureRow
from colscan.trial.model import Bag

END = at_day(30)


def _grow(bag: Bag, half_days: float, *, until: int = 24) -> list:
    """Daily scores, 12 points a day around the day of half."""
    pcts = [(day, min(100.0, max(0.0, 50.0 + 12.0 * (day - half_days)))) for day in range(until)]
    return [score(bag.bag, float(day), pct) for day, pct in pcts]


def _trial(*levels: float, bags: int = 8, sooner: float = 0.5, run=lambda i, level: f"H{1 + i % 2}"):
    """One strain; each percent makes bags sooner by so many days; bags of a level differ by 0.7 days each."""
    made, scores = [], []
    for level in levels:
        for i in range(bags):
            bag = make_bag(f"L{level:g}-{i}", level=level, heat_run=run(i, level))
            made.append(bag)
            scores += _grow(bag, 12.0 + 0.7 * i - sooner * level + 0.01)
    # A ledger's rows are in order of time.
    ledger = Ledger(scores=tuple(sorted(scores, key=lambda row: row.taken_at)))
    return make_trial(*made, planned_end=END), ledger


def _compare(trial, ledger, now: datetime = END, **options) -> Comparison:
    return compare(trial, ledger, now, **options)


def test_a_clear_difference() -> None:
    """4 % makes 2 days sooner, 8 % 4: effects, order of contrasts, Holm for two, the trend on its own."""
    found = _compare(*_trial(0.0, 4.0, 8.0))
    assert [(c.kind, c.treatment, c.control) for c in found.contrasts] == [
        ("level", "bran 4 %", "none"),
        ("level", "bran 8 %", "none"),
        ("trend", "bran", "none"),
    ]
    four, eight, trend = found.contrasts
    for contrast, days in ((four, 2.0), (eight, 4.0), (trend, 0.5)):
        assert contrast.days_sooner is not None
        assert contrast.days_sooner.value == pytest.approx(days, abs=0.2 * days)
        assert contrast.days_sooner.low < days < contrast.days_sooner.high
    assert (eight.bags, eight.heat_runs, eight.exchanged_within) == (16, 2, "heat run")
    assert eight.test is not None
    assert (eight.test.comparisons, eight.test.exact, eight.test.labellings) == (2, True, 4900)
    assert eight.test.p < 0.01
    assert eight.test.p < eight.test.p_holm <= 0.02
    assert trend.test is not None
    assert (trend.test.comparisons, trend.test.exact) == (1, False)
    assert trend.test.p_holm == trend.test.p < 0.01


def test_the_control_begins_every_supplement_s_levels() -> None:
    """Written as 0 % of bran, it is the hulls' control, too: the same bags, whatever they are called."""
    trial, ledger = _trial(0.0, 4.0, 8.0)
    names = {0.0: "bran", 4.0: "hull", 8.0: "hull"}
    bags = [replace(bag, supplement=names[bag.supplement_pct]) for bag in trial.bags]
    found = _compare(replace(trial, bags=tuple(bags)), ledger)
    assert [(c.kind, c.treatment, c.control) for c in found.contrasts] == [
        ("level", "hull 4 %", "bran 0 %"),
        ("level", "hull 8 %", "bran 0 %"),
        ("trend", "hull", "bran 0 %"),
    ]


def test_no_p_before_the_planned_end() -> None:
    """Interim: effects stay, every test goes, and it is said first."""
    found = _compare(*_trial(0.0, 8.0), now=END - timedelta(days=1))
    assert found.interim
    assert found.contrasts[0].test is None
    assert "planned end" in found.contrasts[0].why_no_test
    assert found.contrasts[0].days_sooner is not None
    assert found.sentences[0].startswith("Interim: the trial runs until 2026-04-01.")
    assert not any("p = " in sentence for sentence in found.sentences)


def test_level_and_heat_run_that_coincide_can_t_be_told_apart() -> None:
    """Each level its own run: no effect, no p, and the plan's sentence."""
    found = _compare(*_trial(0.0, 8.0, run=lambda i, level: f"H{level:g}"))
    (contrast,) = found.contrasts
    assert contrast.test is None
    assert contrast.days_sooner is None
    assert contrast.why_no_test.startswith("Can't be told apart: level and heat run coincide")
    assert any("Can't be told apart" in sentence for sentence in found.sentences)
    assert "Level and heat run are the same here: nothing tells their effects apart." in found.not_told_apart


def test_blanks_are_never_compared() -> None:
    """They stand in no count, whatever they are scored."""
    trial, ledger = _trial(0.0, 8.0)
    blanks = [make_bag(f"X{i}", role="blank", strain="blank", heat_run="H1", level=8.0) for i in range(4)]
    scores = tuple(row for bag in blanks for row in _grow(bag, 2.0))
    with_blanks = replace(trial, bags=(*trial.bags, *blanks))
    ledger_too = replace(ledger, scores=(*ledger.scores, *scores))
    assert _compare(with_blanks, ledger_too) == _compare(trial, ledger)


def test_lost_bags_stand_in_the_headline() -> None:
    """Of 8 bags at 8 % two are lost on day 5: 25 %, and they count until then in the comparison."""
    trial, ledger = _trial(0.0, 8.0)
    lost = Ledger(
        scores=ledger.scores,
        suspects=tuple(suspect(f"L8-{i}", 5.0) for i in (0, 1)),
        verdicts=tuple(verdict(f"L8-{i}", 8.0, "contaminated", patch="p1") for i in (0, 1)),
    )
    found = _compare(trial, lost)
    assert "By day 23, of 8 bags spawned with bran 8 %: 75 % full, 25 % lost, 0 % still running." in (
        found.sentences
    )
    assert found.contrasts[0].bags == 16


def test_patches_that_nobody_has_called() -> None:
    """They lose no bag here, and it is said of how many that holds."""
    trial, ledger = _trial(0.0, 8.0)
    rows = tuple(suspect(f"L8-{i}", 5.0) for i in range(3))
    calls = (verdict("L8-0", 8.0, "contaminated", patch="p1"), verdict("L8-1", 8.0, "unsure", patch="p1"))
    found = _compare(trial, replace(ledger, suspects=rows, verdicts=calls))
    assert found.unreviewed == 2
    assert any(sentence.startswith("2 bags carry suspect patches") for sentence in found.sentences)
    assert _compare(trial, ledger).unreviewed == 0


def test_too_few_bags_say_how_clear_they_could_be() -> None:
    """3 against 3: 20 ways, so no p under 0.1."""
    found = _compare(*_trial(0.0, 8.0, bags=3, run=lambda i, level: "H1"))
    assert found.contrasts[0].test is None
    assert found.contrasts[0].why_no_test.startswith("Too few bags to test: the clearest result")
    assert "p = 0.1" in found.contrasts[0].why_no_test


def test_over_strains_each_against_itself() -> None:
    """Two strains of very different speed: the comparison over both finds the level's part."""
    made = simulate(
        Design(levels=(0.0, 8.0), rate_ratios=(1.0, 1.3), risks=(0.0, 0.0), strains=("A", "B", "C")), 5
    )
    found = _compare(made.trial, made.ledger, _after(made), fits=fit_bags(made.trial, made.ledger))
    assert [contrast.scope for contrast in found.contrasts] == [ALL_STRAINS, "A", "B", "C"]
    over = found.contrasts[0]
    assert (over.bags, over.exchanged_within) == (48, "strain and heat run")
    assert over.test is not None
    assert over.test.p < 0.01
    assert over.rate_ratio is not None
    assert over.rate_ratio.low < 1.3 < over.rate_ratio.high


def _after(made: Simulated) -> datetime:
    assert made.trial.ended_at is not None
    return made.trial.ended_at + timedelta(days=1)


def test_warmth_that_explains_the_difference() -> None:
    """One shelf is warm, the other cool, and bags are sooner by just that: no degree-days are left."""
    trial, ledger = _trial(0.0, 8.0, sooner=0.5)
    bags = tuple(replace(bag, shelf="warm" if bag.supplement_pct else "cool") for bag in trial.bags)
    # The middle bag comes on day 14.45 at 0 %, 4 days sooner at 8 %.
    degrees = {"warm": 20.0 * 14.45 / 10.45, "cool": 20.0, ROOM: 20.0}
    temperatures = tuple(
        TemperatureRow(at=at_day(day / 2), place=place, celsius=celsius)
        for place, celsius in degrees.items()
        for day in range(60)
    )
    found = _compare(replace(trial, bags=bags), replace(ledger, temperatures=temperatures))
    (contrast,) = found.contrasts
    assert contrast.degree_days_sooner is not None
    assert contrast.degree_days_sooner.low < 0 < contrast.degree_days_sooner.high
    assert contrast.days_sooner is not None
    assert contrast.days_sooner.low > 0
    assert "degree-days" in " ".join(found.sentences)


def test_another_control_and_milestone() -> None:
    """Held against 8 %, to 90 %; a control that no bag has is refused with those there are."""
    trial, ledger = _trial(0.0, 4.0, 8.0)
    found = _compare(trial, ledger, control="bran 8 %", milestone=Milestone.NINETY)
    assert [c.treatment for c in found.contrasts if c.kind == "level"] == ["none", "bran 4 %"]
    assert {contrast.milestone for contrast in found.contrasts} == {Milestone.NINETY}
    none = found.contrasts[0].days_sooner
    assert none is not None
    assert none.value < -2
    with pytest.raises(TrialError, match="oats"):
        _compare(trial, ledger, control="oats 8 %")


def test_one_treatment_has_nothing_to_be_held_against() -> None:
    """Times are told, and that there is nothing to compare."""
    found = _compare(*_trial(4.0))
    assert found.contrasts == ()
    assert any("one treatment only" in sentence for sentence in found.sentences)


def test_without_scores_there_is_no_answer() -> None:
    """An error that says what to do."""
    with pytest.raises(AnalysisError, match="no score"):
        _compare(make_trial(make_bag("B1")), Ledger())
    with pytest.raises(AnalysisError, match="no bag that is spawned"):
        _compare(make_trial(make_bag("Z1", role="blank")), Ledger(scores=(score("Z1", 1, 0.0),)))


def test_retired_bags_count_until_they_left() -> None:
    """A bag that left before half is open from then on; it is no loss."""
    trial, ledger = _trial(0.0, 8.0)
    gone = replace(
        ledger,
        scores=tuple(row for row in ledger.scores if row.bag != "L8-0" or row.taken_at < at_day(6)),
        events=(event("retired", 6.0, "L8-0"),),
    )
    times = next(t for t in _compare(trial, gone).times if t.treatment == "bran 8 %")
    assert (times.came, times.lost, times.left, times.running) == (7, 0, 1, 0)


def test_the_newest_segment_s_rate_counts() -> None:
    """Shaken bags are held against each other by how they grew after it."""
    made = simulate(Design(shape="shaken", risks=(0.0, 0.0)), 1)
    fits = fit_bags(made.trial, made.ledger)
    rates = rates_of(fits)
    newest = {fit.bag.bag: fit.segment for fit in fits}
    assert len(rates) > 10
    assert rates == {
        fit.bag.bag: fit.rate_per_day.value
        for fit in fits
        if fit.rate_per_day is not None and fit.segment == newest[fit.bag.bag]
    }


def test_under_the_null_tests_keep_their_level() -> None:
    """A quick part of the bench of 4,000 trials: of 60, over 10 reject by chance once in 6,000 times."""
    found = [find_once(number, Milestone.HALF) for number in range(60)]
    assert sum(one.pair <= 0.05 for one in found) <= 10
    assert sum(one.trend <= 0.05 for one in found) <= 10
    assert sum(one.any_holm <= 0.05 for one in found) <= 10


def test_intervals_hold_the_true_ratio() -> None:
    """A quick part of that bench: of 40 intervals at 90 % fewer than 31 hold once in 100 times."""
    ratios = [one.ratio for one in map(find_effects, range(40))]
    assert sum(ratio is not None and ratio.low <= RATIO <= ratio.high for ratio in ratios) >= 31


def test_the_same_twice() -> None:
    """Seeds are fixed."""
    trial, ledger = _trial(0.0, 4.0, 8.0)
    assert _compare(trial, ledger) == _compare(trial, ledger)
    assert str(20260302) in _compare(trial, ledger).method


def test_no_clock_is_read() -> None:
    """`now` alone decides what is interim."""
    trial, ledger = _trial(0.0, 8.0)
    assert not _compare(trial, ledger, datetime(2030, 1, 1, tzinfo=UTC)).interim
