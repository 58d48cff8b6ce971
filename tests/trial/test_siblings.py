"""Tags in use in the trials beside one, and what creating a trial makes of them."""

import dataclasses
from datetime import UTC, datetime

import pytest

from colscan.errors import TrialError
from colscan.trial import Layout, create_trial, sibling_tags

ZONE = "America/New_York"
LIST = "bag,tag,strain,supplement,supplement_pct,inoculated_at\n{},{},s,bran,0,2026-03-02T06:00:00-05:00\n"
LAYOUT = Layout(strains=("PO-3",), replicates=2, inoculated_at="2026-03-02T06:00")


def test_the_tags_of_a_running_sibling_are_told(write_trial, tmp_path):
    """With bag, trial and folder; a bag without card has none. The trial itself is no sibling."""
    folder = write_trial(('"hornbeam"', '"Oak rack"'))
    live = sibling_tags(tmp_path / "new")
    assert sorted(live) == [1, 2, 4]
    assert str(live[4]) == f"bag B04 of the trial 'Oak rack' in {folder}"
    assert sibling_tags(folder) == {}


@pytest.mark.parametrize("said", ["2026-04-01T00:00:00Z", "2026-03-31T20:00:00", "2026-03-31"])
def test_the_tags_of_a_sibling_that_has_ended_are_free(write_trial, tmp_path, monkeypatch, said):
    """From ended_at on, in the trial's zone where it says no offset; before, they are in use."""
    write_trial(("[[strain]]", f"ended_at = {said}\n[[strain]]"))
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 4, 1, tzinfo=UTC))
    assert sibling_tags(tmp_path / "new") == {}
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 3, 31, 3, 59, tzinfo=UTC))
    assert sorted(sibling_tags(tmp_path / "new")) == [1, 2, 4]


def test_a_trial_under_another_name_is_no_sibling_of_itself(write_trial, tmp_path):
    """A link to it, or its name in other letters where the file system doesn't tell capitals apart."""
    folder = write_trial()
    (tmp_path / "latest").symlink_to(folder, target_is_directory=True)
    assert sibling_tags(folder) == {}


def test_folders_without_plan_are_no_siblings(tmp_path):
    """Photos, lists and other things may lie beside a trial."""
    (tmp_path / "photos").mkdir()
    (tmp_path / "bags.csv").write_text(LIST.format("B01", 1))
    assert sibling_tags(tmp_path / "new") == {}
    assert sibling_tags(tmp_path / "no" / "such" / "place") == {}


@pytest.mark.parametrize(
    ("old", "new", "tags"),
    [
        ("[[strain]]", "[[strain", [1, 2, 4]),
        ("name = ", "nmae = ", [1, 2, 4]),
        ("B02,2,", "B02,999,", [1, 4]),
        ("bag,tag", "bag,tga", []),
    ],
)
def test_a_sibling_with_mistakes_counts_as_running(write_trial, tmp_path, old, new, tags):
    """Its cards hang on the shelf all the same; what can be read in it counts."""
    write_trial((old, new))
    assert sorted(sibling_tags(tmp_path / "new")) == tags


def test_a_tag_of_another_bag_is_refused(write_trial, tmp_path):
    """Both bags, the trial and the way out are named; nothing is written."""
    folder = write_trial()
    (tmp_path / "list.csv").write_text(LIST.format("X01", 4))
    with pytest.raises(TrialError) as caught:
        create_trial(tmp_path / "new", tmp_path / "list.csv", time_zone=ZONE)
    assert "tag 4 of bag X01 is in use on bag B04 of the trial 'hornbeam'" in str(caught.value)
    assert f"set ended_at in {folder / 'trial.toml'}" in str(caught.value)
    with pytest.raises(TrialError, match=r"tag 4 of bag B01 .* \(and 3 more tags like it\)|tag 2 of bag"):
        create_trial(tmp_path / "new", dataclasses.replace(LAYOUT, first_tag=2), time_zone=ZONE)
    assert not (tmp_path / "new").exists()


def test_a_tag_in_use_in_several_trials_is_counted_once(write_trial, tmp_path):
    """It is one tag, however many trials have it."""
    for name in ("hornbeam", "oakrack"):
        write_trial(name=name)
    (tmp_path / "list.csv").write_text(LIST.format("X01", 4))
    with pytest.raises(TrialError, match=r"in use on bag B04 of the trial 'hornbeam' in \S+hornbeam\n"):
        create_trial(tmp_path / "new", tmp_path / "list.csv", time_zone=ZONE)


def test_the_very_same_bag_may_stand_in_two_trials(write_trial, tmp_path):
    """Same code, tag and day 0: its tag still means one bag. It is said."""
    write_trial()
    (tmp_path / "list.csv").write_text(LIST.format("B04", 4))
    made = create_trial(tmp_path / "new", tmp_path / "list.csv", time_zone=ZONE)
    assert made.notes[-1] == "the same bags stand in: hornbeam (same code, tag and day 0)"


def test_a_layout_passes_over_tags_in_use(write_trial, tmp_path):
    """The first free ones are taken, and it is said."""
    write_trial()
    made = create_trial(tmp_path / "new", LAYOUT, time_zone=ZONE)
    assert [bag.tag for bag in made.trial.bags] == [3, 5, 6, 7]
    assert any("3 in use in the trials beside this one were passed over" in note for note in made.notes)


def test_a_layout_alone_begins_at_tag_one(tmp_path):
    """Nothing is passed over and nothing said of it."""
    made = create_trial(tmp_path / "new", LAYOUT, time_zone=ZONE)
    assert [bag.tag for bag in made.trial.bags] == [1, 2, 3, 4]
    assert not any("passed over" in note for note in made.notes)


@pytest.mark.parametrize("plan", ["x = " + "[" * 3000, "x = " + "9" * 5000])
def test_a_sibling_that_cant_be_read_is_running(write_trial, plan):
    """Whatever stands in its plan, its cards hang on the shelf."""
    folder = write_trial()
    (folder / "trial.toml").write_text(plan)
    assert set(sibling_tags(folder.parent / "new"))
