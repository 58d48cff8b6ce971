"""`colscan plan` as it is called."""

import csv
import dataclasses
import json
import re
import shlex
from pathlib import Path

import pytest

from colscan.app.cli.main import main
from colscan.errors import ExitCode, LedgerError
from colscan.trial import load_trial

KINDS = ["--strain", "PO-3", "--strain", "PE-1", "--level", "0", "--level", "7.5", "--replicates", "4"]
ZONE = ["--zone", "America/New_York", "--inoculated-at", "2026-03-02T06:00"]


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_plan_is_a_trial(here, capsys):
    """Bags, groups, runs and seed are in the files, and what was drawn is said."""
    more = ["--blanks", "1", "--shelf", "cellar:2", "--seed", "11", "--spawn-lot", "PO-3=L 1"]
    assert main(["plan", "rack", *KINDS, *ZONE, *more]) == ExitCode.DONE
    trial = load_trial(here / "rack")
    assert len(trial.bags) == 18
    assert {b.heat_run for b in trial.bags} == {"H1", "H2"}
    assert [b.tag for b in trial.bags] == list(range(1, 19))
    assert [(s.name, s.tiers) for s in trial.shelves] == [("cellar", 2)]
    assert {b.spawn_lot for b in trial.bags if b.strain == "PO-3"} == {"L 1"}
    err = capsys.readouterr().err
    assert "18 bags, 2 of them blanks" in err
    assert "No spawn lot is named for PE-1" in err
    assert trial.plan in err


@pytest.mark.parametrize(
    "options",
    [
        [],
        ["--blanks", "1", "--shelf", "cellar:2", "--spawn-lot", "PO-3=L 1", "--spawn-lot", "PO-3=L 2"],
        ["--supplement", "wheat bran", "--vessel", "5", "--mix-capacity", "2", "--shelf", "it's a rack:3"],
        ["--first-tag", "40", "--base", "dry", "--level", "12.25", "--inoculated-at", "2026-03-02T06:00"],
    ],
)
def test_the_recorded_options_draw_the_same_bags(options, here):
    """Codes, tags, day 0, places and base: in a folder of another farm, all is as it was."""
    assert main(["plan", "rack", *KINDS, *ZONE[:2], *options]) == ExitCode.DONE
    trial = load_trial(here / "rack")
    assert main(["plan", "other/again", *shlex.split(trial.plan), *ZONE[:2]]) == ExitCode.DONE
    again = load_trial(here / "other" / "again")
    assert again == dataclasses.replace(trial, name="again")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--level", "8%"], "'8%' is not a number; decimals are written with a point"),
        (["--level", "7,5"], "'7,5' is not a number"),
        (["--level", "nan"], "'nan' is not a number"),
        (["--replicates", "six"], "'six' is not a whole number"),
        (["--heat-runs", "2.5"], "'2.5' is not a whole number"),
        (["--heat-runs", "9" * 400], "is not in the range"),
        (["--heat-runs", "0"], "0 is not in the range 1<=x<=99"),
    ],
)
def test_what_is_no_number_is_said_in_plain_words(options, said, here, capsys):
    """Nothing is written."""
    assert main(["plan", "rack", *KINDS, *ZONE, *options]) == ExitCode.TRIAL
    assert said in capsys.readouterr().err
    assert not (here / "rack").exists()


@pytest.mark.parametrize("bags", ["", "header", "bag;tag\nB01;;;"])
def test_a_trial_whose_bags_are_to_be_drawn_anew(bags, here, capsys):
    """Its list has no line yet, or lines that are wrong: it is put aside, what the plan says stays."""
    assert main(["plan", "rack", *KINDS, *ZONE, "--question", "Which?"]) == ExitCode.DONE
    path = here / "rack" / "bags.csv"
    text = path.read_text().partition("\n")[0] + "\n" if bags == "header" else bags
    path.write_text(text)
    assert main(["plan", "rack", *KINDS, *ZONE[2:]]) == ExitCode.DONE
    assert "bags.csv as it was is kept as bags.before-1.csv" in capsys.readouterr().err
    assert (here / "rack" / "bags.before-1.csv").read_text() == text
    trial = load_trial(here / "rack")
    assert (trial.question, trial.time_zone, len(trial.bags)) == ("Which?", ZONE[1], 16)


def test_the_base_of_the_levels(here, capsys):
    """As given; a level added later is on the base of the others; two bases and no --base are refused."""
    assert main(["plan", "rack", *KINDS, *ZONE, "--base", "dry"]) == ExitCode.DONE
    assert {t.supplement_base for t in load_trial(here / "rack").treatments} == {"all dry matter, oven-dry"}
    assert main(["plan", "rack", *KINDS, *ZONE, "--level", "12"]) == ExitCode.DONE
    trial = load_trial(here / "rack")
    assert [t.supplement_base for t in trial.treatments] == ["all dry matter, oven-dry"] * 3
    assert "--base dry" in trial.plan
    toml = here / "rack" / "trial.toml"
    toml.write_text(toml.read_text().replace('= "all dry matter, oven-dry"', '= "the chips"', 1))
    assert main(["plan", "rack", *KINDS, *ZONE, "--level", "12"]) == ExitCode.DONE
    assert "--base" not in load_trial(here / "rack").plan
    capsys.readouterr()
    assert main(["plan", "rack", *KINDS, *ZONE, "--level", "20"]) == ExitCode.TRIAL
    assert "bran 20 % is a percentage of what? The plan has 'the chips' and" in capsys.readouterr().err
    assert main(["plan", "rack", *KINDS, *ZONE, "--level", "20", "--base", "main"]) == ExitCode.DONE
    trial = load_trial(here / "rack")
    assert {t.supplement_base for t in trial.treatments} == {"main substrate as weighed"}


def test_question_and_accepted_risk(here, capsys):
    """They stand in trial.toml; planned again without them they stay; no share of bags is refused."""
    said = ["--question", "Does bran pay?", "--accept", "12.5"]
    assert main(["plan", "rack", *KINDS, *ZONE, *said]) == ExitCode.DONE
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    trial = load_trial(here / "rack")
    assert (trial.question, trial.limits.contamination_risk) == ("Does bran pay?", 0.125)
    assert "at most 12.5 % are lost" in capsys.readouterr().out
    assert main(["plan", "rack", *KINDS, *ZONE, "--accept", "100"]) == ExitCode.TRIAL
    assert "--accept 100 is no share of bags" in capsys.readouterr().err


@pytest.mark.parametrize("tiers", ["0", "101", "-1", "two", "", "9" * 5000])
def test_tiers_that_cant_be(tiers, here, capsys):
    """No number from 1 to 100, however long: exit 2, and no trial."""
    assert main(["plan", "rack", *KINDS, *ZONE, "--shelf", f"cellar:{tiers}"]) == ExitCode.TRIAL
    assert "the number of tiers (1 to 100)" in capsys.readouterr().err
    assert not (here / "rack").exists()


def test_tiers_are_said(here, capsys):
    """How many bags of each kind go to a tier."""
    assert main(["plan", "rack", *KINDS, *ZONE, "--shelf", "cellar:2", "--blanks", "1"]) == ExitCode.DONE
    assert "cellar, tier 2: 9 bags (blank x 1, bran 0 % x 4, bran 7.5 % x 4)" in capsys.readouterr().err


def test_records_of_a_lost_plan_are_refused(trial, capsys):
    """A ledger without trial.toml is about bags: no other plan is put over it."""
    assert main(["mix", str(trial), "M01", "--water", "1 l"]) == ExitCode.DONE
    (trial / "trial.toml").unlink()
    (trial / "bags.csv").unlink()
    assert main(["plan", str(trial), *KINDS]) == ExitCode.TRIAL
    assert "holds a trial with records (batches: 1)" in capsys.readouterr().err
    assert not (trial / "trial.toml").exists()


def test_a_shelf_map_of_bags_that_are_no_more(here, capsys):
    """It is put aside with the plan that it belongs to, and that is said."""
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    (here / "rack" / "shelfmap.toml").write_text("# places\n")
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    assert "shelfmap.toml as it was is kept as shelfmap.before-1.toml" in capsys.readouterr().err
    assert not (here / "rack" / "shelfmap.toml").exists()


ROWS = """\
question,what,bags,losses_allowed,heat_runs,correlation,smallest_p,true_risk_pct,difference_sd,chance_pct
contamination,needed,37,0,2,0.0,,1.0,,68.9
"""


def test_how_many_bags_for_programs(here, capsys):
    """CSV and JSON: a row for each chance of both questions, and nothing else on stdout."""
    assert main(["plan", "rack", *KINDS, *ZONE, "--format", "csv"]) == ExitCode.DONE
    out, err = capsys.readouterr()
    assert out.startswith(ROWS)
    # Eight bags of a level can't show 20 %, four of a kind have C(8, 4) = 70 labellings: p >= 2 / 70.
    assert 'contamination,"here, a level",8,,2,,,1.0,,0.0\n' in out
    assert "difference,one strain,4,,,,0.0286,,3.0,83.6\n" in out
    assert len(out.splitlines()) == 1 + 5 * (2 * 3 + 2) + 5 * 2
    assert "the rule allows for a correlation of 0.1" in err
    assert main(["plan", "rack", *KINDS, *ZONE, "--format", "json"]) == ExitCode.DONE
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert [[*map(_text, row.values())] for row in rows] == [*csv.reader(out.splitlines())][1:]


def _text(value):
    return "" if value is None else str(value)


def test_the_vessel_says_how_many_runs(here, capsys):
    """16 bags and a blank a run in a vessel of 7: three runs, none over 7; two asked for are refused."""
    assert main(["plan", "rack", *KINDS, "--vessel", "7", "--blanks", "1"]) == ExitCode.DONE
    runs = [b.heat_run for b in load_trial(here / "rack").bags]
    assert sorted(runs.count(run) for run in set(runs)) == [6, 6, 7]
    assert main(["plan", "other", *KINDS, "--vessel", "7", "--heat-runs", "2"]) == ExitCode.TRIAL
    assert "16 bags need 3 heat runs of 7" in capsys.readouterr().err
    assert not (here / "other").exists()


def test_planned_again_before_anything_is_recorded(here, capsys):
    """Name, limits and what was said of a strain stay; the files as they were are kept."""
    assert main(["plan", "rack", *KINDS, *ZONE, "--shelf", "cellar:2"]) == ExitCode.DONE
    toml = here / "rack" / "trial.toml"
    toml.write_text(toml.read_text().replace("consolidate_days = 3", "consolidate_days = 9", 1))
    before = toml.read_bytes()
    assert main(["plan", "rack", *KINDS, *ZONE, "--level", "12"]) == ExitCode.DONE
    trial = load_trial(here / "rack")
    assert len(trial.bags) == 24
    assert {b.shelf for b in trial.bags} == {"cellar"}
    assert [s.consolidate_days for s in trial.strains].count(9) == 1
    assert (here / "rack" / "trial.before-1.toml").read_bytes() == before
    assert "bags.csv as it was is kept as bags.before-1.csv" in capsys.readouterr().err


def test_planned_again_with_a_recipe(here, capsys):
    """The recipe stays; a supplement of which it says nothing is refused, and the files are as they were."""
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    mix = ["--main", "pellets, 1 kg, moisture 6%", "--supplement", "bran, moisture 12%", "--water", "1.5 kg"]
    assert main(["recipe", "rack", *mix, "--keep"]) == ExitCode.DONE
    recipe = load_trial(here / "rack").recipe
    assert recipe is not None
    assert main(["plan", "rack", *KINDS, *ZONE, "--level", "12"]) == ExitCode.DONE
    assert load_trial(here / "rack").recipe == recipe
    before = (here / "rack" / "trial.toml").read_bytes()
    assert main(["plan", "rack", *KINDS, *ZONE, "--supplement", "soy"]) == ExitCode.TRIAL
    assert "nothing of the supplement 'soy'" in capsys.readouterr().err
    assert (here / "rack" / "trial.toml").read_bytes() == before


def test_a_trial_with_scores_is_refused(scanned, capsys):
    """Nothing in it changes."""
    files = {path: path.read_bytes() for path in scanned.iterdir() if path.is_file()}
    assert main(["plan", str(scanned), *KINDS]) == ExitCode.TRIAL
    assert "holds a trial with records (scores:" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in scanned.iterdir() if path.is_file()} == files


@pytest.mark.parametrize(
    ("record", "said"),
    [
        (["mix", "M01", "--water", "1 l"], "batches: 1"),
        (["heat", "H1", "--started", "2026-03-01"], "heat_runs: 1"),
    ],
)
def test_a_trial_with_a_logged_mix_or_heat_run_is_refused(
    trial: Path, capsys: pytest.CaptureFixture[str], record: list[str], said: str
) -> None:
    """Another draw would give its name to other bags."""
    command, *rest = record
    assert main([command, str(trial), *rest]) == 0
    assert main(["plan", str(trial), *KINDS]) == ExitCode.TRIAL
    assert f"holds a trial with records ({said})" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "row"),
    [
        ("temperature.csv", "at,place,celsius\n2026-03-03T08:00:00-05:00,room,21.5\n"),
        (
            "estimates.csv",
            "at,bag,photo_sha256,coverage_pct\n2026-03-03T08:00:00-05:00,B01,5e1d07c2,40\n",
        ),
    ],
)
def test_a_trial_with_readings_or_estimates_alone_is_refused(
    trial: Path, capsys: pytest.CaptureFixture[str], name: str, row: str
) -> None:
    """They name bags and shelves too."""
    (trial / name).write_text(row, encoding="utf-8")
    before = (trial / "bags.csv").read_bytes()
    assert main(["plan", str(trial), *KINDS]) == ExitCode.TRIAL
    assert f"{name.removesuffix('.csv').removesuffix('s')}s: 1)" in capsys.readouterr().err
    assert (trial / "bags.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--strain", "A-1", "--replicates", "2"], "no --level is given"),
        ([*KINDS, "--shelf", "cellar"], "--shelf 'cellar' is not a name"),
        ([*KINDS, "--spawn-lot", "XX=1"], "--spawn-lot 'XX=1' is not a strain of this plan"),
        ([*KINDS, "--vessel", "1", "--blanks", "1"], "leaves no room"),
        ([*KINDS, "--zone", "Mars"], "--zone 'Mars' is not a known time zone"),
        ([*KINDS, "--strain", "PO-3"], "--strain PO-3 is given twice"),
        ([*KINDS[:-1], "400"], "1600 bags need 1600 tags"),
    ],
)
def test_nonsense_is_refused(options, said, here, capsys):
    """With what is wrong, and without a folder left behind."""
    assert main(["plan", "rack", *options]) == ExitCode.TRIAL
    assert said in capsys.readouterr().err
    assert not (here / "rack").exists()


def test_what_the_bags_can_show(here, capsys):
    """Bags needed, chances for this plan, and the smallest p; the accepted risk is the trial's own."""
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    out = capsys.readouterr().out
    assert "at most 20 % are lost" in out
    # 37 bags in two runs are worth 13.45: 0.8^13.45 = 0.0497; 0.99^37 = 68.9 %. Eight can't show 20 %.
    assert re.search(r"needed +37 +0 +2 +0\.0 +68\.9", out)
    assert re.search(r"here, a level +8 +none is enough", out)
    assert re.search(r"one strain +4 +0\.029", out)
    toml = here / "rack" / "trial.toml"
    toml.write_text(toml.read_text().replace("contamination_risk = 0.2", "contamination_risk = 0.4"))
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    out = capsys.readouterr().out
    # Eight bags in two runs are worth 6.15: 0.6^6.15 = 0.043; 0.99^8 = 92.3 %.
    assert re.search(r"here, a level +8 +0 +2 +0\.0 +92\.3", out)


def test_too_few_heat_runs_for_any_number_of_bags(here, capsys):
    """Bags of two runs are never worth 20 independent ones, and 5 % needs 59: more runs, and it is said."""
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    toml = here / "rack" / "trial.toml"
    toml.write_text(toml.read_text().replace("contamination_risk = 0.2", "contamination_risk = 0.05"))
    capsys.readouterr()
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    out, err = capsys.readouterr()
    assert "No number of bags in 2 heat runs shows it: plan more heat runs." in err
    assert "needed" not in out
    assert "none is enough" in out


def test_three_of_each_can_find_nothing(here, capsys):
    """Three bags of one strain at each level: the smallest p is 0.1, and it is said before the work."""
    few = ["--strain", "PO-3", "--level", "0", "--level", "8", "--replicates", "3"]
    assert main(["plan", "rack", *few]) == ExitCode.DONE
    assert "no result of this plan reaches it" in capsys.readouterr().err


def test_an_end_before_the_new_beginning_is_refused(here, capsys):
    """The trial that is there ends before day 0 of the bags: nothing is written that couldn't be loaded."""
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    toml = here / "rack" / "trial.toml"
    toml.write_text("planned_end = 2026-03-20T06:00:00\n" + toml.read_text())
    before = toml.read_bytes()
    assert main(["plan", "rack", *KINDS, "--inoculated-at", "2026-04-01"]) == ExitCode.TRIAL
    assert "planned_end in trial.toml" in capsys.readouterr().err
    assert toml.read_bytes() == before


def test_a_failure_brings_the_files_back(here, capsys, monkeypatch):
    """What can't be written leaves the plan that was there as it was."""
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.DONE
    before = {path.name: path.read_bytes() for path in (here / "rack").iterdir()}

    def fail(folder, files):
        msg = "the disk is full"
        raise LedgerError(msg, "Make room.")

    monkeypatch.setattr("colscan.trial.replanning.write_files", fail)
    assert main(["plan", "rack", *KINDS, *ZONE]) == ExitCode.LEDGER
    assert {path.name: path.read_bytes() for path in (here / "rack").iterdir()} == before


def test_one_level_has_no_difference_to_find(here, capsys):
    """Strains at a single level: the contamination table alone."""
    assert main(["plan", "rack", "--strain", "A-1", "--level", "5", "--replicates", "9"]) == ExitCode.DONE
    out, err = capsys.readouterr()
    assert "no difference between levels to find" in err
    assert "To find a difference" not in out
