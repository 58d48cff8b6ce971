"""`colscan recipe`: printed figures, what it warns of, and what it refuses."""

import csv
import io
import json
from pathlib import Path

import pytest

from colscan.app.cli.main import main

PELLETS, BRAN = "pellets, 2 lb, moisture 6%", "bran, 0.8 oz, moisture 12%"
PRACTICE = ["--main", PELLETS, "--supplement", BRAN, "--other", "shavings, 2 oz, moisture 10%"]
PRACTICE += ["--water", "45 oz", "--spawn", "1 lb"]
Key = tuple[str, str, str, str]


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[str, str]:
    """Stdout and stderr of a recipe that is worked out."""
    assert main(["recipe", *arguments]) == 0
    out, err = capsys.readouterr()
    return out, err


def figures(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[Key, float | None]:
    """The figures of a recipe by what, base, per and unit."""
    rows = json.loads(run(capsys, *arguments, "--format", "json")[0])["rows"]
    return {(row["what"], row["base"], row["per"], row["unit"]): row["value"] for row in rows}


def test_common_practice(capsys: pytest.CaptureFixture[str]) -> None:
    """Common practice, no source: by hand 47.216/79.8 = 59.2 % moisture, 0.8/32 = 2.5 %, 16/79.8 = 20.1 %.

    Of dry matter in oz, by hand: 30.08 + 0.704 + 1.8 = 32.584; bran 0.704 is 2.2 %, spawn 16 is 49.1 %.
    """
    lines = run(capsys, *PRACTICE)[0].splitlines()
    said = [" ".join(line.split()) for line in lines]
    assert "substrate wet, without spawn 2.262 kg = 79.80 oz" in said
    assert "moisture of the wet substrate 59.2 %" in said
    assert "supplement of main substrate as weighed 2.5 %" in said
    assert "supplement of all dry matter, oven-dry 2.2 %" in said
    assert "spawn rate of wet substrate as mixed 20.1 %" in said
    assert "spawn rate of all dry matter, spawn as weighed 49.1 %" in said
    assert "dry matter of the substrate, oven-dry 923.7 g = 32.58 oz" in said
    assert max(map(len, lines)) <= 110


def test_every_scale_and_unit(capsys: pytest.CaptureFixture[str]) -> None:
    """Per bag, mix and trial; water of 45 oz is 1.275728541 kg, at 0.9982 kg/L 1.27803 L, 1.35048 quarts."""
    found = figures(capsys, *PRACTICE, "--bags", "24", "--bags-per-mix", "6")
    for per, bags in {"bag": 1, "mix": 6, "trial": 24}.items():
        water = {unit: found["water", "to add", per, unit] for unit in ("g", "kg", "oz", "lb", "L")}
        expected = {"g": 1275.728541, "kg": 1.275728541, "oz": 45.0, "lb": 2.8125, "L": 1.278028993}
        assert water == {unit: pytest.approx(value * bags, rel=1e-6) for unit, value in expected.items()}
        quarts = found["water", "to add", per, "US liquid qt"]
        assert quarts == pytest.approx(1.278028993 / 0.946352946 * bags, rel=1e-6)


def test_quarts_are_told_apart(capsys: pytest.CaptureFixture[str]) -> None:
    """An ingredient is in dry quarts: 2 of them at 0.65 kg/L are 1431.587 g, and back."""
    found = figures(
        capsys, "--main", "pellets, 2 dry qt, density 0.65, moisture 8%", "--water", "1 liquid qt"
    )
    base = "main, as weighed"
    assert found["pellets", base, "bag", "US dry qt"] == pytest.approx(2.0)
    assert found["pellets", base, "bag", "g"] == pytest.approx(1431.587226, rel=1e-6)
    assert found["water", "to add", "bag", "US liquid qt"] == pytest.approx(1.0)


@pytest.mark.parametrize("size", [("--bag-wet", "2500 g"), ("--bag-dry", "1 kg")])
def test_bag_of_a_size(size: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """2500 g at 60 %, 20 % of dry: by hand 800/0.92 g pellets, 200/0.88 g bran, the rest water."""
    mix = ["--main", "pellets, moisture 8%", "--supplement", "bran, 20% of dry, moisture 12%"]
    found = figures(capsys, *mix, "--moisture", "60", *size)
    assert found["pellets", "main, as weighed", "bag", "g"] == pytest.approx(869.56522, rel=1e-6)
    assert found["bran", "supplement, as weighed", "bag", "g"] == pytest.approx(227.27273, rel=1e-6)
    assert found["water", "to add", "bag", "g"] == pytest.approx(1403.16206, rel=1e-6)


def test_spawn_as_a_share(capsys: pytest.CaptureFixture[str]) -> None:
    """3 % of 2500 g wet and 7.5 % of 1000 g dry are the same 75 g, 41.25 g dry at 45 %: 4.125 % of dry."""
    for share in ("3% of wet", "7.5% of dry"):
        mix = ["--main", "pellets, 1 kg, moisture 0", "--water", "1.5 kg", "--spawn", share]
        found = figures(capsys, *mix, "--spawn-moisture", "45%")
        assert found["spawn", "as weighed", "bag", "g"] == pytest.approx(75.0)
        rate = found["spawn rate", "of all dry matter, spawn oven-dry", "bag", "%"]
        assert rate == pytest.approx(4.125)


def test_carbon_to_nitrogen_with_its_source(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand (500 + 112.5)/(1 + 6) = 87.5; the sources stand by the values, commas and all."""
    main_one = "wood, 1000 g, moisture 0, C 50%, N 0.1%, source lab, 3 March"
    supplement = "feed, 250 g, moisture 0, C 45%, N 2.4%, source maker's label"
    out, err = run(capsys, "--main", main_one, "--supplement", supplement, "--water", "1 L")
    said = [" ".join(line.split()) for line in out.splitlines()]
    assert "C:N of the mix, by weight 87.5" in said
    assert "wood N of its dry matter (lab, 3 March) 0.1 %" in said
    assert err == ""
    out, err = run(capsys, "--main", main_one, "--supplement", BRAN, "--water", "1 L")
    assert "C:N" not in out
    assert err == "Warning: no C:N of the mix: bran has no C and N.\n"


def test_left_out_moisture_is_warned_of(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: 1000 g at 60 % gets 1500 g water; at 10 % it holds 1600 of 2500 g, 64 %, 250 g too much."""
    err = run(capsys, "--main", "pellets, 1000 g", "--moisture", "60%")[1]
    assert "moisture left out for pellets: taken as 0 %" in err
    assert "64.0 % moisture, not 60.0 % and 900.0 g of dry matter a bag, not 1000.0 g" in err
    assert "the water is 250.0 g a bag too much" in err
    # With bran known the level moves too: by hand 88/1088 = 8.1 %, 88/988 = 8.9 %.
    known = ["--supplement", "bran, 100 g, moisture 12%"]
    err = run(capsys, "--main", "pellets, 1000 g", *known, "--water", "1500 g")[1]
    assert "supplement 8.9 % of all dry matter, oven-dry, not 8.1 %" in err
    assert "too much" not in err
    assert run(capsys, "--main", "pellets, 1000 g, moisture 0", "--water", "1 L")[1] == ""


def test_last_mix_is_smaller(capsys: pytest.CaptureFixture[str]) -> None:
    """24 bags at 7 a mix: the fourth has 3."""
    assert "last of 4 mixes is for 3 bags" in run(capsys, *PRACTICE, "--bags", "24", "--bags-per-mix", "7")[1]
    assert run(capsys, *PRACTICE, "--bags", "24", "--bags-per-mix", "6")[1] == ""


def test_what_differs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Against a kept recipe only what changed is shown; ingredients that came or went are not known there."""
    kept = tmp_path / "kept.json"
    kept.write_text(run(capsys, *PRACTICE, "--format", "json")[0], encoding="utf-8")
    out = run(capsys, *PRACTICE, "--previous", str(kept))[0]
    assert out.endswith("\nNothing differs from the previous recipe.\n")
    changed = ["--main", PELLETS, "--supplement", "soy, 0.8 oz, moisture 12%", "--water", "45 oz"]
    out = run(capsys, *changed, "--previous", str(kept))[0]
    said = [" ".join(line.split()) for line in out.partition("changed ")[2].splitlines()]
    assert "soy supplement, as weighed not known 22.68 g" in said
    assert "bran supplement, as weighed 22.68 g not known" in said
    assert "spawn as weighed 453.59 g not known" in said
    assert not [line for line in said if line.startswith(("water", "pellets"))]


def test_previous_in_csv(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CSV has each figure's previous value beside it, also of what is gone."""
    kept = tmp_path / "kept.json"
    kept.write_text(run(capsys, *PRACTICE, "--format", "json")[0], encoding="utf-8")
    mix = ["--main", PELLETS, "--water", "40 oz", "--previous", str(kept), "--format", "csv"]
    rows = list(csv.DictReader(io.StringIO(run(capsys, *mix)[0])))
    by_key = {(row["what"], row["base"], row["unit"]): row for row in rows if row["per"] == "bag"}
    water = by_key["water", "to add", "oz"]
    assert (float(water["value"]), float(water["previous"])) == (40.0, 45.0)
    bran = by_key["bran", "supplement, as weighed", "oz"]
    assert (bran["value"], float(bran["previous"])) == ("", 0.8)


MIX = ["--main", "pellets, 1 kg, moisture 8%"]
WATER = ["--water", "1 L"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([*MIX, "--moisture", "0"], "can't be aimed at"),
        ([*MIX, "--moisture", "100"], "can't be aimed at"),
        ([*MIX, "--moisture", "0.6"], "less than 1 %"),
        ([*MIX, "--moisture", "101"], "no percentage"),
        ([*MIX, "--moisture", "5"], "already wetter than 5 %"),
        ([*MIX, "--water", "-1 kg"], "no amount"),
        ([*MIX, "--water", "1 qt"], "which quart"),
        ([*MIX, *WATER, "--moisture", "60"], "either water or the moisture"),
        (MIX, "either water or the moisture"),
        (WATER, "--main"),
        (["--main", "pellets, 1 kg, moisture 100%", *WATER], "100 % can't be"),
        (["--main", "pellets, 1 kg, moisture 0.08", *WATER], "less than 1 %"),
        (["--main", "pellets, -1 kg", *WATER], "no amount"),
        (["--main", "pellets, 0 kg", *WATER], "no main substrate"),
        (["--main", "pellets", *WATER], "no amount"),
        (["--main", "pellets, 20% of dry", *WATER], "no weight"),
        (["--main", "pellets, 1 qt, density 0.6", *WATER], "which quart"),
        (["--main", "pellets, 1 dry qt", *WATER], "no density"),
        (["--main", "pellets, 1 L, density 650", *WATER], "density '650' can't be"),
        (["--main", "pellets, 1 kg, wet 8%", *WATER], "'wet 8%' is not understood"),
        (["--main", ", 1 kg", *WATER], "has no name"),
        (["--main", "a, 1 kg, C 40%, N 1%", *WATER], "without their source"),
        (["--main", "a, 1 kg, C 40%, N 0%, source x", *WATER], "no nitrogen"),
        ([*MIX, "--supplement", "bran, 5%", *WATER], "doesn't say of what"),
        ([*MIX, "--supplement", "bran, 100% of dry", *WATER], "100 % can't be"),
        ([*MIX, "--supplement", "pellets, 5 g", *WATER], "twice"),
        ([*MIX, *WATER, "--bag-dry", "1 kg"], "can't both be given"),
        (["--main", "pellets", *WATER, "--bag-wet", "1 kg"], "wet weight goes with the moisture"),
        ([*MIX, *WATER, "--spawn", "5%"], "doesn't say of what"),
        ([*MIX, *WATER, "--spawn-moisture", "45"], "without spawn"),
        ([*MIX, *WATER, "--bags", "0"], "--bags"),
        ([*MIX, *WATER, "--bags", "4", "--bags-per-mix", "6"], "more than the 4 bags"),
        ([*MIX, *WATER, "--previous", "nowhere.json"], "no recipe that colscan printed"),
        (["--main", f"pellets, {'9' * 400} kg", *WATER], "can't be an amount"),
    ],
)
def test_nonsense_is_refused(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, what is wrong on stderr, nothing on stdout."""
    assert main(["recipe", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err


@pytest.mark.parametrize("content", ["", "[]", "{}", '{"rows": [1]}', '{"rows": [{"what": "x"}]}', "\x00"])
def test_previous_that_is_no_recipe(content: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that isn't a kept recipe is refused."""
    (tmp_path / "x.json").write_text(content, encoding="utf-8")
    assert main(["recipe", *MIX, *WATER, "--previous", str(tmp_path / "x.json")]) == 2
    assert "no recipe that colscan printed" in capsys.readouterr().err
