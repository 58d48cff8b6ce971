"""`colscan mix` writes what was weighed, and no opinion of it."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from colscan.app.cli.main import main

HEAD = b"mix_batch,at,ingredient,lot,weight_g,moisture_pct\n"
PELLETS = "pellets, 2.03 kg, moisture 7%, lot A12"


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is the day before the bags are inoculated, ten in the morning in the trial's zone."""
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 3, 1, 15, 0, tzinfo=UTC))


def test_exact_rows(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A row an ingredient and one for the water; stderr says each in both units, and nothing else.

    45 oz are 45 x 28.349523 = 1275.73 g.
    """
    weighed = ["--weighed", PELLETS, "--weighed", "bran, 0.8 oz", "--water", "45 oz"]
    assert main(["mix", str(trial), "M01", *weighed]) == 0
    assert (trial / "batches.csv").read_bytes() == HEAD + (
        b"M01,2026-03-01T10:00:00-05:00,pellets,A12,2030,7\n"
        b"M01,2026-03-01T10:00:00-05:00,bran,,22.68,\n"
        b"M01,2026-03-01T10:00:00-05:00,water,,1275.73,100\n"
    )
    out, err = capsys.readouterr()
    assert out == ""
    assert err == (
        "Recorded in batches.csv: 2026-03-01 10:00  mix M01: pellets 2.030 kg = 71.61 oz, moisture 7 %,"
        " lot A12\n"
        "Recorded in batches.csv: 2026-03-01 10:00  mix M01: bran 22.7 g = 0.80 oz\n"
        "Recorded in batches.csv: 2026-03-01 10:00  mix M01: water 1.276 kg = 45.00 oz\n"
    )
    assert main(["check", str(trial)]) == 0


def test_water_by_volume(trial: Path) -> None:
    """A litre of water has 998.2 g (at 20 C)."""
    assert main(["mix", str(trial), "M01", "--water", "1 l", "--at", "2026-03-01T11:00:00+01:00"]) == 0
    assert (trial / "batches.csv").read_bytes() == HEAD + b"M01,2026-03-01T11:00:00+01:00,water,,998.2,100\n"


def test_earlier_record_is_replaced(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same ingredient and lot of the same mix, and no other."""
    command = ["mix", str(trial)]
    assert main([*command, "M01", "--weighed", PELLETS, "--at", "2026-03-01T09:00"]) == 0
    assert main([*command, "M02", "--weighed", PELLETS]) == 0
    assert main([*command, "M01", "--weighed", "pellets, 1 lb, lot B"]) == 0
    assert "replaces" not in capsys.readouterr().err
    assert main([*command, "M01", "--weighed", "pellets, 2.05 kg, lot A12"]) == 0
    assert capsys.readouterr().err.endswith(
        "It replaces the record of 2026-03-01 09:00: pellets 2.030 kg = 71.61 oz, moisture 7 %, lot A12\n"
    )
    assert len((trial / "batches.csv").read_bytes().splitlines()) == 5


def test_a_mix_after_day_0_is_said(
    trial: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is recorded, as a planned day 0 is often a guess; `check` finds it until it is recorded anew."""
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 3, 3, 15, 0, tzinfo=UTC))
    assert main(["mix", str(trial), "M01", "--weighed", PELLETS]) == 0
    assert "\nBy bags.csv bag B01 of mix M01 was inoculated before that (2026-03-02T06:00:00-05:00).\n" in (
        capsys.readouterr().err
    )
    assert main(["check", str(trial)]) == 4
    assert main(["mix", str(trial), "M01", "--weighed", PELLETS, "--at", "2026-03-01T10:00"]) == 0
    assert main(["check", str(trial)]) == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ["M1", "--water", "1 l"],
            "Mix 'M1' is not in the trial hornbeam.\n  Did you mean 'M01'? It has: M01",
        ),
        (["M01"], "Nothing is given to record"),
        (["M01", "--weighed", "pellets, 2 kg", "--weighed", "pellets, 1 lb"], "pellets is given twice"),
        (["M01", "--weighed", "Water, 1 l"], "water is recorded by --water"),
        (["M01", "--weighed", "pellets, a lot"], "'a lot' is not understood"),
        (["M01", "--water", "1 qt"], "doesn't say which quart"),
        (["M01", "--water", "2000 kg"], "--water: 2e+06 g can't be an amount.\n  Give 0 or more"),
        (["M01", "--water", f"{'9' * 400} kg"], "--water: inf g can't be an amount"),
        (["M01", "--weighed", PELLETS, "--at", "2026-03-02T10:01"], "is in the future"),
        (["M01", "--weighed", PELLETS, "--at", "noon"], "--at 'noon' is not a time"),
    ],
)
def test_what_can_not_be_is_refused(
    trial: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    """Unknown mixes, impossible weights and times end with 2 and nothing written."""
    assert main(["mix", str(trial), *arguments]) == 2
    assert said in capsys.readouterr().err
    assert not (trial / "batches.csv").exists()


def test_a_plan_without_mixes_says_how_to_name_them(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where the column is missing, its name is the answer."""
    bags = trial / "bags.csv"
    bags.write_text(bags.read_text().replace("mix_batch", "my_batch").replace("heat_run", "my_run"))
    assert main(["mix", str(trial), "M01", "--water", "1 l"]) == 2
    assert "It has: none; name them in bags.csv, column mix_batch." in capsys.readouterr().err
    assert main(["heat", str(trial), "H1", "--started", "2026-03-01"]) == 2
    assert "It has: none; name them in bags.csv, column heat_run." in capsys.readouterr().err
