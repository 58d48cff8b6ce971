"""Each check finds its own kind of problem, with file and line, and nothing in a good ledger."""

import dataclasses
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from colscan import units
from colscan.ledger import append_photo, append_row, check_ledger
from colscan.ledger.check import CHECKS
from colscan.ledger.columns import (
    BatchRow,
    EstimateRow,
    EventRow,
    HarvestRow,
    HeatRunRow,
    TemperatureRow,
    VerdictRow,
    original_stem,
)
from colscan.ledger.waiting import keep_aside
from colscan.tables import Row
from colscan.trial.model import Shelf, Trial

AT = datetime(2026, 3, 9, 10, 5, tzinfo=UTC)
EARLY = AT - timedelta(days=30)


@pytest.fixture
def folder(tmp_path: Path, find_rows) -> Path:
    """A good ledger of two photos under two methods, with originals and something of each kind said."""
    for day, method in ((3, "colscan-1"), (4, "colscan-1"), (4, "colscan-2")):
        photo, *found = find_rows(day, method=method)
        append_photo(tmp_path, photo, *found)
        (tmp_path / "photos").mkdir(exist_ok=True)
        (tmp_path / "photos" / (original_stem(photo.taken_at, photo.photo_sha256) + ".jpg")).touch()
    append_row(
        tmp_path,
        VerdictRow(at=AT, bag="B01", patch="p1", photo_sha256=photo.photo_sha256, call="contaminated"),
        VerdictRow(at=AT, bag="B02", call="harmless"),
    )
    append_row(
        tmp_path,
        EventRow(at=AT, scope="bag", name="B01", what="shaken"),
        EventRow(at=AT, scope="shelf", name="upper", what="moved"),
        EventRow(at=AT, scope="shelf", name="lower", what="moved"),
        EventRow(at=EARLY, scope="room", what="power-cut"),
    )
    append_row(tmp_path, HarvestRow(at=AT, bag="B02", flush=1, fresh_g=500.0, saleable_g=500.0))
    append_row(
        tmp_path,
        BatchRow(mix_batch="M1", at=AT, ingredient="pellets", weight_g=2000.0, moisture_pct=7.0),
        BatchRow(mix_batch="M1", at=EARLY, ingredient="pellets", weight_g=2030.0, moisture_pct=7.0),
    )
    append_row(
        tmp_path,
        HeatRunRow(heat_run="H1", started_at=AT),
        HeatRunRow(heat_run="H1", started_at=EARLY, ended_at=EARLY, core_celsius=95.0),
    )
    append_row(
        tmp_path,
        TemperatureRow(at=AT, place="room", celsius=20.5, fahrenheit=69.0),
        TemperatureRow(at=AT, place="upper", fahrenheit=69.0),
        TemperatureRow(at=AT, place="B01", celsius=27.0),
    )
    append_row(
        tmp_path,
        EstimateRow(at=AT, bag="B01", photo_sha256=photo.photo_sha256, coverage_pct=25.0, blind="yes"),
        EstimateRow(at=AT, bag="B02", photo_sha256=photo.photo_sha256[:8].upper(), coverage_pct=15.0),
    )
    return tmp_path


def change(name: str, old: str, new: str) -> Callable[[Path], None]:
    """Return a hand edit: the first `old` of a file becomes `new`."""

    def edit(folder: Path) -> None:
        text = (folder / name).read_text()
        assert old in text
        (folder / name).write_text(text.replace(old, new, 1))

    return edit


def say(*rows: Row) -> Callable[[Path], None]:
    """Return an edit that appends rows without asking."""
    return lambda folder: append_row(folder, *rows)


def double_last_line(name: str) -> Callable[[Path], None]:
    """Return an edit that writes a file's last line twice."""

    def edit(folder: Path) -> None:
        raw = (folder / name).read_bytes()
        (folder / name).write_bytes(raw + raw.splitlines(True)[-1])

    return edit


def drop_line(name: str, line: int) -> Callable[[Path], None]:
    """Return an edit that takes a line out of a file."""

    def edit(folder: Path) -> None:
        lines = (folder / name).read_bytes().splitlines(True)
        (folder / name).write_bytes(b"".join(lines[: line - 1] + lines[line:]))

    return edit


def remove(name: str) -> Callable[[Path], None]:
    """Return an edit that deletes a file."""
    return lambda folder: (folder / name).unlink()


def remove_originals(folder: Path) -> None:
    """Delete what is under photos/."""
    for path in (folder / "photos").iterdir():
        path.unlink()


def tear(folder: Path) -> None:
    """Cut the last harvest short."""
    path = folder / "harvests.csv"
    path.write_bytes(path.read_bytes()[:-20])


def wait(folder: Path) -> None:
    """Keep a verdict aside, as when a spreadsheet holds verdicts.csv; it is on a patch that is there."""
    keep_aside(
        folder, {VerdictRow: [VerdictRow(at=AT, bag="B01", patch="p1", call="unsure")]}, "verdicts.csv"
    )


MISPLACED = ["suspects.csv:2", "scores.csv:2", "suspects.csv:2"]  # the count of its bag is wrong then, too
BAD = [
    (
        "check_rows_readable",
        change("scores.csv", "B02,0,20,", "B02,0,much,"),
        ["scores.csv:3"],
        "'much' is not a number",
    ),
    ("check_rows_readable", tear, ["harvests.csv"], "cut short"),
    ("check_nothing_waits", wait, ["waiting"], "1 row waits in waiting/, as another program holds verdicts"),
    (
        "check_commit_marks",
        drop_line("photos.csv", 2),
        ["scores.csv:2", "suspects.csv:2"],
        "no row in photos",
    ),
    ("check_commit_marks", remove("photos.csv"), ["photos.csv"], "suspects.csv have rows of 2 photos"),
    ("check_scan_files_there", remove("scores.csv"), ["scores.csv"], "is missing, and photos.csv has 3 rows"),
    ("check_scan_files_there", remove("suspects.csv"), ["suspects.csv"], "is missing, and photos.csv has 3"),
    (
        "check_bags_found",
        drop_line("scores.csv", 3),
        ["photos.csv:2"],
        "IMG_3.jpg: 2 bags were found and scores.csv has 1",
    ),
    (
        "check_bags_found",
        change("photos.csv", ",2,0.5", ",1,0.5"),
        ["photos.csv:2"],
        "IMG_3.jpg: 1 bags were found and scores.csv has 2",
    ),
    ("check_no_duplicates", double_last_line("photos.csv"), ["photos.csv:5"], "stands in line 4 already"),
    ("check_no_duplicates", double_last_line("scores.csv"), ["scores.csv:8"], "stands in line 7 already"),
    ("check_no_duplicates", double_last_line("suspects.csv"), ["suspects.csv:5"], "stands in line 4"),
    ("check_no_duplicates", double_last_line("events.csv"), ["events.csv:6"], "stands in line 5 already"),
    ("check_bags_known", change("scores.csv", "B02", "B2"), ["scores.csv:3"], "'B2' is not in bags.csv"),
    ("check_bags_known", change("suspects.csv", "B01", "B1"), MISPLACED, "'B1' is not in bags.csv"),
    ("check_bags_known", say(VerdictRow(at=AT, bag="X", call="unsure")), ["verdicts.csv:4"], "'X'"),
    ("check_bags_known", say(HarvestRow(at=AT, bag="X", flush=1, fresh_g=1.0)), ["harvests.csv:3"], "'X'"),
    ("check_bags_known", change("events.csv", "B01", "X"), ["events.csv:2"], "bag 'X' is not in the trial"),
    ("check_bags_known", change("events.csv", "upper", "attic"), ["events.csv:3"], "shelf 'attic'"),
    ("check_bags_known", change("events.csv", "room,", "room,big"), ["events.csv:5"], "room 'big'"),
    (
        "check_intervals",
        change("scores.csv", ",20,15,25,", ",20,21,25,"),
        ["scores.csv:2"],
        "interval 21 to 25",
    ),
    ("check_intervals", change("scores.csv", ",20,15,25,", ",20,,19,"), ["scores.csv:2"], "empty to 19 %"),
    ("check_suspect_counts", drop_line("suspects.csv", 3), ["scores.csv:4"], "1 suspects here and 0"),
    (
        "check_suspect_counts",
        drop_line("scores.csv", 2),
        ["photos.csv:2", "suspects.csv:2"],
        "2 bags were found and scores.csv has 1",
    ),
    (
        "check_verdict_targets",
        change("verdicts.csv", "p1", "p9"),
        ["verdicts.csv:2"],
        "patch 'p9' of bag B01",
    ),
    (
        "check_verdict_targets",
        change("verdicts.csv", "p1,", "p1,0"),
        ["verdicts.csv:2"],
        "is not in photos.csv",
    ),
    (
        "check_harvest_weights",
        change("harvests.csv", ",500,", ",450,"),
        ["harvests.csv:2"],
        "more than fresh",
    ),
    (
        "check_after_inoculation",
        say(VerdictRow(at=EARLY, bag="B01", call="unsure")),
        ["verdicts.csv:4"],
        "is before",
    ),
    (
        "check_after_inoculation",
        say(HarvestRow(at=EARLY, bag="B01", flush=1, fresh_g=1.0)),
        ["harvests.csv:3"],
        "is before bag B01 was inoculated (2026-03-02T06:00:00-05:00)",
    ),
    (
        "check_after_inoculation",
        say(EventRow(at=EARLY, scope="bag", name="B01", what="moved")),
        ["events.csv:6"],
        "is before",
    ),
    (
        "check_after_inoculation",
        change("scores.csv", "03-05T", "03-01T"),
        ["scores.csv:2"],
        "is before bag B01",
    ),
    (
        "check_after_inoculation",
        change("suspects.csv", "03-05T", "03-01T"),
        ["suspects.csv:2"],
        "is before bag B01",
    ),
    ("check_mixes_known", change("batches.csv", "M1", "M2"), ["batches.csv:2"], "mix 'M2' is not in bags"),
    ("check_mixes_known", change("heat_runs.csv", "H1", "H"), ["heat_runs.csv:2"], "heat run 'H' is not in"),
    (
        "check_harvest_order",
        say(HarvestRow(at=AT - timedelta(days=1), bag="B02", flush=3, fresh_g=9.0)),
        ["harvests.csv:3"],
        "flush 3 of bag B02 is dated before flush 1 (line 2)",
    ),
    (
        "check_not_ahead",
        change("verdicts.csv", "2026-03-09", "2062-03-09"),
        ["verdicts.csv:2"],
        "2062-03-09T10",
    ),
    ("check_not_ahead", change("events.csv", "2026", "2062"), ["events.csv:2"], "is still to come"),
    ("check_not_ahead", change("harvests.csv", "2026", "2062"), ["harvests.csv:2"], "is still to come"),
    ("check_not_ahead", change("temperature.csv", "2026", "2062"), ["temperature.csv:2"], "still to come"),
    ("check_not_ahead", change("estimates.csv", "2026", "2062"), ["estimates.csv:2"], "is still to come"),
    ("check_batch_moistures", change("batches.csv", ",7", ",0.07"), ["batches.csv:2"], "0.07 % of pellets"),
    (
        "check_rows_readable",
        change("batches.csv", ",7", ",107"),
        ["batches.csv:2"],
        "107 is outside 0 to 100",
    ),
    ("check_rows_readable", change("batches.csv", ",2000", ",-1"), ["batches.csv:2"], "-1 is outside 0"),
    (
        "check_rows_readable",
        change("heat_runs.csv", ",,,,\n", ",,,203,\n"),
        ["heat_runs.csv:2"],
        "core_celsius: 203 is outside -20 to 150 C",
    ),
    (
        "check_heat_run_ends",
        change("heat_runs.csv", "H1,2026-02-07", "H1,2026-02-08"),
        ["heat_runs.csv:3"],
        "ended at 2026-02-07T10:05:00+00:00, before it began (2026-02-08T10:05:00+00:00)",
    ),
    (
        "check_before_inoculation",
        say(BatchRow(mix_batch="M1", at=AT, ingredient="bran", weight_g=1.0)),
        ["batches.csv:4"],
        "2026-03-09T10:05:00+00:00 is after bag B01 was inoculated (2026-03-02T06:00:00-05:00)",
    ),
    (
        "check_before_inoculation",
        say(HeatRunRow(heat_run="H1", started_at=EARLY, ended_at=AT)),
        ["heat_runs.csv:4"],
        "is after bag B01 was inoculated",
    ),
    (
        "check_temperatures",
        say(TemperatureRow(at=AT, place="attic", celsius=20.0)),
        ["temperature.csv:5"],
        "place 'attic' is not in the trial",
    ),
    ("check_temperatures", say(TemperatureRow(at=AT, place="room")), ["temperature.csv:5"], "no temperature"),
    (
        "check_temperatures",
        say(TemperatureRow(at=AT, place="room", celsius=68.0)),
        ["temperature.csv:5"],
        "68 C is outside -30 to 50 C",
    ),
    (
        "check_temperatures",
        change("temperature.csv", "20.5,69", "20.5,20.5"),
        ["temperature.csv:2"],
        "20.5 C and 20.5 F are two temperatures",
    ),
    (
        "check_rows_readable",
        change("temperature.csv", "20.5,69", "NaN,"),
        ["temperature.csv:2"],
        "celsius: 'NaN' is not a number",
    ),
    ("check_estimates", change("estimates.csv", ",B01,", ",B01,0"), ["estimates.csv:2"], "is no photo of"),
    (
        "check_bags_known",
        change("estimates.csv", "B01", "X"),
        ["estimates.csv:2"],
        "'X' is not in bags.csv",
    ),
    (
        "check_after_inoculation",
        change("estimates.csv", "2026-03-09", "2026-03-01"),
        ["estimates.csv:2"],
        "is before bag B01",
    ),
    ("check_originals_kept", remove_originals, ["photos.csv:2", "photos.csv:3"], ".* is missing"),
]


def test_good_ledger_has_no_problems(folder: Path, trial: Trial) -> None:
    """Mixed methods, all kinds of rows: nothing to report."""
    assert check_ledger(folder, trial) == ()


def test_an_empty_folder_has_no_problems(tmp_path: Path, trial: Trial) -> None:
    """A trial before its first photo is in order."""
    assert check_ledger(tmp_path, trial) == ()


@pytest.mark.parametrize(("check", "edit", "where", "said"), BAD)
def test_each_check_fires(
    folder: Path, trial: Trial, check: str, edit: Callable[[Path], None], where: list[str], said: str
) -> None:
    """One wrong thing gives the problem of its check with file, line and what to do, and no unrelated one."""
    edit(folder)
    problems = check_ledger(folder, trial)
    assert [problem.source for problem in problems] == where, problems
    assert said in problems[0].message
    assert all(problem.hint for problem in problems)


def test_lost_scores_say_which_original_brings_them_back(folder: Path, trial: Trial) -> None:
    """The photo's line goes, and the kept original is named as it stands under photos/."""
    drop_line("scores.csv", 3)(folder)
    (problem,) = check_ledger(folder, trial)
    name = min(path.name for path in (folder / "photos").iterdir())
    assert problem.hint.endswith(f"take this line out of photos.csv and scan photos/{name} again.")


def test_suspects_without_their_score_are_said(folder: Path, trial: Trial) -> None:
    """Beside the photo that lacks the score."""
    drop_line("scores.csv", 2)(folder)
    assert check_ledger(folder, trial)[1].message == "bag B01 has no score in this photo"


@pytest.mark.parametrize("name", ["photos.csv", "scores.csv", "suspects.csv", "events.csv"])
def test_only_the_second_of_two_equal_lines_is_to_go(folder: Path, trial: Trial, name: str) -> None:
    """Nothing is lost with it, so nothing need be scanned again."""
    double_last_line(name)(folder)
    (problem,) = check_ledger(folder, trial)
    line = int(problem.source.rpartition(":")[2])
    assert problem.hint == f"Take this line out; line {line - 1} says the same."


def test_two_lines_that_differ_are_scanned_again(folder: Path, trial: Trial) -> None:
    """Which of the two is right can't be told from the file."""
    double_last_line("scores.csv")(folder)
    lines = (folder / "scores.csv").read_text().splitlines(True)
    lines[-1] = lines[-1].replace(",20,15,25,", ",21,15,25,")
    (folder / "scores.csv").write_text("".join(lines))
    (problem,) = check_ledger(folder, trial)
    assert "scan it again" in problem.hint


def test_estimates_of_a_bag_without_score_are_said(folder: Path, trial: Trial) -> None:
    """Beside the photo that lacks the score."""
    drop_line("scores.csv", 7)(folder)
    drop_line("scores.csv", 5)(folder)
    said = [problem.message for problem in check_ledger(folder, trial)]
    assert any("bag 'B02' has no score in photo" in message for message in said)


def test_a_place_that_is_two_things(folder: Path, trial: Trial) -> None:
    """A shelf called like a bag: its readings can't be told from the bag's own."""
    twins = dataclasses.replace(trial, shelves=(*trial.shelves, Shelf(name="B01")))
    (problem,) = check_ledger(folder, twins)
    assert (problem.source, problem.message) == (
        "temperature.csv:4",
        "place 'B01' is the name of two things",
    )


def test_an_end_of_the_trial_that_is_still_to_come(folder: Path, trial: Trial) -> None:
    """It is no end yet: the trial counts as running. An hour ahead it may be by another clock."""
    now = units.now()
    ahead = dataclasses.replace(trial, ended_at=now + timedelta(days=2))
    (problem,) = check_ledger(folder, ahead)
    assert problem.source == "trial.toml"
    assert problem.message.startswith(f"ended_at: {ahead.ended_at.isoformat()} is still to come")
    assert "planned_end" in problem.hint
    soon = dataclasses.replace(trial, ended_at=now + timedelta(hours=1))
    assert check_ledger(folder, soon) == ()


def test_every_check_is_tested() -> None:
    """No check is without a ledger that it fires on."""
    assert {check.__name__ for check in CHECKS} == {check for check, *_ in BAD}


def test_original_is_named_by_its_own_clock(folder: Path) -> None:
    """The original's name has the local time as written, and the start of its bytes' hash."""
    names = sorted(path.name for path in (folder / "photos").iterdir())
    assert [name[:18] for name in names] == ["2026-03-05T060000-", "2026-03-06T060000-"]


def test_checking_writes_nothing(folder: Path, trial: Trial) -> None:
    """A ledger can be checked where it can't be written."""
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    tear(folder)
    before[folder / "harvests.csv"] = (folder / "harvests.csv").stat().st_mtime_ns
    check_ledger(folder, trial)
    assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before
