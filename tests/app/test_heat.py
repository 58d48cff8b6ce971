"""`colscan heat` writes how a heat run went, and no opinion of it."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from colscan.app.cli.main import main

HEAD = b"heat_run,started_at,ended_at,method,core_celsius,note\n"


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is the evening before the bags are inoculated, six in the trial's zone."""
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 3, 1, 23, 0, tzinfo=UTC))


def test_exact_row(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The row stands as declared; stderr says it in both scales, and nothing else."""
    times = ["--started", "2026-03-01T08:00", "--ended", "2026-03-01T16:30:00+01:00"]
    said = ["--method", "steam", "--core", "203F", "--note", "=probe in B04"]
    assert main(["heat", str(trial), "H1", *times, *said]) == 0
    assert (trial / "heat_runs.csv").read_bytes() == HEAD + (
        b"H1,2026-03-01T08:00:00-05:00,2026-03-01T16:30:00+01:00,steam,95,'=probe in B04\n"
    )
    out, err = capsys.readouterr()
    assert out == ""
    assert err == (
        "Recorded in heat_runs.csv: 2026-03-01 08:00  heat run H1: until 2026-03-01 10:30, steam,"
        " core 95.0 C = 203.0 F: =probe in B04\n"
    )
    assert main(["check", str(trial)]) == 0


@pytest.mark.parametrize(
    ("core", "cell", "said"),
    [
        ("63 F", b"17.22", "core 17.2 C = 63.0 F\n"),  # 31 / 1.8
        ("-5C", b"-5", "core -5.0 C = 23.0 F\n"),
        ("150C", b"150", "core 150.0 C = 302.0 F\n"),
    ],
)
def test_any_temperature_is_taken_as_it_is(
    trial: Path, capsys: pytest.CaptureFixture[str], core: str, cell: bytes, said: str
) -> None:
    """However low: what it means for the bags is not said."""
    assert main(["heat", str(trial), "H1", "--started", "2026-03-01T08:00", "--core", core]) == 0
    assert capsys.readouterr().err.endswith(f"heat run H1: no end recorded, {said}")
    assert (trial / "heat_runs.csv").read_bytes().splitlines()[-1].split(b",")[4] == cell


def test_earlier_record_is_replaced(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of a run the latest row counts; another run replaces nothing."""
    assert main(["heat", str(trial), "H1", "--started", "2026-03-01T08:00"]) == 0
    assert main(["heat", str(trial), "H2", "--started", "2026-03-01T12:00"]) == 0
    assert "replaces" not in capsys.readouterr().err
    assert main(["heat", str(trial), "H1", "--started", "2026-03-01T08:10"]) == 0
    assert capsys.readouterr().err.endswith("It replaces the record of 2026-03-01 08:00: no end recorded\n")


def test_a_run_after_day_0_is_said(
    trial: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its end counts, or its start while no end is recorded."""
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 3, 3, 15, 0, tzinfo=UTC))
    command = ["heat", str(trial), "H2", "--started", "2026-03-02T05:00"]
    assert main(command) == 0
    assert "inoculated" not in capsys.readouterr().err
    assert main([*command, "--ended", "2026-03-02T07:00"]) == 0
    assert "By bags.csv bag B03 of heat run H2 was inoculated before that" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["H3", "--started", "2026-03-01"], "Heat run 'H3' is not in the trial hornbeam"),
        (["H3", "--started", "2026-03-01"], "It has: H1, H2."),
        (["H1"], "Missing option '--started'"),
        (["H1", "--started", "2026-03-01T08:00", "--ended", "2026-03-01T07:59"], "is before --started"),
        (["H1", "--started", "2026-03-03"], "--started 2026-03-03 is in the future"),
        (["H1", "--started", "2026-03-01", "--ended", "2026-04-01"], "--ended 2026-04-01 is in the future"),
        (["H1", "--started", "noon"], "--started 'noon' is not a time"),
        (["H1", "--started", "2026-03-01", "--core", "95"], "--core: '95' is no temperature"),
        (["H1", "--started", "2026-03-01", "--core", "203C"], "203 is outside -20 to 150 C"),
        (["H1", "--started", "2026-03-01", "--core", "-30C"], "-30 is outside -20 to 150 C"),
    ],
)
def test_what_can_not_be_is_refused(
    trial: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    """Unknown runs, impossible times and temperatures end with 2 and nothing written."""
    assert main(["heat", str(trial), *arguments]) == 2
    assert said in capsys.readouterr().err
    assert not (trial / "heat_runs.csv").exists()
