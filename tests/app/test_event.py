"""`colscan event` writes the declared rows, and nothing when what is said can't be."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from colscan.app.cli.main import main
from colscan.errors import ExitCode
from colscan.ledger import Ledger, read_ledger

HEAD = b"at,scope,name,what,detail\n"


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is the 9th of March, five past ten in the trial's zone."""
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 3, 9, 14, 5, tzinfo=UTC))


def events(trial: Path) -> bytes:
    """The bytes of events.csv; none when there is no file."""
    path = trial / "events.csv"
    return path.read_bytes() if path.exists() else b""


def test_each_bag_gets_a_row(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Bags given together get a row each, now in the trial's zone; stderr says what was recorded."""
    assert main(["event", str(trial), "shaken", "--bag", "B01", "--bag", "B02", "--bag", "B01"]) == 0
    assert events(trial) == HEAD + (
        b"2026-03-09T10:05:00-04:00,bag,B01,shaken,\n2026-03-09T10:05:00-04:00,bag,B02,shaken,\n"
    )
    out, err = capsys.readouterr()
    assert out == ""
    assert "Recorded in events.csv: 2026-03-09 10:05  bag B01: shaken\n" in err
    assert "bag B02: shaken" in err


def test_shelf_room_time_and_detail(trial: Path) -> None:
    """A shelf and the room are scopes of their own; a time without offset is in the trial's zone."""
    shelf = ["event", str(trial), "other", "--shelf", "cellar", "--at", "2026-03-03T08:00"]
    assert main([*shelf, "--detail", '-2 "steps"']) == 0
    assert main(["event", str(trial), "power-cut", "--room", "--at", "2026-03-04T08:00:00+01:00"]) == 0
    assert events(trial) == HEAD + (
        b'2026-03-03T08:00:00-05:00,shelf,cellar,other,"\'-2 ""steps"""\n'
        b"2026-03-04T08:00:00+01:00,room,,power-cut,\n"
    )


def test_bags_in_one_word_are_refused(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With how to give them."""
    assert main(["event", str(trial), "shaken", "--bag", "B01, B02"]) == ExitCode.TRIAL
    assert "Give each by itself: --bag B01 --bag B02" in capsys.readouterr().err
    assert events(trial) == b""


@pytest.mark.parametrize("detail", [[], ["--detail", ""], ["--detail", "  "]])
def test_other_says_what_it_was(trial: Path, capsys: pytest.CaptureFixture[str], detail: list[str]) -> None:
    """Without a detail the row would say that something was, and not what: refused."""
    assert main(["event", str(trial), "other", "--bag", "B01", *detail]) == ExitCode.TRIAL
    assert events(trial) == b""
    assert "--detail" in capsys.readouterr().err


def test_moved_to_a_shelf_of_the_plan(trial: Path) -> None:
    """Any where the trial names none; what happens in the room goes to no shelf."""
    bag, room = ["moved", "--bag", "B01"], ["moved", "--room", "--detail", "all by a step"]
    assert main(["event", str(trial), *bag, "--detail", "cellar"]) == 0
    assert main(["event", str(trial), *room]) == 0
    bags = trial / "bags.csv"
    bags.write_text(bags.read_text("utf-8").replace(",cellar,", ",,"), "utf-8")
    assert main(["event", str(trial), "moved", "--bag", "B02", "--detail", "attic"]) == 0
    assert [line.rpartition(b",")[2] for line in events(trial).splitlines()[1:]] == [
        b"cellar",
        b"all by a step",
        b"attic",
    ]


def test_what_was_recorded_is_said_in_the_trials_zone(
    trial: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As `history` shows it; the row keeps the offset that was given."""
    at = ["--at", "2026-03-04T08:00:00+01:00"]
    assert main(["event", str(trial), "power-cut", "--room", *at]) == 0
    assert main(["verdict", str(trial), "B01", "unsure", *at]) == 0
    assert main(["harvest", str(trial), "B01", "1", "5", *at]) == 0
    assert capsys.readouterr().err.count("2026-03-04 02:00") == 3
    assert b"2026-03-04T08:00:00+01:00" in events(trial)


def test_same_event_twice_is_written_once(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same again would begin another segment: it is passed over and said."""
    command = ["event", str(trial), "turned", "--bag", "B01", "--at", "2026-03-03T08:00"]
    assert (main(command), main(command)) == (0, 0)
    assert events(trial).count(b"turned") == 1
    assert "Known already" in capsys.readouterr().err


def test_notes_of_one_day_are_all_kept(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Another note is another event; what happened to a bag at one time happened once, which is said."""
    codes = {}
    for what, bag in (("other", "B01"), ("shaken", "B02")):
        said = ["event", str(trial), what, "--bag", bag, "--at", "2026-03-10", "--detail"]
        codes[what] = [main([*said, detail]) for detail in ("first note", "second note", "first note")]
    assert codes == {"other": [0, 0, 0], "shaken": [0, ExitCode.TRIAL, 0]}
    assert events(trial).count(b"B01,other") == 2
    assert events(trial).count(b"B02,shaken") == 1
    said = capsys.readouterr().err
    assert said.count("Known already") == 2
    assert "bag B02: shaken is recorded already, with the note 'first note'; nothing is written." in said
    assert main(["check", str(trial)]) == 0


def test_a_bag_that_is_in_photos_after_it_left(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its time is doubtful, which is said; of one that left after its last photo nothing is."""
    command = ["event", str(scanned), "discarded", "--bag"]
    assert main([*command, "B01", "--at", "2026-03-03"]) == 0
    assert "Doubtful: bag B01 is in 1 photo taken after that." in capsys.readouterr().err
    assert main([*command, "B02", "--at", "2026-03-06"]) == 0
    assert "Doubtful" not in capsys.readouterr().err


def test_a_bag_that_left_has_no_more_happenings(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """They are refused with what to do, unless they were before; a note and a call on it are taken."""
    assert main(["event", str(trial), "retired", "--bag", "B01", "--at", "2026-03-08T09:00"]) == 0
    shaken = ["event", str(trial), "shaken", "--bag", "B02", "--bag", "B01"]
    for said in (shaken, ["harvest", str(trial), "B01", "1", "500"]):
        capsys.readouterr()
        assert main(said) == ExitCode.TRIAL
        assert capsys.readouterr().err.splitlines() == [
            "colscan: Bag B01 was retired on 2026-03-08 09:00; nothing is written.",
            "  What was before that needs its own time. If the bag is still there, first delete"
            " that event's line in events.csv.",
        ]
        assert main([*said, "--at", "2026-03-08T08:59"]) == 0
    assert events(trial).count(b"shaken") == 2
    assert main(["event", str(trial), "other", "--bag", "B01", "--detail", "green inside"]) == 0
    assert main(["verdict", str(trial), "B01", "contaminated", "--where", "inside"]) == 0


def test_of_several_bags_none_is_written_when_one_is_told_otherwise(trial: Path) -> None:
    """Exit 2 means that nothing was written."""
    said = ["event", str(trial), "shaken", "--at", "2026-03-10", "--bag", "B02", "--detail"]
    assert main([*said, "one"]) == 0
    assert main([*said, "two", "--bag", "B01"]) == ExitCode.TRIAL
    assert events(trial).count(b"shaken") == 1


def test_same_event_said_by_two_at_once(
    trial: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The other one says it after this one has read the ledger: it is written once all the same."""
    command = ["event", str(trial), "shaken", "--bag", "B01", "--bag", "B02", "--at", "2026-03-03T08:00"]

    def read_then_other(folder: Path) -> Ledger:
        ledger = read_ledger(folder)
        monkeypatch.setattr("colscan.app.cli.event.read_ledger", read_ledger)
        assert main([*command[:5], *command[7:]]) == 0
        return ledger

    monkeypatch.setattr("colscan.app.cli.event.read_ledger", read_then_other)
    assert main(command) == 0
    assert events(trial).count(b"B01,shaken") == 1
    assert events(trial).count(b"B02,shaken") == 1
    assert capsys.readouterr().err.count("Known already") == 1


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["shaken"], "to bags, to a shelf, or to the room"),
        (["shaken", "--room", "--bag", "B01"], "to bags, to a shelf, or to the room"),
        (["juggled", "--room"], "'juggled' is not one of"),
        (["shaken", "--bag", "b1"], "Bag 'b1' is not in the trial hornbeam.\n  Did you mean 'B"),
        (["shaken", "--bag", "B01", "--bag", "X"], "Bag 'X' is not in the trial"),
        (["shaken", "--shelf", "celar"], "Did you mean 'cellar'?"),
        (["moved", "--bag", "B01", "--detail", "celar"], "Did you mean 'cellar'?"),
        (["moved", "--shelf", "cellar", "--detail", "attic"], "Its shelves: cellar."),
        (["shaken", "--bag", "B01", "--at", "yesterday"], "--at 'yesterday' is not a time"),
        (["shaken", "--bag", "B01", "--at", "2026-03-02T05:59"], "is before bag B01 was inoculated"),
        (["shaken", "--shelf", "cellar", "--at", "2026-03-02T05:59"], "was inoculated"),
        (["power-cut", "--room", "--at", "2026-03-02T05:59"], "was inoculated"),
        (["shaken", "--bag", "B01", "--at", "2026-03-10T10:06"], "is in the future"),
    ],
)
def test_what_can_not_be_is_refused(
    trial: Path, capsys: pytest.CaptureFixture[str], options: list[str], said: str
) -> None:
    """Misuse, unknown names and impossible times end with 2, a clear line, and nothing written."""
    assert main(["event", str(trial), *options]) == 2
    assert said in capsys.readouterr().err
    assert events(trial) == b""


@pytest.mark.parametrize(
    ("options", "count"),
    [
        (
            ["shaken", "--bag", "B01", "--at", "2026-03-03T08:00"],
            "1 later photo was scored already, with B01.",
        ),
        (
            ["turned", "--shelf", "cellar", "--at", "2026-03-03T08:00"],
            "1 later photo was scored already, with 8 bags.",
        ),
        (
            ["opened", "--room", "--at", "2026-03-02T06:00"],
            "2 later photos were scored already, with 8 bags.",
        ),
        (["moved", "--bag", "B01", "--at", "2026-03-03T08:00"], None),
        (["shaken", "--bag", "B01"], None),
    ],
)
def test_what_comes_after_photos_that_were_scored_says_so(
    scanned: Path, capsys: pytest.CaptureFixture[str], options: list[str], count: str | None
) -> None:
    """The rows stand as they are; nothing is said where no later photo is scored or no segment begins."""
    before = (scanned / "scores.csv").read_bytes()
    assert main(["event", str(scanned), *options]) == 0
    err = capsys.readouterr().err
    assert count in err if count else "scored already" not in err, err
    assert ("keep their segment" in err) == (count is not None)
    assert (scanned / "scores.csv").read_bytes() == before


def test_broken_ledger_is_left_alone(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A ledger broken by hand ends with 4, file and line."""
    (trial / "events.csv").write_bytes(HEAD + b"yesterday,room,,moved,\n")
    assert main(["event", str(trial), "moved", "--room"]) == 4
    assert "events.csv:2: at: 'yesterday' is not a time" in capsys.readouterr().err
    assert events(trial) == HEAD + b"yesterday,room,,moved,\n"
