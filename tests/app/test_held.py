"""While a spreadsheet holds a file, calls and taps go on: kept aside, counted, appended later."""

from __future__ import annotations

from pathlib import Path

import pytest
from held_files import holding
from pages import browser, call_form, look, rows, send

from colscan.app.cli.main import main

Capture = pytest.CaptureFixture[str]


SAYINGS = {
    "verdicts.csv": ("verdict", "B01", "contaminated"),
    "events.csv": ("event", "shaken", "--bag", "B01", "--bag", "B02"),
    "harvests.csv": ("harvest", "B01", "1", "500"),
}


@pytest.mark.parametrize("name", SAYINGS)
def test_sayings_wait(trial: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture, name: str) -> None:
    """Said by command: done, with the file to close; the next command that writes appends it."""
    command, *words = SAYINGS[name]
    with holding(monkeypatch, name):
        assert main([command, str(trial), *words]) == 0
        said = capsys.readouterr().err
        assert (
            f"Kept in waiting/, as another program holds {name} or writing there is forbidden (close" in said
        )
        assert f"{name} in the spreadsheet, or allow writing; the next command" in said
        assert "Recorded in" not in said
        assert not (trial / name).exists()
        assert main(["history", str(trial), "B01"]) == 0
        assert words[0 if command == "event" else 1] in capsys.readouterr().out
    assert main(["event", str(trial), "other", "--room", "--detail", "door left open"]) == 0
    assert "Recorded in events.csv" in capsys.readouterr().err
    assert "B01" in (trial / name).read_text(encoding="utf-8")
    assert not list((trial / "waiting").iterdir())


def test_a_tap_in_the_cellar_is_not_lost(trial: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The page after says what was recorded, that it waits, and which file to close; undo works meanwhile."""
    page = browser(trial)
    with holding(monkeypatch, "events.csv", "verdicts.csv"):
        answer = send(page, "/event", scope="bag", name="B01", what="shaken", then="/bag")
        assert answer.status_code == 303
        text = look(page, answer.headers["Location"])
        assert "bag B01: shaken" in text
        assert "delete its line of events.csv, once it is appended, in a text editor" in text
        assert "1 row waits in waiting/, as another program holds events.csv or writing there is" in text
        said = {"bag": "B01", "patch": "", "then": "/bag"}
        answer = send(page, "/verdict", call="contaminated", action="isolated", where="seam", **said)
        assert answer.status_code == 303
        assert "bag B01: contaminated, isolated, seam" in look(page, answer.headers["Location"])
        said |= call_form(page, "/bag?bag=B01")
        assert send(page, "/verdict", call="withdrawn", **said).status_code == 303
    assert send(page, "/event", scope="room", name="", what="power-cut", then="/event").status_code == 303
    assert "waiting/" not in look(page, "/bag?bag=B01")
    calls = [row["call"] for row in rows(trial, "verdicts.csv")]
    assert calls == ["contaminated", "withdrawn"]
    assert [row["what"] for row in rows(trial, "events.csv")] == ["shaken", "power-cut"]
