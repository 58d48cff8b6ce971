"""`colscan harvest` writes the declared row, and says what it replaces."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from colscan.app.cli.main import main

HEAD = b"at,bag,flush,fresh_g,saleable_g,note\n"


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is the 9th of April, five past ten in the trial's zone."""
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 4, 9, 14, 5, tzinfo=UTC))


def test_exact_row(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The row stands as declared, and stderr says it."""
    assert main(["harvest", str(trial), "B01", "1", "512.5", "--saleable", "480", "--note", "late"]) == 0
    assert (trial / "harvests.csv").read_bytes() == HEAD + b"2026-04-09T10:05:00-04:00,B01,1,512.5,480,late\n"
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "Recorded in harvests.csv: 2026-04-09 10:05  bag B01, flush 1: 512.5 g fresh\n"


def test_earlier_record_is_replaced(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A flush recorded again is appended, and what it replaces is said; another flush replaces nothing."""
    command = ["harvest", str(trial), "B01"]
    assert main([*command, "1", "500", "--at", "2026-04-08"]) == 0
    assert main([*command, "2", "100"]) == 0
    assert "replaces" not in capsys.readouterr().err
    assert main([*command, "1", "510", "--at", "2026-04-08"]) == 0
    assert "It replaces the record of 2026-04-08 00:00: 500 g fresh" in capsys.readouterr().err
    assert len((trial / "harvests.csv").read_bytes().splitlines()) == 4


def test_flushes_out_of_their_order_are_said(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One that was left out, one dated before an earlier one or after a later one; recorded all the same."""
    command = ["harvest", str(trial), "B01"]
    assert main([*command, "2", "100", "--at", "2026-04-07"]) == 0
    assert "Flush 1 of bag B01 isn't recorded." in capsys.readouterr().err
    assert main([*command, "1", "500"]) == 0
    assert "Doubtful: flush 2 is dated 2026-04-07, before this one." in capsys.readouterr().err
    assert main([*command, "1", "500", "--at", "2026-04-05"]) == 0
    assert "Doubtful" not in capsys.readouterr().err
    assert main([*command, "3", "50", "--at", "2026-04-06"]) == 0
    assert "Doubtful: flush 2 is dated 2026-04-07, after this one." in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["X01", "1", "500"], "Bag 'X01' is not in the trial hornbeam"),
        (["B01", "0", "500"], "0 is outside 1 to 20"),
        (["B01", "1.5", "500"], "'1.5' is not a whole number"),
        (["B01", "1", "-5"], "-5: a flush or weight can't be negative"),
        (["B01", "1", "-.5", "--note", "x"], "-.5: a flush or weight can't be negative"),
        (["B01", "-1", "500"], "-1: a flush or weight can't be negative"),
        (["B01", "1", "500", "--saleable", "-5"], "-5 is outside 0 to 100000 g"),
        (["B01", "1", "500", "--salable", "5"], "No such option '--salable'"),
        (["B01", "1", "a pound"], "'a pound' is not a number"),
        (["B01", "1", "412g"], "(decimals are written with a point). Fresh weight, in g."),
        (["B01", "1", "12,5"], "decimals are written with a point"),
        (["B01", "1", "nan"], "'nan' is not a number"),
        (["B01", "1", "1e6"], "is outside 0 to 100000 g"),
        (["B01", "1", "1.234"], "1.234 g has more than two decimals"),
        (["B01", "1", "500", "--saleable", "501"], "Saleable 501 g is more than fresh 500 g"),
        (["B01", "1", "500", "--at", "2026-03-01"], "is before bag B01 was inoculated"),
        (["B01", "1"], "Missing argument"),
    ],
)
def test_what_can_not_be_is_refused(
    trial: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    """Unknown bags, impossible numbers and times end with 2 and nothing written."""
    assert main(["harvest", str(trial), *arguments]) == 2
    assert said in capsys.readouterr().err
    assert not (trial / "harvests.csv").exists()


def test_what_a_lost_bag_gives_counts_nowhere(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is recorded, and said; not of a bag that is called harmless."""
    for bag, call in (("B01", "contaminated"), ("B02", "harmless")):
        assert main(["verdict", str(trial), bag, call, "--action", "watched", "--at", "2026-03-20"]) == 0
        capsys.readouterr()
        assert main(["harvest", str(trial), bag, "1", "400"]) == 0
        assert ("counts in no yield" in capsys.readouterr().err) is (call == "contaminated")


def test_a_flush_heavier_than_its_bag_is_doubted(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is recorded all the same: 5125 g from a bag filled with 2500 g, mostly a missing point."""
    bags = trial / "bags.csv"
    head, *rows = bags.read_text().splitlines()
    bags.write_text("\n".join([f"{head},fill_wet_g", *(f"{row},2500" for row in rows)]) + "\n")
    assert main(["harvest", str(trial), "B01", "1", "512.5"]) == 0
    assert "Doubtful" not in capsys.readouterr().err
    assert main(["harvest", str(trial), "B01", "1", "5125"]) == 0
    assert "Doubtful: one flush, and heavier than what the bag was filled with." in capsys.readouterr().err
    assert b",5125," in (trial / "harvests.csv").read_bytes()


def test_efficiency_over_all_flushes(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Flushes so far are set against the dry substrate where bags.csv says it: 450 of 1000 g is 45.0 %."""
    bags = trial / "bags.csv"
    head, *rows = bags.read_text().splitlines()
    bags.write_text("\n".join([f"{head},dry_g", *(f"{row},1000" for row in rows)]) + "\n")
    assert main(["harvest", str(trial), "B01", "1", "300"]) == 0
    assert "300 g, 30.0 % of 1000 g dry" in capsys.readouterr().err
    assert main(["harvest", str(trial), "B01", "2", "100"]) == 0
    assert main(["harvest", str(trial), "B01", "2", "150"]) == 0
    assert "450 g, 45.0 % of 1000 g dry" in capsys.readouterr().err
