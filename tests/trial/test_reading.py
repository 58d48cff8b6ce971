"""What load_trial takes and what it refuses, with file, line and value."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colscan.errors import TrialError
from colscan.trial import load_trial
from colscan.trial.keys import SECTIONS, TOP
from colscan.trial.model import Limits, RecipePlan, Shelf, Strain, Trial
from colscan.trial.reading import parse_plan

EVERY_KEY = """\
name = "hornbeam" # the shelf in the cellar
time_zone = "America/New_York"
question = "How much bran?"
planned_end = 2026-04-27T06:00:00
ended_at = "2026-05-01T06:00:00Z"
judging = "blind"
plan = "--seed 7"
[limits]
contamination_risk = 0.10
horizon = "first-harvest"
full_coverage_pct = 97
ready_coverage_pct = 94.5
stalled_points_per_day = 0.5
stalled_days = 4
max_photo_megapixels = 200

# The strains.

[[strain]]
code = "PO-3"
species = "oyster"
spawn = "sawdust"
consolidate_days = 5
healthy_looks = ["amber", "brown"]

[[treatment]]
supplement = "bran"
supplement_pct = 7.5
supplement_base = "all dry matter"

[[shelf]]
name = "north"
tiers = 3
cards = [580, 581]

[recipe]
main = ["pellets, moisture 6%"]
supplement = ["bran, moisture 12%"]
other = ["gypsum, 10 g"]
moisture_pct = 60
bag_dry = "1 kg"
spawn = "5% of wet"
spawn_moisture_pct = 45
"""
INSTEAD = {"water", "bag_wet"}
"""What can't stand beside moisture_pct and bag_dry."""


def refusal(folder):
    """The error that loading this folder ends with, as text."""
    with pytest.raises(TrialError) as caught:
        load_trial(folder)
    return str(caught.value)


@pytest.mark.parametrize("key", ["planned_end", "ended_at"])
def test_an_end_before_the_beginning_is_refused(write_trial, key):
    """With its line and the first bag's day 0; the moment itself is allowed."""
    text = refusal(write_trial(("[[strain]]", f"{key} = 2026-03-02T05:59:00-05:00\n[[strain]]")))
    assert f"hornbeam/trial.toml:4: {key}: 2026-03-02T05:59:00-05:00 is before the first bag" in text
    assert "B01, 2026-03-02T06:00:00-05:00" in text
    folder = write_trial(("[[strain]]", f"{key} = 2026-03-02T06:00:00-05:00\n[[strain]]"), name="other")
    assert getattr(load_trial(folder), key).hour == 6


def test_a_strain_code_in_two_lines_is_refused(write_trial):
    """No screen, chart or card could show it."""
    text = refusal(write_trial(('code = "PO-3"', 'code = "PO\\n3"')))
    assert "trial.toml:5: code: 'PO\\n3' can't be used: it holds a line break" in text


def test_a_photo_in_the_place_of_the_trial_is_told(tmp_path):
    """Who forgot TRIAL_DIR, or gave a file of the trial, is told what comes first."""
    (tmp_path / "a.jpg").write_bytes(b"jpeg")
    text = refusal(tmp_path / "a.jpg")
    assert "a.jpg is a file, not a trial's folder" in text
    assert "Give the trial's folder first: the one that holds trial.toml." in text


def test_a_farm_in_the_place_of_a_trial_is_told(write_trial):
    """With the trials that it holds, rather than advice to begin one in it."""
    folder = write_trial()
    (folder.parent / "photos").mkdir()
    text = refusal(folder.parent)
    assert f"Give one of the trials in it (hornbeam), like {folder}." in text


def test_every_key_is_taken():
    """Each key that is declared stands in the example and arrives in the model."""
    keys = {name for section in (TOP, *SECTIONS) for name in section.keys} - INSTEAD
    assert all(f"\n{key} = " in "\n" + EVERY_KEY for key in keys)
    assert all(section.header in EVERY_KEY for section in SECTIONS)
    trial = parse_plan(EVERY_KEY.encode(), "trial.toml")
    assert (trial.name, trial.question, trial.judging) == ("hornbeam", "How much bran?", "blind")
    # A local time is in the trial's zone: New York is 4 h behind UTC in April.
    assert trial.planned_end == datetime(2026, 4, 27, 10, tzinfo=UTC)
    assert trial.ended_at == datetime(2026, 5, 1, 6, tzinfo=UTC)
    assert trial.limits == Limits(
        contamination_risk=0.10,
        horizon="first-harvest",
        full_coverage_pct=97,
        ready_coverage_pct=94.5,
        stalled_points_per_day=0.5,
        stalled_days=4,
        max_photo_megapixels=200,
    )
    assert trial.strains == (
        Strain(
            code="PO-3",
            species="oyster",
            spawn="sawdust",
            consolidate_days=5,
            healthy_looks=("amber", "brown"),
        ),
    )
    assert [(t.supplement, t.supplement_pct, t.supplement_base) for t in trial.treatments] == [
        ("bran", 7.5, "all dry matter")
    ]
    assert trial.shelves == (Shelf(name="north", tiers=3, cards=(580, 581)),)
    assert trial.recipe == RecipePlan(
        main=("pellets, moisture 6%",),
        supplement=("bran, moisture 12%",),
        other=("gypsum, 10 g",),
        moisture_pct=60.0,
        bag_dry="1 kg",
        spawn="5% of wet",
        spawn_moisture_pct=45.0,
    )


def test_a_small_trial_has_the_defaults(write_trial):
    """What isn't said is the model's default; the bags come in the file's order."""
    trial = load_trial(write_trial())
    assert trial.limits == Limits()
    assert (trial.question, trial.planned_end, trial.ended_at, trial.shelves) == ("", None, None, ())
    assert [(b.bag, b.tag, b.treatment) for b in trial.bags] == [
        ("B01", 1, "bran 0 %"),
        ("B02", 2, "bran 8 %"),
        ("B03", None, "bran 0 %"),
        ("B04", 4, "bran 8 %"),
    ]


def test_a_horizon_may_be_days():
    """A number of days, whole or not."""
    text = EVERY_KEY.replace('"first-harvest"', "21")
    assert parse_plan(text.encode(), "t").limits.horizon == 21.0


@pytest.mark.parametrize(
    "when", ["2026-04-27", '"2026-04-27"', "2026-04-27 00:00:00", '"2026-04-27T00:00-04:00"']
)
def test_a_time_may_be_written_in_several_ways(when):
    """TOML's own times and ISO texts; a date is its beginning in the trial's zone."""
    text = EVERY_KEY.replace("2026-04-27T06:00:00", when)
    assert parse_plan(text.encode(), "t").planned_end == datetime(2026, 4, 27, 4, tzinfo=UTC)


def test_local_times_keep_the_hour_of_a_change_to_summer_time():
    """New York's clocks went from 2 to 3 on 8 March 2026: 23 hours from noon to noon."""
    text = EVERY_KEY.replace("2026-04-27T06:00:00", "2026-03-07T12:00:00").replace(
        "2026-05-01T06:00:00Z", "2026-03-08T12:00:00"
    )
    trial = parse_plan(text.encode(), "t")
    assert trial.ended_at - trial.planned_end == timedelta(hours=23)


def test_a_mark_at_the_beginning_and_windows_line_ends_are_no_mistake():
    """As simple editors write."""
    raw = b"\xef\xbb\xbf" + EVERY_KEY.replace("\n", "\r\n").encode()
    assert parse_plan(raw, "t") == parse_plan(EVERY_KEY.encode(), "t")


SPOILT = [
    # old, new, line, what the message must hold
    ("horizon =", "horizn =", 10, ["'horizn' in [limits]", "Did you mean 'horizon'?"]),
    ("spawn =", "spwan =", 22, ["'spwan' in [[strain]]", "Did you mean 'spawn'?"]),
    ("time_zone =", "timezone =", 2, ["'timezone' in the top of the file", "'time_zone'"]),
    ("question =", "stalled_days =", 3, ["'stalled_days'", "belongs under [limits]"]),
    ("[limits]", "[limit]", 8, ["unknown section [limit]", "Did you mean 'limits'?"]),
    ("[recipe]", "[recipe]\nwater = 3", 37, ["water: 3 is not a text in quotes"]),
    ("[recipe]", "[recipe]\nspwan = 3", 37, ["'spwan' in [recipe]", "'spawn'?"]),
    ("[[strain]]", "[strain]", 19, ["strain is not written as a section", "Write [[strain]]"]),
    ("[limits]", "[[limits]]", 8, ["limits is not written as a section", "Write [limits]"]),
    ("0.10", '"0.10"', 9, ["contamination_risk: '0.10' is not a number", "from 0 to 1"]),
    ("0.10", "20", 9, ["contamination_risk: 20 is outside 0.001 to 0.999"]),
    ("0.10", "nan", 9, ["nan is outside"]),
    ("= 97", "= true", 11, ["full_coverage_pct: true is not a number"]),
    ("= 97", "= 101", 11, ["101 is outside 1 to 100"]),
    ("= 97", "= 90", 12, ["ready_coverage_pct 94.5 is over full_coverage_pct 90"]),
    ("= 200", f"= 1{'0' * 400}", 15, ["is outside 0.01 to 1000"]),
    ('"first-harvest"', '"harvest"', 10, ["horizon: 'harvest' is none of: full, first-harvest"]),
    ('"first-harvest"', "-3", 10, ["horizon: -3 is outside 1 to 1000"]),
    ("America/New_York", "America/NewYork", 2, ["'America/NewYork'", "did you mean 'America/New_York'?"]),
    ("2026-04-27T06:00:00", '"soon"', 4, ["planned_end: 'soon' is not a time"]),
    ("2026-04-27T06:00:00", "06:00:00", 4, ["planned_end", "is not a time"]),
    ('"hornbeam"', "7", 1, ["name: 7 is not a text in quotes"]),
    ('"hornbeam"', '" "', 1, ["name: is blank"]),
    ('"sawdust"', '"saw dust"', 22, ["spawn: 'saw dust' is none of: grain, sawdust, plugs"]),
    ('"brown"]', '"blue"]', 24, ["healthy_looks: 'blue' is none of: amber, brown"]),
    ('["amber", "brown"]', '"amber"', 24, ["healthy_looks: 'amber' is not a list"]),
    ("= 7.5", "= 120", 28, ["supplement_pct: 120 is outside 0 to 100"]),
    ("supplement_pct = 7.5\n", "", 26, ["supplement_pct is missing in [[treatment]]"]),
    ("tiers = 3", "tiers = 2.5", 33, ["tiers: 2.5 is not a whole number"]),
    ("[580, 581]", "[580, 12]", 34, ["cards: 12 is outside 580 to 586"]),
    ("# The strains.", '[[strain]]\ncode = "PO-3"', 20, ["strain 'PO-3' stands twice (first on line 17)"]),
    (
        "# The strains.",
        '[[shelf]]\nname = "x"\ncards = [581]',
        36,
        ["card 581 is on two shelves, 'x' and 'north'"],
    ),
    ("[limits]", "[limits", 8, ["'[limits' is not TOML"]),
    ("= 0.10", "= 0,10", 9, ["'contamination_risk = 0,10' is not TOML"]),
    ('"PO-3"', '"PO-3', 20, ["is not TOML"]),
    ("question = ", 'name = "x" #', 3, ["was said further up already", "Take one of the two out"]),
    ("# The strains.", "[limits]", 17, ["'[limits]' was said further up already"]),
]


@pytest.mark.parametrize(("old", "new", "line", "told"), SPOILT, ids=[f"{s[0]}->{s[1][:20]}" for s in SPOILT])
def test_one_mistake_in_the_plan_is_refused_with_its_line(old, new, line, told):
    """File, line, value, and what to do."""
    assert old in EVERY_KEY
    with pytest.raises(TrialError) as caught:
        parse_plan(EVERY_KEY.replace(old, new, 1).encode(), "hornbeam/trial.toml")
    text = str(caught.value)
    assert f"hornbeam/trial.toml:{line}: " in text
    assert [part for part in told if part not in text] == []
    assert caught.value.hint


def test_one_control_has_one_name():
    """No supplement at all and 0 % of one are the same bags; compared, one would be the other's treatment."""
    two = "".join(f'[[treatment]]\nsupplement = "{name}"\nsupplement_pct = 0\n' for name in ("none", "bran"))
    with pytest.raises(TrialError) as caught:
        parse_plan(f'name = "hornbeam"\ntime_zone = "UTC"\n{two}'.encode(), "trial.toml")
    assert (
        caught.value.message
        == "trial.toml:6: treatment 'bran' 0 % is the same as 'none' 0 %: nothing is added"
    )
    assert "Keep one of the two" in caught.value.hint


def test_all_mistakes_of_the_plan_are_told_together():
    """In the order of their lines."""
    text = EVERY_KEY.replace("stalled_days", "stale_days").replace("question", "qestion")
    with pytest.raises(TrialError) as caught:
        parse_plan(text.encode(), "trial.toml")
    assert "2 things are wrong" in str(caught.value)
    assert str(caught.value).index("trial.toml:3: ") < str(caught.value).index("trial.toml:14: ")


def test_an_empty_plan_lacks_its_required_keys():
    """Both are named."""
    with pytest.raises(TrialError) as caught:
        parse_plan(b"", "trial.toml")
    assert "name is missing" in str(caught.value)
    assert "time_zone is missing" in str(caught.value)


def test_a_plan_that_is_not_text_is_refused():
    """A file in another encoding: its line."""
    with pytest.raises(TrialError, match=r"trial.toml:2: is not UTF-8 text"):
        parse_plan('name = "x"\nquestion = "naïve"\n'.encode("latin-1"), "trial.toml")


KNOWN = {name for section in (TOP, *SECTIONS) for name in (section.name, *section.keys)}
NAMES = st.from_regex(r"[A-Za-z0-9_-]{1,12}", fullmatch=True).filter(lambda name: name not in KNOWN)
PLACES = st.integers(0, EVERY_KEY.count("\n"))


@settings(deadline=None)
@given(name=NAMES, place=PLACES, value=st.sampled_from(["1", '"x"', "[]", "{ a = 1 }", '"""\n\n"""']))
def test_an_unknown_key_anywhere_is_refused_with_its_line(name, place, value):
    """Never ignored, in whatever section it stands."""
    written = EVERY_KEY.split("\n")
    text = "\n".join([*written[:place], f"{name} = {value}", *written[place:]])
    with pytest.raises(TrialError) as caught:
        parse_plan(text.encode(), "trial.toml")
    assert caught.value.message.startswith(f"trial.toml:{place + 1}: unknown ")
    assert name in caught.value.message


@settings(deadline=None)
@given(name=NAMES, place=PLACES, brackets=st.sampled_from([("[", "]"), ("[[", "]]")]))
def test_an_unknown_section_anywhere_is_refused_with_its_line(name, place, brackets):
    """A header in the midst of a section makes the keys below it unknown, and is told first."""
    written = EVERY_KEY.split("\n")
    text = "\n".join([*written[:place], name.join(brackets), *written[place:]])
    with pytest.raises(TrialError) as caught:
        parse_plan(text.encode(), "trial.toml")
    assert f"trial.toml:{place + 1}: unknown section [{name}]" in caught.value.message


SPOILT_BAGS = [
    ("B04,4,", "B04,2,", 5, ["tag 2 is on two bags, B02 (line 3) and B04 (line 5)"]),
    ("B04,", "B01,", 5, ["bag code 'B01' stands twice, on lines 2 and 5"]),
    ("B02,2", "B02,580", 3, ["tag: 580 is outside 0 to 579", "580 to 586 are shelf cards"]),
    ("B02,2", "B02,586", 3, ["tag: 586 is outside 0 to 579"]),
    ("B02,2", "B02,two", 3, ["tag: 'two' is not a whole number"]),
    ("B02,2,PO-3", "B02,2,PO3", 3, ["strain 'PO3' of bag B02 is not in trial.toml", "Did you mean 'PO-3'?"]),
    ("bran,8", "bran,9", 3, ["treatment 'bran' 9 % of bag B02 is not in", "now: bran 0 %, bran 8 %"]),
    ("bran,8", "soy,8", 3, ["treatment 'soy' 8 % of bag B02"]),
    ("bran,8", "none,8", 3, ["supplement is 'none' and supplement_pct 8"]),
    ("bran,8", "bran,8%", 3, ["supplement_pct: '8%' is not a number"]),
    ("2026-03-02T06:00:00-05:00", "2026-03-02T06:00:00", 2, ["has no offset from UTC", "like 2026-03-02T06"]),
    ("2026-03-02T06:00:00-05:00", "3/2/2026", 2, ["inoculated_at: '3/2/2026' is not a time"]),
    ("B01,1,PO-3", "B01,1,", 2, ["strain is empty"]),
    ("bag,tag,strain,", "bag,tag,kind,", 1, ["required column 'strain' is missing"]),
    ("bag,tag,strain", "bag,bag,strain", 1, ["column 'bag' stands twice"]),
    ("B02,2", "B02", 3, ["has 5 cells where the header has 6"]),
    ("B02", '"B02', 3, ["is not CSV"]),
    ("B02", " B02", 3, ["bag code ' B02' can't be used", "spaces at its ends", "'B02'"]),
]
SPOILT_BAGS += [
    ("B02", code, 3, [f"bag code {code!r} can't be used", repr(instead)])
    for code, instead in [
        ("3-4", "B3-4"),
        ("MAR1", "B-MAR1"),
        ("1E2", "B1E2"),
        ("007", "B007"),
        ("12", "B12"),
        ("TRUE", "B-TRUE"),
        ("1/2", "B1-2"),
        ("3:15", "B3-15"),
        ("=A1", "A1"),
        ("-5", "B05"),
    ]
]


@pytest.mark.parametrize(
    ("old", "new", "line", "told"), SPOILT_BAGS, ids=[f"{s[0][:9]}->{s[1][:19]}" for s in SPOILT_BAGS]
)
def test_one_mistake_in_the_bags_is_refused_with_its_line(write_trial, old, new, line, told):
    """File, line, value, and what to do."""
    text = refusal(write_trial((old, new)))
    assert f"hornbeam/bags.csv:{line}: " in text
    assert [part for part in told if part not in text] == []


def test_the_first_five_mistakes_of_the_bags_are_told(write_trial):
    """In the order of their lines, and how many there are more."""
    rows = "".join(f"{n},,PO-3,bran,0,2026-03-02T06:00:00-05:00\n" for n in range(10, 17))
    text = refusal(write_trial(bags="bag,tag,strain,supplement,supplement_pct,inoculated_at\n" + rows))
    assert text.startswith("7 things are wrong:\n")
    assert [line for line in range(1, 10) if f"bags.csv:{line}: " in text] == [2, 3, 4, 5, 6]
    assert text.endswith("There are 2 more; correct these first.")


def test_an_empty_bag_list_is_refused(write_trial):
    """What the file is instead is said."""
    assert "bags.csv:1: is empty" in refusal(write_trial(bags=""))


def test_a_bag_list_of_its_header_alone_is_refused(write_trial):
    """No photo can be scored by it: every command says so, with what to write."""
    header = "bag,tag,strain,supplement,supplement_pct,inoculated_at\n"
    text = refusal(write_trial(bags=header))
    assert "bags.csv lists no bag\n  Write a line for each bag below" in text


def test_extra_columns_order_and_blank_lines_are_no_mistake(write_trial):
    """A spreadsheet's own columns are the grower's business."""
    bags = (
        "\ufeffstrain,colour,bag,supplement,supplement_pct,inoculated_at\r\n"
        "\r\n"
        "PO-3,=red,B01,bran,8,2026-03-02T06:00:00-05:00\r\n"
        ",,,,,\r\n"
    )
    trial = load_trial(write_trial(bags=bags))
    assert [(bag.bag, bag.strain) for bag in trial.bags] == [("B01", "PO-3")]


def test_a_blank_needs_no_strain(write_trial):
    """A sealed bag without spawn has none; a bag of the trial must have one."""
    bags = (
        "bag,role,strain,supplement,supplement_pct,inoculated_at\nB01,{},none,bran,8,2026-03-02T06:00:00Z\n"
    )
    assert load_trial(write_trial(bags=bags.format("blank"))).bags[0].role == "blank"
    assert "strain 'none' of bag B01" in refusal(write_trial(bags=bags.format("trial"), name="other"))


def test_a_folder_without_plan_is_no_trial(tmp_path):
    """Says how to begin one."""
    for folder in (tmp_path, tmp_path / "nowhere"):
        text = refusal(folder)
        assert f"{folder} is no trial" in text
        assert f"colscan new {folder}" in text


def test_the_trial_that_was_meant_is_named(write_trial):
    """A slip in the name of a folder: the trial beside it that is called nearly so."""
    folder = write_trial()
    assert "Did you mean 'hornbeam'? Begin one" in refusal(folder.with_name("hornbaem"))
    assert "Did you mean" not in refusal(folder.with_name("spring"))


def test_a_plan_that_cannot_be_read_is_told(tmp_path):
    """With the system's reason."""
    assert "can't be read (File name too long)" in refusal(tmp_path / ("x" * 300))


def test_a_trial_without_bag_list_is_refused(write_trial):
    """The missing file is named."""
    folder = write_trial()
    (folder / "bags.csv").unlink()
    assert f"{folder / 'bags.csv'}: there is no such file" in refusal(folder)


def test_a_trial_holds_what_it_says(write_trial):
    """The loaded value is a Trial of the model."""
    trial = load_trial(write_trial())
    assert isinstance(trial, Trial)
    assert trial.bag("B03").strain == "PE-1"


@pytest.mark.parametrize("value", ["[" * 3000, "9" * 5000, "{a = " * 1000])
def test_values_beyond_bounds_are_refused(write_trial, value):
    """Thousands of brackets or digits, which the standard library's reader gives up on, are said."""
    assert "trial.toml: holds a value that can't be read" in refusal(
        write_trial(("[[strain]]", f"x = {value}\n[[strain]]"))
    )


@pytest.mark.parametrize("when", ["0001-01-01T00:00:00+14:00", '"9999-12-31T23:59:59-12:00"'])
def test_times_of_another_age_are_refused(write_trial, when):
    """At the calendar's ends a time can't be told in other zones."""
    assert "is not a time like" in refusal(write_trial(("[[strain]]", f"planned_end = {when}\n[[strain]]")))
