"""`colscan status`: where each bag stands, and the next thing to do."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hornbeam import event, make_bag, make_hornbeam, make_trial, photo, score, suspect, write_trial

from colscan.app.cli.main import main
from colscan.app.cli.status import NEEDS_A_PERSON
from colscan.errors import ExitCode
from colscan.growth.model import Advice
from colscan.ledger import Ledger

TABLE = """\
                                colonized %     how  points
bag    strain  treatment   day  (interval)    white   a day  suspects  what to do    why
-----  ------  ---------  ----  ------------  -----  ------  --------  ------------  -------------------------
PO3-1  PO-3    none       15.1   98 (95-100)     69     2.5            wait          98.2 % in one photo; full
                                                                                     needs two running
PO3-2  PO-3    bran 4 %   15.1   99 (96-100)     70     1.4            wait          99.5 % in one photo; full
                                                                                     needs two running
PO3-3  PO-3    bran 8 %   15.1  100 (97-100)     70     0.7         2  look          p1 green 610 mm2, p2 grey
                                                                                     15 mm2: not reviewed
PE1-1  PE-1    none       15.1   86 (83-89)      60     4.9            wait          4.9 points a day
PE1-2  PE-1    bran 4 %   15.1   93 (90-96)      65     4.2            wait          4.2 points a day
PE1-3  PE-1    bran 8 %    9.1   77 (74-80)      54    10.2         1  discarded     discarded on 2026-03-12;
                                                                                     called contaminated
HE2-1  HE-2    none       15.1   90 (87-93)      63     4.6            contaminated  called contaminated on
                                                                                     2026-03-17 (back, found
                                                                                     by hand)
HE2-2  HE-2    bran 4 %   15.1   91 (88-94)      63    10.7            wait          10.7 points a day
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The made-up trial on disk, from the folder above it."""
    monkeypatch.chdir(tmp_path)
    write_trial(tmp_path / "hornbeam", *make_hornbeam())
    return Path("hornbeam")


def _small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, **ledger: object) -> None:
    """A trial of two bags on disk."""
    monkeypatch.chdir(tmp_path)
    trial = make_trial(make_bag("B1", shelf="A"), make_bag("B2", shelf="A"))
    days = sorted({row.taken_at: row for row in ledger["scores"]}.values(), key=lambda row: row.taken_at)
    photos = tuple(photo(float(row.photo.removeprefix("d").removesuffix(".jpg"))) for row in days)
    write_trial(tmp_path / "hornbeam", trial, Ledger(photos=photos, **ledger))


@pytest.mark.parametrize(
    ("environment", "width", "bold"),
    [
        ({"COLUMNS": "80", "TERM": "xterm"}, 80, True),
        ({"COLUMNS": "20", "TERM": "xterm"}, 60, True),
        ({"COLUMNS": "300", "TERM": "xterm"}, 110, True),
        ({"COLUMNS": "80", "TERM": "dumb"}, 80, False),
        ({"COLUMNS": "80", "TERM": "xterm", "NO_COLOR": "1"}, 80, False),
    ],
)
def test_a_terminal_gets_its_width_and_bold_letters(
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    environment: dict[str, str],
    width: int,
    bold: bool,
) -> None:
    """From 60 to 110 columns; bold where it is shown and wanted, on the header and on what to go and see."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert main(["status", str(folder)]) == 0
    out = capsys.readouterr().out
    lines = re.sub(r"\x1b\[[01]m", "", out).splitlines()
    assert max(map(len, lines)) <= width
    if width == 110:
        assert lines == TABLE.splitlines()
    marked = re.findall(r"\x1b\[1m(.*?)\x1b\[0m", out)
    assert ("look" in marked) == ("bag" in marked) == bold
    assert "wait" not in marked


def test_what_is_marked_is_advice() -> None:
    """The words are those that the judge uses."""
    assert set(NEEDS_A_PERSON) <= set(Advice)


def test_the_table_on_stdout_and_what_is_next_on_stderr(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The exact table, within 110 columns, and the bag to look at first."""
    assert main(["status", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert out == TABLE
    assert max(map(len, out.splitlines())) <= 110
    assert err == (
        "Look first at PO3-3.\n"
        "Then record what you saw: "
        "colscan verdict hornbeam PO3-3 contaminated|harmless|unsure --patch NAME\n"
    )


def test_csv_and_json_hold_the_ledgers_words_and_numbers(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Percent with two decimals, times with offset, the same rows in both."""
    assert main(["status", str(folder), "--format", "csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert main(["status", str(folder), "--format", "json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["schema"] == 1
    assert len(rows) == len(answer["rows"]) == 8
    assert answer["rows"][2] == {
        "bag": "PO3-3", "strain": "PO-3", "treatment": "bran 8 %", "taken_at": "2026-03-17T10:00:00-04:00",
        "day": 15.12, "coverage_pct": 99.85, "coverage_low_pct": 96.85, "coverage_high_pct": 100.0,
        "density_pct": 69.89, "points_per_day": 0.73, "suspects": 2, "advice": "look",
        "why": "p1 green 610 mm2, p2 grey 15 mm2: not reviewed",
    }  # fmt: skip
    assert [row["coverage_pct"] for row in rows] == [str(row["coverage_pct"]) for row in answer["rows"]]


def test_a_trial_without_a_ledger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every bag has no photo yet, and the next thing is to scan one."""
    monkeypatch.chdir(tmp_path)
    write_trial(tmp_path / "hornbeam", make_trial(make_bag("B1"), make_bag("B2")))
    assert main(["status", "hornbeam"]) == 0
    out, err = capsys.readouterr()
    assert out.count("no photo yet") == 2
    assert err == "No photo yet. Next: colscan scan hornbeam PHOTO...\n"
    assert sorted(path.name for path in (tmp_path / "hornbeam").iterdir()) == ["bags.csv", "trial.toml"]


def test_white_bags_are_to_be_turned_until_somebody_did(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command to record the look is given; after it the bag is ready."""
    scores = tuple(score(bag, day, 99, spread=1) for day in (12, 13) for bag in ("B1", "B2"))
    looked = (event("looked-round", 17, "B2"),)
    _small(tmp_path, monkeypatch, scores=scores, events=looked)
    assert main(["status", "hornbeam", "--format", "csv"]) == 0
    out, err = capsys.readouterr()
    assert [row["advice"] for row in csv.DictReader(io.StringIO(out))] == ["turn it and look", "ready"]
    assert err == (
        "The front is white: turn and look all round at B1.\n"
        "Then record it: colscan event hornbeam looked-round --bag B1\n"
    )


def test_bags_with_most_suspects_are_looked_at_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the number of patches, then in the plan's order."""
    scores = tuple(score(bag, 9, 50) for bag in ("B1", "B2"))
    suspects = (suspect("B1", 9), suspect("B2", 9), suspect("B2", 9, "p2"))
    _small(tmp_path, monkeypatch, scores=scores, suspects=suspects)
    assert main(["status", "hornbeam"]) == 0
    assert capsys.readouterr().err.startswith("Look first at B2, B1.\n")


def test_nothing_to_look_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """When all bags wait, the next photo is the next thing."""
    _small(tmp_path, monkeypatch, scores=(score("B1", 1, 5), score("B2", 1, 5)))
    assert main(["status", "hornbeam"]) == 0
    assert capsys.readouterr().err == (
        "Nothing to look at today. Next photo: colscan scan hornbeam PHOTO...\n"
    )


def test_broken_ledger_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A ledger broken by hand ends with 4 and no table."""
    (folder / "scores.csv").write_text("photo,bag\nx\n", encoding="utf-8")
    assert main(["status", str(folder)]) == ExitCode.LEDGER
    out, err = capsys.readouterr()
    assert out == ""
    assert "scores.csv" in err


@pytest.mark.parametrize("command", ["status", "history", "chart"])
def test_commands_are_light_to_import(command: str) -> None:
    """No number or picture library comes in before a command runs."""
    code = (
        f"import sys, colscan.app.cli.{command}\n"
        "heavy = {'numpy', 'scipy', 'cv2', 'matplotlib', 'PIL'} & set(sys.modules)\n"
        "sys.exit(f'imported: {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
