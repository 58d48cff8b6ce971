"""A bag that its shelf's photos no longer show is asked after until somebody says where it is."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from pages import browser, look, rows, send


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is the day after the last photo, of the 5th of March."""
    monkeypatch.setattr("colscan.units.now", lambda: datetime(2026, 3, 6, 16, tzinfo=UTC))


@pytest.fixture
def missed(scanned: Path) -> Path:
    """A trial with one shelf whose photo of day 3 lacks B07."""
    for file in ("scores.csv", "suspects.csv"):
        lines = (scanned / file).read_text(encoding="utf-8").splitlines(keepends=True)
        kept = [line for line in lines if not (",B07," in line and ",2026-03-05T" in line)]
        (scanned / file).write_text("".join(kept), encoding="utf-8")
    return scanned


@pytest.fixture
def page(missed: Path) -> FlaskClient:
    """A browser on it once it has a second shelf."""
    plan = missed / "trial.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + '\n[[shelf]]\nname = "upper"\n', encoding="utf-8")
    return browser(missed)


def test_it_is_asked_once(page: FlaskClient) -> None:
    """With since when; among the bags to look at it isn't named again."""
    text = look(page)
    assert "Not in the photos: 1" in text
    assert 'Where is <a class="reach" href="/bag?bag=B07">B07</a>?</strong> last photographed on day' in text
    assert "Look at these bags" not in text
    (form,) = re.findall(r'aria-label="Where is B07\?">.*?</form>', text, re.DOTALL)
    answers = re.findall(r'<button name="what" value="([a-z]+)"', form)
    assert answers == ["moved", "discarded", "retired", "missing"]
    # What is likeliest comes first: it is there all the same.
    assert form.index("but hidden") < form.index('value="moved"')


@pytest.mark.parametrize(
    ("what", "to_shelf"), [("discarded", ""), ("retired", ""), ("missing", ""), ("moved", "upper")]
)
def test_an_answer_ends_the_question(page: FlaskClient, scanned: Path, what: str, to_shelf: str) -> None:
    """Each one is an event; a moved bag is missed by photos of its new shelf only."""
    answer = send(page, "/event", what=what, scope="bag", name="B07", then="/", to_shelf=to_shelf, note="")
    assert [(row["name"], row["what"], row["detail"]) for row in rows(scanned, "events.csv")] == [
        ("B07", what, to_shelf)
    ]
    text = look(page, answer.location)
    assert f"bag B07: {what}" in text
    assert "Where is" not in text


def test_no_answer_is_offered_that_ends_nothing(missed: Path) -> None:
    """Where there is one shelf, moved would be asked again at once; how to name another one is said."""
    text = look(browser(missed))
    assert "Where is" in text
    assert 'value="moved"' not in text
    assert "To say that it went to another one, name that one in trial.toml first" in text


def test_bags_in_the_latest_photo_are_not_asked_after(scanned: Path) -> None:
    """Nobody is missed."""
    assert "Not in the photos" not in look(browser(scanned))
