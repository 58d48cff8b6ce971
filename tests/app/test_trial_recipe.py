"""`colscan recipe` of a trial: its levels side by side, its mixes, what to buy; by hand in ounces.

A bag: 32 pellets at 6 %, 2 shavings at 10 %, 45 water, 16 spawn; at 8 % 2.56 bran at 12 % (common practice,
no source). Four bags: one without bran, three with, of which one is a blank, without spawn.
"""

import csv
import io
import json
from pathlib import Path

import pytest

from colscan.app.cli.main import main
from colscan.trial import load_trial

PLAN = """\
# the rack in the cellar
name = "hornbeam"
time_zone = "America/New_York"
[[strain]]
code = "PO-3"
[[strain]]
code = "PE-1"
[[treatment]]
supplement = "none"
supplement_pct = 0
[[treatment]]
supplement = "bran"
supplement_pct = 8
"""
BAGS = """\
bag,role,strain,supplement,supplement_pct,mix_batch,inoculated_at
B01,trial,PO-3,none,0,M1,2026-03-02T06:00:00-05:00
B02,trial,PO-3,bran,8,M2,2026-03-02T06:00:00-05:00
B03,trial,PE-1,bran,8,M2,2026-03-02T06:00:00-05:00
B04,blank,none,bran,8,M2,2026-03-02T06:00:00-05:00
"""
OPTIONS = ["--main", "pellets, 2 lb, moisture 6%", "--supplement", "bran, 2.5% of main, moisture 12%"]
OPTIONS += ["--other", "shavings, 2 oz, moisture 10%", "--water", "45 oz", "--spawn", "1 lb"]


@pytest.fixture
def hornbeam(tmp_path: Path) -> Path:
    """The trial, without a recipe."""
    folder = tmp_path / "hornbeam"
    folder.mkdir()
    (folder / "trial.toml").write_text(PLAN, encoding="utf-8")
    (folder / "bags.csv").write_text(BAGS, encoding="utf-8")
    return folder


@pytest.fixture
def kept(hornbeam: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """The trial with the recipe kept in it."""
    assert main(["recipe", str(hornbeam), *OPTIONS, "--keep"]) == 0
    err = capsys.readouterr().err
    assert "a supplement's amount is the level of each treatment" in err
    assert f"The recipe stands in {hornbeam / 'trial.toml'}.\n" in err
    return hornbeam


def lines(text: str) -> list[str]:
    """The lines of tables, their gaps closed."""
    return [" ".join(line.split()) for line in text.splitlines()]


def ounces(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[tuple[str, ...], float]:
    """The weights in oz by treatment, mix, what and per."""
    assert main(["recipe", *arguments, "--format", "json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    return {
        (row["treatment"], row["mix"], row["what"], row["per"]): row["value"]
        for row in rows
        if row["unit"] == "oz"
    }


def test_levels_side_by_side(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: moisture 47.12/79 = 59.6 % and 47.4272/81.56 = 58.2 %; bran 2.2528/34.1328 = 6.6 % of dry."""
    assert main(["recipe", str(kept)]) == 0
    out = capsys.readouterr().out
    said = lines(out)
    assert "one bag base none bran 8 %" in said
    assert "bran supplement, as weighed none 72.6 g = 2.56 oz" in said
    assert "substrate wet, without spawn 2.240 kg = 79.00 oz 2.312 kg = 81.56 oz" in said
    assert "moisture of the wet substrate 59.6 % 58.2 %" in said
    assert "supplement of main substrate as weighed 0.0 % 8.0 %" in said
    assert "supplement of all dry matter, oven-dry 0.0 % 6.6 %" in said
    assert "spawn rate of wet substrate as mixed 20.3 % 19.6 %" in said
    assert "to buy base all 4 bags, 1 blank" in said
    assert max(map(len, out.splitlines())) <= 110
    order = [line.split()[0] for line in said if "weighed" in line and "rate" not in line and "%" not in line]
    assert order == ["pellets", "bran", "shavings", "spawn", "pellets", "bran", "shavings", "spawn", "spawn"]


def test_what_to_buy_is_the_sum_over_bags(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: 4 x 32 pellets, 3 x 2.56 bran, 4 x 2 shavings, 4 x 45 water; spawn 2 x 16 and 16."""
    found = ounces(capsys, str(kept))
    bought = {key[2]: value for key, value in found.items() if key[3] == "trial"}
    expected = {"pellets": 128, "bran": 7.68, "shavings": 8, "water": 180, "spawn PO-3": 32, "spawn PE-1": 16}
    assert bought == pytest.approx(expected)
    assert list(bought) == ["pellets", "bran", "shavings", "water", "spawn PO-3", "spawn PE-1"]
    assert main(["recipe", str(kept), "--format", "csv"]) == 0
    rows = csv.DictReader(io.StringIO(capsys.readouterr().out))
    bought_rows = [row for row in rows if (row["what"], row["per"]) == ("water", "trial")]
    water = {row["unit"]: float(row["value"]) for row in bought_rows}
    # 180 oz are 5.10291416 kg, at 0.9982 kg/L 5.11211597 L, by 0.946352946 5.40191229 liquid quarts.
    assert water["lb"] == pytest.approx(11.25)
    assert water["L"] == pytest.approx(5.11211597)
    assert water["US liquid qt"] == pytest.approx(5.40191229)


def test_mixes_and_levels(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """M2 fills three bags, one of them a blank: by hand 3 x 81.56 oz and 2 x 16 of spawn are 276.68."""
    found = ounces(capsys, str(kept))
    for mix, per in (("M2", "mix"), ("", "level")):
        of_mix = {what: found["bran 8 %", mix, what, per] for what in ("pellets", "bran", "spawn", "filled")}
        assert of_mix == pytest.approx({"pellets": 96, "bran": 7.68, "spawn": 32, "filled": 276.68})
    assert found["none", "M1", "water", "mix"] == pytest.approx(45)
    assert ("none", "M1", "bran", "mix") not in found
    assert main(["recipe", str(kept)]) == 0
    said = lines(capsys.readouterr().out)
    start = said.index("mix level bags pellets bran shavings water spawn")
    assert said[start + 2].startswith("M1 none 1 ")
    assert any(line.startswith("M2 bran 8 % 3, 1 blank") for line in said)
    assert any(line.startswith("all bran 8 % 3, 1 blank") for line in said)


def test_a_recipe_is_looked_at_before_it_is_kept(hornbeam: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without --keep the trial's levels are shown with the options' recipe, and its file stays as it is."""
    assert main(["recipe", str(hornbeam), *OPTIONS]) == 0
    assert "bran supplement, as weighed none 72.6 g = 2.56 oz" in lines(capsys.readouterr().out)
    assert (hornbeam / "trial.toml").read_text() == PLAN
    assert main(["recipe", str(hornbeam), *OPTIONS, "--keep"]) == 0
    text = (hornbeam / "trial.toml").read_text()
    assert text.startswith(PLAN + "\n[recipe]\n")
    capsys.readouterr()
    assert main(["recipe", str(hornbeam), *OPTIONS, "--keep"]) == 0
    assert "stands in" in (err := capsys.readouterr().err)
    assert "already" in err
    assert (hornbeam / "trial.toml").read_text() == text


def test_what_differs_from_before(kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Level by level; a bag's recipe and a trial's are not compared."""
    before = tmp_path / "before.json"
    assert main(["recipe", str(kept), "--format", "json"]) == 0
    before.write_text(capsys.readouterr().out, encoding="utf-8")
    assert main(["recipe", str(kept), "--previous", str(before)]) == 0
    assert "Nothing differs" in capsys.readouterr().out
    plan = kept / "trial.toml"
    plan.write_text(plan.read_text().replace("45 oz", "46 oz"))
    assert main(["recipe", str(kept), "--previous", str(before)]) == 0
    changed = lines(capsys.readouterr().out.partition("changed ")[2])
    assert "bran 8 % water to add 1275.73 g 1304.08 g" in changed
    assert not [line for line in changed if "pellets" in line]
    assert main(["recipe", *OPTIONS, "--previous", str(before)]) == 2
    assert "The previous recipe is a trial's, this one a bag's" in capsys.readouterr().err


def test_left_out_moisture_is_warned_of(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Once, at the level where most is weighed."""
    plan = kept / "trial.toml"
    plan.write_text(plan.read_text().replace("bran, moisture 12%", "bran"))
    assert main(["recipe", str(kept)]) == 0
    err = capsys.readouterr().err
    assert "\nWarning: at bran 8 %: moisture left out for bran" in err
    assert err.count("Warning") == 1


def test_levels_that_differ_in_more_than_the_supplement(
    kept: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Said; by hand 31.88 oz = 904 g and 34.1328 oz = 968 g dry. Bags alike: silence."""
    assert main(["recipe", str(kept)]) == 0
    err = capsys.readouterr().err
    assert "the levels differ in moisture too, 58.2 to 59.6 %" in err
    assert "the levels differ in dry matter too, 904 to 968 g a bag" in err
    plan = kept / "trial.toml"
    text = plan.read_text().replace('water = "45 oz"', 'moisture_pct = 60\nbag_wet = "2.5 kg"')
    plan.write_text(text.replace("pellets, 2 lb, ", "pellets, "))
    assert main(["recipe", str(kept)]) == 0
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "The trial hornbeam has no recipe"),
        (["--keep"], "--keep is given without a recipe"),
        (["--moisture", "60"], "A recipe is given without --main"),
        ([*OPTIONS, "--bags", "4"], "--bags and --bags-per-mix don't go with a trial"),
        (["--main", "pellets, 1 kg", "--water", "1 L", "--keep"], "nothing of the supplement 'bran'"),
        ([*OPTIONS, "--supplement", "soy, 3 oz", "--keep"], "has the supplement 'soy'"),
    ],
)
def test_what_does_not_go_together(
    hornbeam: Path, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 2, nothing on stdout, nothing written."""
    assert main(["recipe", str(hornbeam), *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert (hornbeam / "trial.toml").read_text() == PLAN


def test_keep_needs_a_trial(capsys: pytest.CaptureFixture[str]) -> None:
    """A recipe of a bag alone has nowhere to go."""
    assert main(["recipe", *OPTIONS, "--keep"]) == 2
    assert "--keep is given without a trial" in capsys.readouterr().err


def test_efficiency_by_the_recipe(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """300 g of 34.1328 oz = 967.6 g dry are 31.0 %, by hand, and it is said that nobody weighed it."""
    assert main(["harvest", str(kept), "B02", "1", "300", "--at", "2026-04-08"]) == 0
    err = capsys.readouterr().err
    assert "300 g, 31.0 % of about 968 g dry substrate, by the recipe, not weighed (" in err
    assert load_trial(kept).bag("B02").dry_g is None  # type: ignore[union-attr]
