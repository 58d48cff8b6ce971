"""The whole report on made-up trials: strains, levels, several trials, and what is said of them."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hornbeam import at_day, event, make_bag, make_trial, score, suspect, verdict

from colscan.errors import AnalysisError, TrialError
from colscan.growth.risk import Level, RiskReport, assess_risk
from colscan.ledger import Ledger
from colscan.trial.model import Limits, Trial

ENDED = at_day(30)
NOW = at_day(40)


def make_level(
    pct: float,
    lost: int,
    bags: int,
    *,
    strain: str = "PO-3",
    runs: int = 4,
    suspects: int = 0,
    running: int = 0,
):
    """Bags of a level, the lost ones first, then those with suspects; those on their way last."""
    made, scores, patches, calls = [], [], [], []
    for i in range(bags):
        code = f"{strain}-{pct:g}-{i}"
        made.append(make_bag(code, strain=strain, level=pct, heat_run=f"R{i % runs}"))
        done = 60.0 if i >= bags - running else 99.0
        scores += [score(code, day, pct_, spread=1.0) for day, pct_ in ((5, 40), (12, done), (13, done))]
        if i < lost + suspects:
            patches.append(suspect(code, 5))
        if i < lost:
            calls.append(verdict(code, 6, "contaminated", patch="p1", where="back"))
    return made, scores, patches, calls


def make(*levels, name: str = "hornbeam", ended_at=ENDED, **fields) -> tuple[Trial, Ledger]:
    """A trial of such levels with its ledger."""
    made, scores, patches, calls = ([row for level in levels for row in level[kind]] for kind in range(4))
    ledger = Ledger(scores=tuple(scores), suspects=tuple(patches), verdicts=tuple(calls))
    return make_trial(*made, name=name, ended_at=ended_at, **fields), ledger


def assess(*trials: tuple[Trial, Ledger], **how) -> RiskReport:
    """What the trials show, long after their end."""
    return assess_risk(trials, now=NOW, **how)


def bran(pct: float) -> Level:
    """A level of bran as hornbeam's treatments state it."""
    return Level(supplement="bran", pct=pct, base="main substrate as weighed")


def test_the_highest_level_and_what_is_said() -> None:
    """Thirty bags a level in four runs, 0, 0 and 7 lost: the second level, in plain words."""
    report = assess(make(make_level(0, 0, 30), make_level(4, 0, 30), make_level(8, 7, 30)))
    (series,) = report.series
    assert series.highest == bran(4)
    assert [own.level.pct for own in series.levels] == [0, 4, 8]
    assert (report.interim, report.horizon, report.clusters) == (False, "full colonization", "heat run")
    said = " ".join(series.sentences)
    assert (
        "bran 4 %: 0 of 30 bags lost; the true share may be as high as 15 %, within your limit of 20 %."
        in said
    )
    assert "bran 8 %: 7 of 30 bags lost, more than your limit of 20 %" in said
    assert "Highest level still acceptable: bran 4 %." in said
    assert series.trend.p is not None
    assert "Losses rise with the level (p = " in said
    assert 4 < series.dose.pct < 8
    assert [own.pooled for own in series.levels] == pytest.approx([0, 0, 7 / 30])


def test_accepted_share_decides() -> None:
    """Against 40 % the third level is within; against 10 % thirty bags a level are too few."""
    trial = make(make_level(0, 0, 30), make_level(4, 0, 30), make_level(8, 3, 30))
    assert assess(trial, accepted=0.4).series[0].highest == bran(8)
    (strict,) = assess(trial, accepted=0.1).series
    assert strict.highest is None
    assert "not enough bags to say" in " ".join(strict.sentences)
    with pytest.raises(TrialError, match="130 %"):
        assess(trial, accepted=1.3)


def test_a_strain_at_a_time_and_over_strains() -> None:
    """Strains first, one of controls alone, too, then all together; a level that one strain lacks is said."""
    report = assess(
        make(
            make_level(0, 0, 8),
            make_level(4, 1, 8),
            make_level(0, 3, 8, strain="PE-1"),
        )
    )
    assert [(series.strain, series.supplement) for series in report.series] == [
        ("PO-3", "bran"),
        ("PE-1", "none"),
        (None, "bran"),
    ]
    (control,) = report.series[1].levels
    assert (control.lost, control.followed) == (3, 8)
    together = report.series[-1]
    assert [own.followed for own in together.levels] == [16, 8]
    assert any("Not every strain and trial holds every level" in line for line in together.sentences)


def test_several_trials_are_strata() -> None:
    """Levels are matched, heat runs of the same name stay apart, names are told apart."""
    first, second = make(make_level(4, 1, 8, runs=2)), make(make_level(4, 1, 8, runs=2))
    alone, both = assess(first), assess(first, second)
    assert both.trials == ("hornbeam (1)", "hornbeam (2)")
    (own,) = both.series[0].levels
    assert (own.followed, own.lost, own.runs) == (16, 2, 4)
    assert own.effective == pytest.approx(2 * alone.series[0].levels[0].effective)
    assert {source.name for source in both.sources if source.kind == "heat run"} == {
        f"hornbeam ({trial}) R{run}" for trial in (1, 2) for run in (0, 1)
    }


def test_trials_with_different_horizons() -> None:
    """Full colonization here, ten days there: refused, with both named."""
    other = make(make_level(4, 0, 8), name="rowan", limits=Limits(horizon=10.0))
    with pytest.raises(AnalysisError, match=r"hornbeam: full, rowan: 10\.0"):
        assess(make(make_level(4, 0, 8)), other)
    assert assess(other).horizon == "day 10"
    whole = make(make_level(4, 0, 8), limits=Limits(horizon=10))
    assert assess(whole).series == assess(other).series


def test_the_strictest_accepted_share_of_several() -> None:
    """20 % here and 10 % there: 10 %."""
    other = make(make_level(4, 0, 8), name="rowan", limits=Limits(contamination_risk=0.1))
    assert assess(make(make_level(4, 0, 8)), other).accepted == 0.1


def test_before_the_end_results_are_interim() -> None:
    """Without an end, or before the planned one: no p-value, and it is said."""
    levels = [make_level(0, 0, 30), make_level(8, 9, 30)]
    for fields in ({"ended_at": None}, {"ended_at": None, "planned_end": NOW + timedelta(days=1)}):
        report = assess(make(*levels, **fields))
        assert report.interim
        assert report.series[0].trend.p is None
        assert "The trial goes on: results are interim." in report.notes
    assert not assess(make(*levels, ended_at=None, planned_end=at_day(35))).interim


def test_what_the_limits_leave_out_is_said() -> None:
    """Bags on their way, suspects nobody called, backs nobody saw."""
    report = assess(make(make_level(4, 0, 20, suspects=2, running=3)))
    (own,) = report.series[0].levels
    assert (own.clean, own.running, own.suspects) == (17, 3, 2)
    notes = " ".join(report.notes)
    assert "3 bags not at the horizon yet: clean so far is not clean" in notes
    assert "2 bags with suspect patches that nobody has called" in notes
    assert "17 bags at the horizon of which only the front was seen" in notes


def test_suspects_that_would_undo_it_are_pointed_out() -> None:
    """20 clean bags pass, but two suspects would undo it: review them."""
    (series,) = assess(make(make_level(0, 0, 20, suspects=2), make_level(4, 0, 20))).series
    assert series.highest == bran(4)
    said = " ".join(series.sentences)
    assert "(33 % if the suspects are losses, too)" in said
    assert "Review the suspects: if they were losses, too, none could be named." in said


def test_bags_that_left_are_said() -> None:
    """Retired before it was full: counted beside."""
    trial, ledger = make(make_level(4, 0, 6, running=1))
    left = Ledger(scores=ledger.scores, events=(event("retired", 14, "PO-3-4-5"),))
    report = assess((trial, left))
    assert report.series[0].levels[0].gone == 1
    assert any("1 bag left before the horizon" in note for note in report.notes)


def test_counts_that_don_t_rise() -> None:
    """More lost at 4 % than at 8 %: said, and pooled for the monotone estimate."""
    (series,) = assess(make(make_level(0, 0, 10), make_level(4, 3, 10), make_level(8, 1, 10))).series
    assert [own.pooled for own in series.levels] == pytest.approx([0, 0.2, 0.2])
    assert "Losses don't rise steadily: 3 of 10 at bran 4 %, 1 of 10 at bran 8 %." in series.sentences


def test_all_lost() -> None:
    """No level is acceptable, and why: 8 bags in four runs are worth 8 / 1.1, and 0.05^(1.1 / 8) = 0.662."""
    (series,) = assess(make(make_level(0, 8, 8), make_level(4, 8, 8))).series
    assert series.highest is None
    assert "No level is acceptable: at the lowest, no supplement, 66 % or more are lost." in series.sentences
    assert series.dose.why_not == series.trend.why_not == "every bag was lost"


def test_few_lost_is_no_proof() -> None:
    """One of one lost is more than 20 %, but doesn't show that no level is acceptable."""
    (series,) = assess(make(make_level(0, 1, 1), make_level(4, 0, 1))).series
    assert series.highest is None
    said = " ".join(series.sentences)
    assert "anything from 5.0 % to 100 %" in said
    assert "can't be said" in said
    assert "No level is acceptable" not in said


def test_one_level_and_no_level() -> None:
    """One level has no trend and no dose to speak of; without supplement there is the control alone."""
    (one,) = assess(make(make_level(4, 0, 20))).series
    assert one.sentences[-1] == "Highest level still acceptable: bran 4 %, the only one tried."
    (none,) = assess(make(make_level(0, 0, 20))).series
    assert (none.supplement, none.base) == ("none", "")
    assert none.sentences[-1] == "Highest level still acceptable: no supplement, the only one tried."


def test_level_and_heat_run_together() -> None:
    """Each level in a run of its own: no p-value, they can't be told apart."""
    levels = []
    for number, (pct, lost) in enumerate(((0, 0), (4, 1), (8, 5))):
        made, *rest = make_level(pct, lost, 10, runs=1)
        levels.append(([make_bag(b.bag, level=pct, heat_run=f"R{number}") for b in made], *rest))
    report = assess(make(*levels))
    assert "can't be told apart" in report.series[0].trend.why_not
    assert "Level and heat run are the same here: nothing tells their effects apart." in report.notes


def test_a_bad_heat_run_is_pointed_out() -> None:
    """All losses of both levels in one run: the bags count as fewer, and the run is named."""
    made = [make_level(pct, 3, 9, runs=3) for pct in (0, 4)]
    bags = [
        [
            make_bag(b.bag, level=b.supplement_pct, heat_run="R9" if i < 3 else f"R{i % 3}")
            for i, b in enumerate(m[0])
        ]
        for m in made
    ]
    report = assess(make(*((b, *m[1:]) for b, m in zip(bags, made, strict=True))))
    assert report.correlation == pytest.approx(1)
    assert (
        "6 of the 6 bags of heat run R9 were lost; by strain and level 2.0 were to be expected."
        in report.notes
    )
    assert ("side of the bag", "back", 6, 6) in [
        (own.kind, own.name, own.followed, own.lost) for own in report.sources
    ]


def test_nothing_at_the_horizon_yet() -> None:
    """How many it takes, and neither trend nor dose to speak of."""
    (series,) = assess(make(make_level(0, 0, 4, running=4), make_level(4, 0, 4, running=4))).series
    assert series.sentences == (
        "no supplement: 0 of 4 bags at the horizon yet; 14 without a loss, in 14 heat runs as large as now,"
        " would be enough to say.",
        "bran 4 %: 0 of 4 bags at the horizon yet; 14 without a loss, in 14 heat runs as large as now,"
        " would be enough to say.",
        "Highest level still acceptable: not enough bags to say, 14 more of no supplement without a loss,"
        " in 14 further heat runs as large as now, would do.",
    )


def test_nothing_spawned() -> None:
    """Blanks alone carry no answer."""
    with pytest.raises(AnalysisError, match="no bag"):
        assess((make_trial(make_bag("B1", role="blank")), Ledger()))
