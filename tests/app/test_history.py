"""`colscan history`: one bag's own table."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hornbeam import at_day, event, make_hornbeam, verdict, write_trial

from colscan.app.cli.main import main
from colscan.errors import ExitCode
from colscan.flags import Flag
from colscan.ledger.columns import HarvestRow

TABLE = """\
                               colonized %     how
time               day  what   (interval)    white  hidden  suspects  note
----------------  ----  -----  ------------  -----  ------  --------  --------------------------------
2026-03-02 09:00   0.1  photo    0 (0-3)         0      12
2026-03-05 09:00   3.1  photo   24 (21-27)      17      12
2026-03-05 18:00   3.5  event                                         moved (room)
2026-03-08 10:00   6.1  photo   77 (74-80)      54      12
2026-03-11 10:00   9.1  photo   95 (92-98)      67      12            p1 green 34 mm2
2026-03-14 10:00  12.1  photo   99 (96-100)     69      12            p1 green 160 mm2
2026-03-17 10:00  15.1  photo  100 (97-100)     70      12            p1 green 610 mm2, p2 grey 15 mm2
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The made-up trial on disk, with calls, a shelf's event and harvests of PO3-2."""
    monkeypatch.chdir(tmp_path)
    trial, ledger = make_hornbeam()
    calls = (
        *ledger.verdicts,
        verdict("PO3-2", 15.7, "unsure", where="seam", found_by="hand", blind="yes", by="Mo", note="=odd"),
        verdict("PO3-2", 15.8, "withdrawn"),
    )
    harvests = (
        HarvestRow(at=at_day(30), bag="PO3-2", flush=1, fresh_g=500.0),
        HarvestRow(at=at_day(30.1), bag="PO3-2", flush=1, fresh_g=512.5, saleable_g=490.0, note="again"),
        HarvestRow(at=at_day(30), bag="PO3-1", flush=1, fresh_g=400.0),
    )
    events = (*ledger.events, event("power-cut", 20, "A", "shelf"), event("power-cut", 21, "B", "shelf"))
    ledger = replace(ledger, verdicts=calls, harvests=harvests, events=events)
    write_trial(tmp_path / "hornbeam", trial, ledger)
    return Path("hornbeam")


def test_the_table(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The bag's photos with what was found, events between them, in order of time, in the trial's zone."""
    assert main(["history", str(folder), "PO3-3"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith(TABLE)
    assert out.removeprefix(TABLE) == (
        "2026-03-22 07:00  20.0  event                                         power-cut (shelf A)\n"
    )
    head, coverage, density = err.splitlines()
    assert head == "PO3-3: PO-3, bran 8 %, inoculated 2026-03-02 06:00"
    assert coverage.startswith("  colonized: half colonized on day 4.5 (4.3 to 4.7); 90 % on day 7.7 (")
    assert density == "  how white: too early to say: how white it will be in the end is open"


def test_what_people_said_stands_in_order_of_time(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Superseded verdicts too; of a flush the latest weight; nothing of other bags."""
    assert main(["history", str(folder), "PO3-2", "--format", "json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert [row["at"] for row in rows] == sorted(row["at"] for row in rows)
    said = [(row["what"], row["note"]) for row in rows if row["what"] != "photo"]
    assert said == [
        ("event", "moved (room)"),
        ("event", "looked-round"),
        ("verdict", "bag unsure (seam, found by hand, blind, Mo): =odd"),
        ("verdict", "bag withdrawn"),
        ("event", "power-cut (shelf A)"),
        ("harvest", "flush 1: 512.5 g fresh, 490 g saleable: again"),
    ]


def test_flags_segments_and_expected_looks(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What makes a score doubtful stands beside it, and that a patch is an expected look."""
    assert main(["history", str(folder), "PE1-1", "--format", "json"]) == 0
    flags = [row["flags"] for row in json.loads(capsys.readouterr().out)["rows"] if row["flags"]]
    assert flags == [Flag.GLARE]
    assert main(["history", str(folder), "HE2-2", "--format", "json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert [row["segment"] for row in rows if row["what"] == "photo"] == [0, 0, 0, 1, 1, 1]
    assert main(["history", str(folder), "HE2-1"]) == 0
    assert "p1 amber 34 mm2 (expected)" in capsys.readouterr().out
    assert main(["history", str(folder), "PE1-1"]) == 0
    assert [line.split()[-1] for line in capsys.readouterr().out.splitlines() if "glare" in line] == ["glare"]


def test_a_curve_for_each_segment(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bag that was shaken is told of before and after it."""
    assert main(["history", str(folder), "HE2-2"]) == 0
    lines = capsys.readouterr().err.splitlines()[1:]
    assert [line.split(":")[0] for line in lines] == [
        "  colonized",
        "  colonized, after disturbance 1",
        "  how white",
        "  how white, after disturbance 1",
    ]
    assert all("3 photos of it yet, a curve takes 5 over 2 days" in line for line in lines)


def test_unknown_bag(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Ends with 2, names the nearest code, prints no table."""
    assert main(["history", str(folder), "PO33"]) == ExitCode.TRIAL
    out, err = capsys.readouterr()
    assert out == ""
    assert "'PO33'" in err
    assert "Did you mean 'PO3-3'?" in err


def test_a_bag_without_a_photo(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An empty table, and what to do next."""
    monkeypatch.chdir(tmp_path)
    write_trial(tmp_path / "hornbeam", make_hornbeam()[0])
    assert main(["history", "hornbeam", "PO3-1"]) == 0
    out, err = capsys.readouterr()
    assert set(out.splitlines()[-1]) == {"-", " "}
    assert err.endswith("No photo of it yet. Next: colscan scan hornbeam PHOTO...\n")


def test_its_mix_and_heat_run(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What was recorded of them, facts in order of time; nothing of other mixes and runs."""
    mix = ["mix", str(trial), "M01", "--at", "2026-03-01T07:00"]
    assert main([*mix, "--weighed", "pellets, 2.03 kg, moisture 7%, lot A12", "--water", "45 oz"]) == 0
    assert main(["mix", str(trial), "M02", "--at", "2026-03-01T07:00", "--water", "40 oz"]) == 0
    heat = ["--started", "2026-03-01T08:00", "--ended", "2026-03-01T10:30", "--core", "203F"]
    assert main(["heat", str(trial), "H1", *heat]) == 0
    assert main(["heat", str(trial), "H2", *heat]) == 0
    capsys.readouterr()
    assert main(["history", str(trial), "B01", "--format", "json"]) == 0
    out, err = capsys.readouterr()
    assert [(row["day"], row["what"], row["note"]) for row in json.loads(out)["rows"]] == [
        (-0.96, "mix", "M01: pellets 2.030 kg = 71.61 oz, moisture 7 %, lot A12"),
        (-0.96, "mix", "M01: water 1.276 kg = 45.00 oz"),
        (-0.92, "heat run", "H1: until 2026-03-01 10:30, core 95.0 C = 203.0 F"),
    ]
    assert err.endswith(f"No photo of it yet. Next: colscan scan {trial} PHOTO...\n")
