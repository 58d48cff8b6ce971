"""A new trial's folder: what is written, what is refused, and that nothing half-made is left."""

import dataclasses
import errno
import os
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colscan.errors import LedgerError, TrialError
from colscan.trial import Layout, create_trial, load_trial
from colscan.trial.keys import SECTIONS, TOP
from colscan.trial.model import Limits, Shelf, Strain, Treatment, Trial
from colscan.trial.reading import parse_plan
from colscan.trial.writing import format_plan

LAYOUT = Layout(
    strains=("PO-3", "PE-1"),
    levels_pct=(0.0, 7.5),
    replicates=1,
    inoculated_at="2026-03-02T06:00",
    first_tag=20,
)
ZONE = "America/New_York"
LIST = """\
rack,bag,strain,supplement,supplement_pct,inoculated_at,note
2,B07,slow,soy,4,2026-03-02T06:00:00-05:00,
1,B01,fast,bran,8,2026-03-02T06:00:00-05:00,"two
lines"
1,B02,fast,bran,0,2026-03-02T06:00:00-05:00,=wet
"""


def below(folder):
    """All that stands in a folder, by path, with content."""
    return {p.relative_to(folder): p.read_bytes() if p.is_file() else None for p in folder.rglob("*")}


@pytest.fixture
def bag_list(tmp_path):
    """A function that writes a bag list and returns its path."""

    def write(text, name="list.csv"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def test_the_bag_list_of_a_layout_to_the_letter(tmp_path):
    """Every declared column, strain by strain and level by level, times with offset."""
    create_trial(tmp_path / "t", LAYOUT, time_zone=ZONE)
    assert (tmp_path / "t" / "bags.csv").read_bytes().decode() == (
        "bag,tag,role,strain,supplement,supplement_pct,group,shelf,position,mix_batch,heat_run,spawn_lot,"
        "spawn_order,spawn_method,fill_wet_g,dry_g,spawn_g,inoculated_at,note\n"
        "B01,20,trial,PO-3,bran,0,,,,,,,,mixed,,,,2026-03-02T06:00:00-05:00,\n"
        "B02,21,trial,PO-3,bran,7.5,,,,,,,,mixed,,,,2026-03-02T06:00:00-05:00,\n"
        "B03,22,trial,PE-1,bran,0,,,,,,,,mixed,,,,2026-03-02T06:00:00-05:00,\n"
        "B04,23,trial,PE-1,bran,7.5,,,,,,,,mixed,,,,2026-03-02T06:00:00-05:00,\n"
    )


def test_a_new_trial_loads_back_as_it_was_made(tmp_path):
    """What create_trial returns is what load_trial reads."""
    folder = tmp_path / "farm" / "hornbeam"
    made = create_trial(folder, LAYOUT, time_zone=ZONE)
    trial = load_trial(folder)
    assert trial == made.trial
    assert (trial.name, trial.question, trial.time_zone) == ("hornbeam", "", ZONE)
    assert trial.limits == Limits()
    assert [s.code for s in trial.strains] == ["PO-3", "PE-1"]
    assert [t.supplement_pct for t in trial.treatments] == [0, 7.5]


def test_without_numbers_the_trial_is_an_example_and_says_so(tmp_path):
    """Two strains, two levels, two bags of each, begun today; the file says what to change."""
    made = create_trial(tmp_path / "t", Layout(), time_zone=ZONE)
    assert len(made.trial.bags) == 8
    assert {b.treatment for b in made.trial.bags} == {"bran 0 %", "bran 10 %"}
    start = made.trial.bags[0].inoculated_at
    assert (start.hour, start.minute) == (0, 0)
    assert abs((datetime.now(start.tzinfo) - start).total_seconds()) < 25 * 3600
    assert "ARE AN EXAMPLE" in (tmp_path / "t" / "trial.toml").read_text()
    create_trial(tmp_path / "own", dataclasses.replace(LAYOUT, first_tag=100), time_zone=ZONE)
    assert "ARE AN EXAMPLE" not in (tmp_path / "own" / "trial.toml").read_text()


def test_the_plan_explains_each_of_its_keys(tmp_path):
    """Each key is there with a remark above it, each limit with its default."""
    create_trial(tmp_path / "t", LAYOUT, time_zone=ZONE)
    written = (tmp_path / "t" / "trial.toml").read_text().split("\n")
    for section in (TOP, *(s for s in SECTIONS if s.name not in ("recipe", "shelf"))):
        for name in section.keys:
            at = next(i for i, line in enumerate(written) if line.removeprefix("# ").startswith(f"{name} = "))
            assert written[at - 1].startswith("# ")
            assert section.name != "limits" or "Default: " in written[at - 1]
    assert max(len(line) for line in written) <= 88


def test_a_supplement_of_none_has_one_level(tmp_path):
    """No supplement, no levels: a treatment of its own, called none."""
    made = create_trial(tmp_path / "t", Layout(supplement="none"), time_zone=ZONE)
    assert made.trial.treatments == (Treatment(supplement="none", supplement_pct=0),)
    assert {bag.treatment for bag in made.trial.bags} == {"none"}


def test_many_bags_have_longer_codes(tmp_path):
    """Codes of one length sort well."""
    made = create_trial(tmp_path / "t", Layout(replicates=30), time_zone=ZONE)
    assert [made.trial.bags[i].bag for i in (0, -1)] == ["B001", "B120"]


BAD_LAYOUTS = [
    ({"strains": ("PO\n3",)}, "'PO\\n3' can't be used: it holds a line break"),
    ({"supplement": "bran\x07"}, "'bran\\x07' can't be used"),
    ({"first_tag": 579}, "8 bags need 8 tags, and from tag 579 on 1 is free"),
    ({"strains": ("PO-3", "PO-3")}, "--strain PO-3 is given twice"),
    ({"strains": (" ",)}, "is blank"),
    ({"supplement": ""}, "is blank"),
    ({"levels_pct": (4.0, 4.0)}, "--level 4 is given twice"),
    ({"levels_pct": (101.0,)}, "--level 101.0 is no percentage"),
    ({"levels_pct": (1.234,)}, "--level 1.234 is no percentage"),
    ({"levels_pct": (float("nan"),)}, "--level nan is no percentage"),
    ({"supplement": "none", "levels_pct": (4.0,)}, "can't have a level of 4 %"),
    ({"replicates": 200}, "800 bags need 800 tags, and from tag 1 on 579 are free"),
    ({"first_tag": 575}, "8 bags need 8 tags, and from tag 575 on 5 are free"),
    ({"inoculated_at": "monday"}, "--inoculated-at 'monday' is not a time"),
]


@pytest.mark.parametrize(("fields", "told"), BAD_LAYOUTS)
def test_a_layout_that_is_wrong_is_refused(tmp_path, fields, told):
    """Before anything is written."""
    with pytest.raises(TrialError) as caught:
        create_trial(tmp_path / "t", Layout(**fields), time_zone=ZONE)
    assert told in str(caught.value)
    assert below(tmp_path) == {}


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"time_zone": "America/NewYork"}, "--zone 'America/NewYork' is not a known time zone"),
        ({"time_zone": ZONE, "name": " "}, "--name is blank"),
    ],
)
def test_an_option_that_is_wrong_is_refused(tmp_path, options, told):
    """Before anything is written."""
    with pytest.raises(TrialError) as caught:
        create_trial(tmp_path / "t", LAYOUT, **options)
    assert told in str(caught.value)
    assert below(tmp_path) == {}


def test_a_bag_list_is_taken_as_it_stands(tmp_path, bag_list):
    """Own columns, order and line breaks are kept; texts that look like formulas are guarded."""
    made = create_trial(tmp_path / "t", bag_list(LIST), time_zone=ZONE)
    written = (tmp_path / "t" / "bags.csv").read_text()
    assert written == LIST.replace(",=wet", ",'=wet")
    assert load_trial(tmp_path / "t") == made.trial
    assert [b.bag for b in made.trial.bags] == ["B07", "B01", "B02"]
    assert made.trial.bags[2].note == "=wet"
    assert [s.code for s in made.trial.strains] == ["slow", "fast"]
    assert [(t.supplement, t.supplement_pct) for t in made.trial.treatments] == [
        ("soy", 4),
        ("bran", 0),
        ("bran", 8),
    ]


def test_a_bag_list_of_a_spreadsheet_is_taken(tmp_path, bag_list):
    """A mark at the beginning and Windows line ends change nothing."""
    plain = create_trial(tmp_path / "t", bag_list(LIST), name="x", time_zone=ZONE).trial
    raw = b"\xef\xbb\xbf" + LIST.replace("two\nlines", "two lines").replace("\n", "\r\n").encode()
    other = create_trial(tmp_path / "u", bag_list(raw), name="x", time_zone=ZONE).trial
    assert [b.bag for b in other.bags] == [b.bag for b in plain.bags]
    assert other.bags[0] == plain.bags[0]
    assert b"\r" not in (tmp_path / "u" / "bags.csv").read_bytes()


def test_times_without_offset_are_completed_and_said(tmp_path, bag_list):
    """In the trial's zone: -05:00 before 8 March 2026 in New York, -04:00 from then on."""
    text = (
        "bag,strain,supplement,supplement_pct,inoculated_at\n"
        "B01,s,bran,0,2026-03-02 06:00\n"
        "B02,s,bran,0,2026-03-20\n"
        "B03,s,bran,0,2026-03-20T06:00:00Z\n"
    )
    made = create_trial(tmp_path / "t", bag_list(text), time_zone=ZONE)
    times = [line.split(",")[4] for line in (tmp_path / "t" / "bags.csv").read_text().splitlines()[1:]]
    assert times == ["2026-03-02T06:00:00-05:00", "2026-03-20T00:00:00-04:00", "2026-03-20T06:00:00Z"]
    assert any(f"2 inoculation times had no offset from UTC: taken in {ZONE}" in n for n in made.notes)
    assert any("1 of them had no time of day" in n for n in made.notes)


BAD_LISTS = [
    ("B01,", "B07,", "list.csv:3: bag code 'B07' stands twice, on lines 2 and 3"),
    ("B02", "3-4", "list.csv:5: bag code '3-4' can't be used: a spreadsheet turns it into a date"),
    ("2026-03-02T06:00:00-05:00", "2.3.2026", "list.csv:2: inoculated_at: '2.3.2026' is not a time"),
    ("supplement_pct", "pct", "list.csv:1: required column 'supplement_pct' is missing"),
    (",note\n", "\n", "list.csv:2: has 7 cells where the header has 6"),
    (":00,=wet", ":00", "list.csv:5: has 6 cells where the header has 7"),
    (",bran,8", ",bran,", "list.csv:3: supplement_pct is empty"),
    ('lines"', "lines", "list.csv:3: is not CSV"),
    (LIST, "\n", "list.csv:1: is empty"),
    (LIST, LIST.split("\n")[0] + "\n", "list.csv lists no bag\n  Write a line for each bag"),
    (",fast,", ',"fa\nst",', "list.csv:3: strain 'fa\\nst' of bag B01 can't be used: it holds a line break"),
    (",bran,8", ',"br\x07an",8', "list.csv:3: supplement 'br\\x07an' of bag B01 can't be used"),
    (",B01,", ',"B\n01",', "list.csv:3: bag code 'B\\n01' can't be used: it holds a line break"),
]


@pytest.mark.parametrize(("old", "new", "told"), BAD_LISTS)
def test_a_bag_list_that_is_wrong_is_refused(tmp_path, bag_list, old, new, told):
    """By the line of the grower's own file, before anything is written."""
    path = bag_list(LIST.replace(old, new, 1))
    before = below(tmp_path)
    with pytest.raises(TrialError) as caught:
        create_trial(tmp_path / "t", path, time_zone=ZONE)
    assert told in str(caught.value)
    assert below(tmp_path) == before


def test_a_bag_list_in_another_encoding_is_refused(tmp_path, bag_list):
    """Its line is named."""
    with pytest.raises(TrialError, match=r"list.csv:5: is not UTF-8 text"):
        create_trial(tmp_path / "t", bag_list(LIST.replace("=wet", "naß").encode("latin-1")))


def test_a_missing_bag_list_is_refused(tmp_path):
    """By its name."""
    with pytest.raises(TrialError, match=r"none.csv: there is no such file"):
        create_trial(tmp_path / "t", tmp_path / "none.csv")
    assert below(tmp_path) == {}


def test_a_folder_with_a_trial_is_refused(write_trial, tmp_path):
    """And stays as it is."""
    folder = write_trial()
    before = below(tmp_path)
    with pytest.raises(TrialError, match="holds a trial already"):
        create_trial(folder, LAYOUT, time_zone=ZONE)
    assert below(tmp_path) == before


def test_a_file_of_that_name_is_refused(bag_list):
    """A trial is a folder."""
    with pytest.raises(TrialError, match="is a file"):
        create_trial(bag_list(LIST), LAYOUT, time_zone=ZONE)


def test_a_bag_list_in_the_folder_is_never_overwritten(tmp_path, bag_list):
    """Refused from a layout and from another list; begun from itself it stays to the byte."""
    folder = tmp_path / "t"
    folder.mkdir()
    (folder / "photo.jpg").write_bytes(b"jpeg")
    raw = b"\xef\xbb\xbf" + LIST.replace("\n", "\r\n").encode()
    (folder / "bags.csv").write_bytes(raw)
    for bags in (LAYOUT, bag_list(LIST)):
        with pytest.raises(TrialError, match=r"bags.csv is there already, and is never overwritten"):
            create_trial(folder, bags, time_zone=ZONE)
    made = create_trial(folder, folder / "bags.csv", time_zone=ZONE)
    assert (folder / "bags.csv").read_bytes() == raw
    assert load_trial(folder) == made.trial
    assert sorted(p.name for p in folder.iterdir()) == ["bags.csv", "photo.jpg", "trial.toml"]


def test_a_bag_list_in_the_folder_that_needs_offsets_is_told_the_ways_out(tmp_path):
    """It is never written to, so its times can't be completed; from elsewhere they are."""
    folder = tmp_path / "t"
    folder.mkdir()
    (folder / "bags.csv").write_text(LIST.replace("06:00:00-05:00", "06:00", 1))
    before = below(tmp_path)
    with pytest.raises(TrialError) as caught:
        create_trial(folder, folder / "bags.csv", time_zone=ZONE)
    assert "bags.csv: 1 inoculation time without an offset from UTC" in str(caught.value)
    assert "Move the list elsewhere" in str(caught.value)
    assert "or add them, like 2026-03-02T06:00:00-05:00" in str(caught.value)
    assert below(tmp_path) == before
    (folder / "bags.csv").rename(tmp_path / "list.csv")
    made = create_trial(folder, tmp_path / "list.csv", time_zone=ZONE)
    assert f"1 inoculation time had no offset from UTC: taken in {ZONE}" in made.notes


def test_a_full_disk_leaves_nothing_behind(tmp_path, monkeypatch):
    """The second file can't be written: folders and files that were made are gone, others stay."""
    calls = []

    def fail_second(descriptor):
        calls.append(descriptor)
        if len(calls) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail_second)
    with pytest.raises(LedgerError, match="No space left on device"):
        create_trial(tmp_path / "farm" / "t", LAYOUT, time_zone=ZONE)
    assert len(calls) == 2
    assert below(tmp_path) == {}


def test_a_stop_between_the_two_files_leaves_nothing_behind(tmp_path, monkeypatch):
    """Ctrl-C after bags.csv is in place: no half trial."""
    folder = tmp_path / "t"
    folder.mkdir()
    (folder / "notes.txt").write_text("mine")
    replace = type(folder).replace

    def stop_at_plan(self, target):
        if target.name == "trial.toml":
            assert (folder / "bags.csv").exists()
            raise KeyboardInterrupt
        return replace(self, target)

    monkeypatch.setattr(type(folder), "replace", stop_at_plan)
    with pytest.raises(KeyboardInterrupt):
        create_trial(folder, LAYOUT, time_zone=ZONE)
    assert [p.name for p in folder.iterdir()] == ["notes.txt"]


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    """A file stands where a parent folder should be."""
    (tmp_path / "farm").write_text("a file")
    with pytest.raises(LedgerError, match="can't be written"):
        create_trial(tmp_path / "farm" / "t", LAYOUT, time_zone=ZONE)
    assert [p.name for p in tmp_path.iterdir()] == ["farm"]


def test_a_folder_that_cannot_be_looked_into_is_told(tmp_path):
    """A name that the file system doesn't take."""
    with pytest.raises(LedgerError, match="can't be looked into"):
        create_trial(tmp_path / ("x" * 300), LAYOUT, time_zone=ZONE)


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20).filter(str.strip)
WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]), min_size=1).filter(str.strip)
PERCENTAGES = st.floats(1, 100)
OFFSETS = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
TIMES = st.none() | st.datetimes(
    min_value=datetime(1990, 1, 1), max_value=datetime(2100, 1, 1), timezones=OFFSETS
).map(lambda t: t.replace(microsecond=0))
TRIALS = st.builds(
    Trial,
    name=TEXTS,
    time_zone=st.just(ZONE),
    question=st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    planned_end=TIMES,
    ended_at=TIMES,
    judging=st.sampled_from(["open", "blind"]),
    limits=st.builds(
        Limits,
        contamination_risk=st.floats(0.001, 0.999),
        horizon=st.sampled_from(["full", "first-harvest"]) | st.floats(1, 1000),
        full_coverage_pct=st.floats(50, 100),
        ready_coverage_pct=st.floats(1, 50),
        stalled_points_per_day=st.floats(0, 100),
        stalled_days=st.floats(0.1, 365),
        max_photo_megapixels=st.floats(0.01, 1000),
    ),
    strains=st.lists(
        st.builds(
            Strain,
            code=WORDS,
            species=TEXTS,
            spawn=st.sampled_from(["grain", "sawdust", "plugs"]),
            consolidate_days=st.floats(0, 365),
            healthy_looks=st.sampled_from([(), ("amber",), ("dark", "brown")]),
        ),
        max_size=3,
        unique_by=lambda s: s.code,
    ).map(tuple),
    treatments=st.lists(
        st.builds(Treatment, supplement=TEXTS, supplement_pct=PERCENTAGES, supplement_base=TEXTS),
        max_size=3,
        unique_by=lambda t: (t.supplement, t.supplement_pct),
    ).map(tuple),
    shelves=st.sampled_from([(), (Shelf(name="a", tiers=2, cards=(580, 586)), Shelf(name="b"))]),
)


@settings(deadline=None)
@given(trial=TRIALS, example=st.booleans())
def test_any_plan_is_written_so_that_it_reads_back_the_same(trial, example):
    """Whatever texts, numbers and times it holds."""
    text = format_plan(trial, example=example)
    assert parse_plan(text.encode("utf-8"), "trial.toml") == trial
