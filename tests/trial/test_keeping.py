"""A recipe is kept in a trial's own file, and nothing else in that file changes."""

import dataclasses

import pytest

from colscan.errors import LedgerError, TrialError
from colscan.trial import load_trial
from colscan.trial.keeping import keep_recipe, with_recipe
from colscan.trial.model import PLAN_FILE, RecipePlan
from colscan.trial.recipe_text import drop_amount

GIVEN = RecipePlan(
    main=("pellets, 2 lb, moisture 6%",),
    supplement=("bran, 2.5% of main, moisture 12%",),
    moisture_pct=60.0,
    spawn="5% of wet",
)


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("bran, 2.5% of main, moisture 12%", "bran, moisture 12%"),
        ("bran, moisture 12%, .8 oz", "bran, moisture 12%"),
        ("bran, moisture 12%", "bran, moisture 12%"),
        ("bran, C 45%, N 2%, source lab, 3 March", "bran, C 45%, N 2%, source lab, 3 March"),
    ],
)
def test_amount_is_dropped(text, left) -> None:
    """What else is known of an ingredient stays, a source with its commas too."""
    assert drop_amount(text) == left


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_everything_else_stays(write_trial, end) -> None:
    """Remarks and line ends are as they were; the recipe stands below, read back as it was given."""
    folder = write_trial()
    path = folder / PLAN_FILE
    path.write_bytes(b"\xef\xbb\xbf# my own remark" + end.encode() + path.read_bytes().rstrip())
    before = path.read_bytes()
    trial = with_recipe(load_trial(folder), GIVEN)
    assert keep_recipe(folder, trial.recipe)
    after = path.read_bytes()
    assert after.startswith(before + end.encode() * 2 + b"[recipe]" + end.encode())
    assert load_trial(folder) == trial
    assert trial.recipe.supplement == ("bran, moisture 12%",)
    assert not keep_recipe(folder, trial.recipe)
    assert path.read_bytes() == after


def test_another_recipe_is_not_replaced(write_trial) -> None:
    """Where it stands and what it says otherwise is told; the file is as it was."""
    folder = write_trial()
    recipe = with_recipe(load_trial(folder), GIVEN).recipe
    keep_recipe(folder, recipe)
    before = (folder / PLAN_FILE).read_bytes()
    line = before.decode().split("\n").index("[recipe]") + 1
    said = f"{PLAN_FILE}:{line}: there is another .recipe., with no water, moisture_pct = 60$"
    with pytest.raises(TrialError, match=f"{said}|{said[:-1]}\n"):
        keep_recipe(folder, dataclasses.replace(recipe, water="45 oz", moisture_pct=None))
    assert (folder / PLAN_FILE).read_bytes() == before


def test_a_recipe_that_does_not_suit_the_trial(write_trial) -> None:
    """A supplement that no level has would be in no bag; one that a level lacks can't be weighed."""
    trial = load_trial(write_trial())
    with pytest.raises(TrialError, match="No treatment of the trial hornbeam has the supplement 'soy'"):
        with_recipe(trial, dataclasses.replace(GIVEN, supplement=("bran", "soy, 3% of main")))
    with pytest.raises(TrialError, match="nothing of the supplement 'bran'"):
        with_recipe(trial, dataclasses.replace(GIVEN, supplement=()))


def test_a_failed_write_leaves_the_file(write_trial, monkeypatch) -> None:
    """A disk that is full: said, and the file is as it was, without a rest beside it."""

    def fail(_descriptor):
        raise OSError(28, "No space left on device")

    folder = write_trial()
    recipe = with_recipe(load_trial(folder), GIVEN).recipe
    before = (folder / PLAN_FILE).read_bytes()
    monkeypatch.setattr("os.fsync", fail)
    with pytest.raises(LedgerError, match="No space left"):
        keep_recipe(folder, recipe)
    assert (folder / PLAN_FILE).read_bytes() == before
    assert sorted(path.name for path in folder.iterdir()) == ["bags.csv", PLAN_FILE]
