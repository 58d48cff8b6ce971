"""`colscan verdict` writes the declared row, knows patches and earlier calls, and cautions."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hornbeam import make_bag, make_trial, score, write_trial
from hornbeam import verdict as said_of

from colscan.app.cli.main import main
from colscan.ledger import Ledger, append_photo
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow

HEAD = b"at,bag,patch,photo_sha256,call,where,found_by,action,blind,by,note\n"
DAY_3 = datetime(2026, 3, 5, 11, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is the 9th of March, five past ten in the trial's zone."""
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 3, 9, 14, 5, tzinfo=UTC))


@pytest.fixture
def seen(trial: Path) -> Path:
    """A trial in which patch p1 of bag B01 was seen on day 3 (photo aaaa) and day 4 (photo bbbb)."""
    for sha256, taken_at in (("aaaa", DAY_3), ("bbbb", DAY_3 + timedelta(days=1))):
        photo = PhotoRow(
            photo="x.jpg",
            photo_sha256=sha256,
            taken_at=taken_at,
            taken_at_from="option",
            width_px=1,
            height_px=1,
            bags_found=1,
            method="m",
            scanned_at=taken_at,
        )
        score = ScoreRow(
            photo="x.jpg",
            photo_sha256=sha256,
            taken_at=taken_at,
            bag="B01",
            suspects=1,
            identified_by="card",
            method="m",
            scanned_at=taken_at,
        )
        patch = SuspectRow(
            photo="x.jpg",
            photo_sha256=sha256,
            taken_at=taken_at,
            bag="B01",
            patch="p1",
            kind="green",
            area_mm2=1.0,
            area_pct=1.0,
            x_px=0.0,
            y_px=0.0,
            x_mm=0.0,
            y_mm=0.0,
            strength=0.5,
            method="m",
        )
        append_photo(trial, photo, [score], [patch])
    return trial


def verdicts(trial: Path) -> bytes:
    """The bytes of verdicts.csv; none when there is no file."""
    path = trial / "verdicts.csv"
    return path.read_bytes() if path.exists() else b""


def test_exact_row_of_a_bag(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All that was said stands in its column; with an action there is no caution."""
    words = [
        "--where",
        "back",
        "--found-by",
        "hand",
        "--action",
        "isolated",
        "--blind",
        "--by",
        "=me",
        "--note",
        "n",
    ]
    assert main(["verdict", str(trial), "B02", "contaminated", *words]) == 0
    assert verdicts(trial) == HEAD + (
        b"2026-03-09T10:05:00-04:00,B02,,,contaminated,back,hand,isolated,yes,'=me,n\n"
    )
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(
        "Recorded in verdicts.csv: 2026-03-09 10:05  bag B02: contaminated, isolated\nCaution"
    )


@pytest.mark.parametrize(
    ("at", "photo"), [("2026-03-09T08:00", b"bbbb"), ("2026-03-05T12:00", b"aaaa"), ("2026-03-04T12:00", b"")]
)
def test_patch_names_the_photo_that_was_looked_at(seen: Path, at: str, photo: bytes) -> None:
    """A call on a patch names the newest photo with it up to that time."""
    assert main(["verdict", str(seen), "B01", "harmless", "--patch", "p1", "--at", at]) == 0
    assert verdicts(seen).splitlines()[1].endswith(b",B01,p1," + photo + b",harmless,,,,,,")


@pytest.mark.parametrize(
    ("call", "action", "count"),
    [
        ("contaminated", [], 1),
        ("contaminated", ["--action", "watched"], 1),
        ("contaminated", ["--action", "isolated"], 1),
        ("contaminated", ["--action", "discarded"], 1),
        ("unsure", [], 0),
        ("harmless", [], 0),
    ],
)
def test_caution(
    trial: Path, capsys: pytest.CaptureFixture[str], call: str, action: list[str], count: int
) -> None:
    """A contaminated bag calls for the caution, once, whatever is done with it; never for a rescue."""
    assert main(["verdict", str(trial), "B01", call, *action]) == 0
    err = capsys.readouterr().err
    assert " ".join(err.split()).count("Don't open a contaminated bag indoors") == count
    assert err.count("N95") == err.count("asthma") == count
    assert ("Record what you do with it" in err) == (call == "contaminated" and not action)
    assert not any(word in err for word in ("salvage", "rescue", "cut out", "safe"))


def test_withdrawn_takes_back(seen: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A call can be withdrawn once, and only on the patch or bag that it was on."""
    assert main(["verdict", str(seen), "B01", "unsure", "--patch", "p1"]) == 0
    assert main(["verdict", str(seen), "B01", "withdrawn"]) == 2
    assert "Nothing is said of bag B01 that could be withdrawn" in capsys.readouterr().err
    assert main(["verdict", str(seen), "B01", "withdrawn", "--patch", "p1"]) == 0
    assert main(["verdict", str(seen), "B01", "withdrawn", "--patch", "p1"]) == 2
    assert len(verdicts(seen).splitlines()) == 3


def test_later_call_still_counts(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A call that is entered for an earlier day says which later one counts."""
    assert main(["verdict", str(trial), "B01", "harmless"]) == 0
    assert main(["verdict", str(trial), "B01", "unsure", "--at", "2026-03-08T10:00"]) == 0
    assert "The later call of 2026-03-09 10:05 still counts: harmless" in capsys.readouterr().err


def test_a_discarded_bag_stays_so_and_it_is_said(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Until it is withdrawn, or another action is said, a later call doesn't bring it back."""
    command = ["verdict", str(trial), "B01"]
    assert main([*command, "contaminated", "--action", "discarded", "--at", "2026-03-08T10:00"]) == 0
    assert "stays discarded" not in capsys.readouterr().err
    assert main([*command, "harmless", "--at", "2026-03-08T11:00"]) == 0
    assert "Bag B01 stays discarded, as said of 2026-03-08 10:00.\nIf it isn't" in capsys.readouterr().err
    assert main([*command, "harmless", "--action", "watched"]) == 0
    assert "stays discarded" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["B99", "unsure"], "Bag 'B99' is not in the trial hornbeam"),
        (["B01", "green"], "'green' is not one of"),
        (
            ["B01", "unsure", "--patch", "p2"],
            "Bag B01 has no patch 'p2'.\n  Its patches: p1.",
        ),
        (["B02", "unsure", "--patch", "p1"], "No patch of it is recorded."),
        (["B01", "unsure", "--where", "cap"], "'cap' is not one of"),
        (["B01", "unsure", "--at", "2026-03-01"], "is before bag B01 was inoculated"),
        (["B01", "unsure", "--at", "2027-03-09"], "is in the future"),
    ],
)
def test_what_can_not_be_is_refused(
    seen: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    """Unknown bags, patches and words, and impossible times, end with 2 and nothing written."""
    assert main(["verdict", str(seen), *arguments]) == 2
    assert said in capsys.readouterr().err
    assert verdicts(seen) == b""


def test_what_surrounds_a_lost_bag(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """After the caution: neighbours, the bags of its batches with their state, and the pattern."""
    bags = [
        make_bag(f"B{at}", heat_run="H1" if at < 4 else "H2", shelf="A", position=f"{at + 1}")
        for at in range(14)
    ]
    ledger = Ledger(
        scores=(score("B1", 6, 41.2), score("B3", 6, 55.0)),
        verdicts=(said_of("B1", 6.5, "contaminated"), said_of("B3", 6.5, "contaminated")),
    )
    folder = write_trial(tmp_path / "rack", make_trial(*bags), ledger)
    assert main(["verdict", str(folder), "B2", "contaminated", "--action", "isolated"]) == 0
    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines()[-4:] == [
        "stays away.",
        "Neighbours, by the plan: left B1 contaminated; right B3 contaminated.",
        "Same heat run H1: B0 wait; B1 contaminated; B3 contaminated.",
        "3 of 3 losses from heat run H1, which holds 4 of 14 bags.",
    ]


def test_no_surroundings_of_other_calls(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Harmless and unsure bags have no losses around them to look for."""
    assert main(["verdict", str(trial), "B01", "unsure"]) == 0
    assert "Neighbours" not in capsys.readouterr().err


def test_surroundings_without_places_or_photos(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What isn't known is said."""
    assert main(["verdict", str(trial), "B01", "contaminated"]) == 0
    assert capsys.readouterr().err.splitlines()[-4:] == [
        "Neighbours: not known, for it has neither a place in the plan nor a photo.",
        "Same heat run H1: B02 wait; B04 wait; B05 wait; B07 wait.",
        "Same mix M01: B02 wait.",
        "No pattern in 1 loss.",
    ]
