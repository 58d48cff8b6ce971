"""`colscan new` as it is called."""

import shlex
import subprocess
import sys

import pytest

from colscan.app.cli.main import main
from colscan.app.cli.new import new
from colscan.errors import ExitCode
from colscan.trial import load_trial

ROOT_ZONE = ["--zone", "America/New_York"]
SERIES = ("oakrack", "mixed", "outbreak", "bigrack", "nocard", "pen")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_options_arrive_in_the_trial(here, capsys):
    """All of them; stdout stays empty, stderr says what was made and what is next."""
    options = "--name Rack --strain PO-3 --strain PE-1 --supplement soy --level 0 --level 7.5 --replicates 1"
    more = "--inoculated-at 2026-03-02T06:00 --first-tag 40"
    assert main(["new", "my rack", *ROOT_ZONE, *options.split(), *more.split()]) == ExitCode.DONE
    trial = load_trial(here / "my rack")
    assert (trial.name, trial.time_zone) == ("Rack", "America/New_York")
    assert [(b.bag, b.tag, b.strain, b.treatment) for b in trial.bags] == [
        ("B01", 40, "PO-3", "soy 0 %"),
        ("B02", 41, "PO-3", "soy 7.5 %"),
        ("B03", 42, "PE-1", "soy 0 %"),
        ("B04", 43, "PE-1", "soy 7.5 %"),
    ]
    assert trial.bags[0].inoculated_at.isoformat() == "2026-03-02T06:00:00-05:00"
    out, err = capsys.readouterr()
    assert out == ""
    assert "Made the trial 'Rack' in my rack. Bags: 4" in err
    assert "strains: PO-3, PE-1; treatments: soy 0 %, soy 7.5 %" in err
    assert "time zone: America/New_York (as given)" in err
    assert "colscan scan 'my rack' PHOTO" in err


def test_without_options_there_is_an_example(here, capsys):
    """It loads, and the zone that was taken is said."""
    assert main(["new", "hornbeam"]) == ExitCode.DONE
    assert len(load_trial(here / "hornbeam").bags) == 8
    err = capsys.readouterr().err
    assert "time zone: " in err
    assert "strains and bags are an example: change them to yours, in trial.toml and bags.csv" in err
    assert main(["new", "own", "--strain", "PO-3"]) == ExitCode.DONE
    assert "example" not in capsys.readouterr().err


def test_the_current_folder_is_called_so(here, capsys):
    """A full stop at a sentence's end says nothing."""
    assert main(["new", "."]) == ExitCode.DONE
    assert f"Made the trial {here.name!r} in the current folder. Bags: 8\n" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["new", "status", "check"])
def test_an_empty_folder_name_is_refused(here, capsys, command):
    """An unset variable must not make a trial where the shell happens to stand."""
    assert main([command, ""]) == ExitCode.TRIAL
    assert "TRIAL_DIR is empty" in capsys.readouterr().err
    assert list(here.iterdir()) == []


def test_a_trial_is_never_made_twice(here, capsys):
    """Exit 2, and the first stays as it is."""
    assert main(["new", "hornbeam"]) == ExitCode.DONE
    before = [(here / "hornbeam" / name).read_bytes() for name in ("trial.toml", "bags.csv")]
    assert main(["new", "hornbeam"]) == ExitCode.TRIAL
    assert "holds a trial already" in capsys.readouterr().err
    assert [(here / "hornbeam" / name).read_bytes() for name in ("trial.toml", "bags.csv")] == before


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--strain", "PO-3"], "--strain can't go with --bags"),
        (["--first-tag", "0"], "--first-tag can't go with --bags"),
        (["--from", "other"], "--from can't go with --bags"),
        (["--base", "wet"], "--base"),
        (["--zone", "Nowhere"], "--zone 'Nowhere'"),
        (["--replicates", "0"], "--replicates"),
        (["--level", "much"], "--level"),
        (["--colour", "red"], "--colour"),
    ],
)
def test_misused_options_are_refused(here, capsys, arguments, told):
    """Exit 2, the option is named, nothing is written."""
    (here / "list.csv").write_text(
        "bag,strain,supplement,supplement_pct,inoculated_at\nB01,s,bran,0,2026-03-02T06:00:00Z\n"
    )
    assert main(["new", "hornbeam", "--bags", "list.csv", *arguments]) == ExitCode.TRIAL
    assert told in capsys.readouterr().err
    assert [p.name for p in here.iterdir()] == ["list.csv"]


def test_a_bag_list_on_dry_matter(here):
    """The list has percentages; what they are of is said by the option."""
    (here / "list.csv").write_text(
        "bag,strain,supplement,supplement_pct,inoculated_at\nB01,s,bran,4,2026-03-02T06:00:00Z\n"
    )
    assert main(["new", "hornbeam", "--bags", "list.csv", "--base", "dry"]) == ExitCode.DONE
    (treatment,) = load_trial(here / "hornbeam").treatments
    assert treatment.supplement_base == "all dry matter, oven-dry"


SECOND = """\
Made the trial 'second' in second. Bags: 4
  strains: PO-3; treatments: bran 0 %, bran 8 %
  as in 'first': time zone, judging, limits, strains
  treatments: bran 0 %, bran 10 % -> bran 0 %, bran 8 %
  percent of: main substrate as weighed -> all dry matter, oven-dry
  inoculated_at: 2026-03-02T06:00-05:00 -> 2026-05-04T06:00-04:00
  tags: B01 to B04 have 5-8; in use in 'first': 1-4, until ended_at is set in {first}
"""


def test_the_second_trial_and_its_plan(here, capsys):
    """The options given take the place of what was, which is said; then its bags can be drawn."""
    first = ["--strain", "PO-3", "--inoculated-at", "2026-03-02T06:00", *ROOT_ZONE]
    assert main(["new", "first", *first]) == ExitCode.DONE
    before = (here / "first" / "trial.toml").read_bytes()
    capsys.readouterr()
    changed = ["--level", "0", "--level", "8", "--base", "dry", "--inoculated-at", "2026-05-04T06:00"]
    assert main(["new", "second", "--from", "first", *changed]) == ExitCode.DONE
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(SECOND.format(first=here / "first" / "trial.toml"))
    plan = ["--strain", "PO-3", "--level", "0", "--level", "8", "--replicates", "3", "--seed", "1"]
    assert main(["plan", "second", *plan]) == ExitCode.DONE
    trial = load_trial(here / "second")
    assert [bag.tag for bag in trial.bags] == [5, 6, 7, 8, 9, 10]
    assert {t.supplement_base for t in trial.treatments} == {"all dry matter, oven-dry"}
    assert (here / "first" / "trial.toml").read_bytes() == before


def test_a_scanned_trial_is_begun_again(scanned):
    """No row of its ledger comes along, and it still has its cards."""
    after = scanned.parent / "again"
    assert main(["new", str(after), "--from", str(scanned)]) == ExitCode.DONE
    assert sorted(path.name for path in after.iterdir()) == ["bags.csv", "trial.toml"]
    assert [b.tag for b in load_trial(after).bags] == list(range(9, 17))
    assert main(["check", str(after)]) == ExitCode.DONE


def test_a_wrong_bag_list_is_refused_by_its_own_line(here, capsys):
    """Exit 2, file, line and value, nothing written."""
    (here / "list.csv").write_text(
        "bag,strain,supplement,supplement_pct,inoculated_at\nMAR1,s,bran,0,2026-03-02T06:00:00Z\n"
    )
    assert main(["new", "hornbeam", "--bags", "list.csv"]) == ExitCode.TRIAL
    assert "list.csv:2: bag code 'MAR1' can't be used" in capsys.readouterr().err
    assert [p.name for p in here.iterdir()] == ["list.csv"]


def test_the_bag_lists_of_the_rendered_series_begin_trials_side_by_side(bench, here):
    """As the bench begins them: several series in one folder, with the same bags in each."""
    for series in SERIES:
        command = [sys.executable, str(bench / "bags.py"), str(bench / "dev"), series, f"{series}.csv"]
        subprocess.run(command, check=True)
        assert main(["new", series, "--bags", f"{series}.csv"]) == ExitCode.DONE
        trial = load_trial(here / series)
        assert trial.bags[0].treatment == "bran 0 %"
        assert {b.strain for b in trial.bags} == {s.code for s in trial.strains}


def test_the_example_of_the_help_runs(here):
    """The command that the help ends with makes a trial."""
    assert new.help is not None
    command = shlex.split(new.help.split("Example:")[1].strip())
    assert command[0] == "colscan"
    assert main(command[1:]) == ExitCode.DONE
    assert len(load_trial(here / "hornbeam").bags) == 8
