"""Who judges is a name in a cookie, and stands in the calls of that browser."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask.testing import FlaskClient
from pages import OURS, browser, look, rows, send

from colscan.app.cli.main import main


@pytest.fixture
def page(trial: Path) -> FlaskClient:
    """A browser on a trial without photos."""
    return browser(trial)


def test_calls_have_the_name_of_who_judges(page: FlaskClient, trial: Path) -> None:
    """None by default; another browser has its own; an empty name ends it."""
    send(page, "/verdict", bag="B01", patch="", call="unsure")
    answer = send(page, "/who", by=" Zoë\r\n Ž. ")
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Judging as <strong>Zoë Ž.</strong>" in look(page)
    answer = send(page, "/verdict", bag="B01", patch="", call="unsure")
    assert "unsure, by Zoë Ž.," in look(page, answer.location)
    send(page.application.test_client(), "/verdict", bag="B01", patch="", call="unsure")
    send(page, "/who", by="")
    assert "Say who judges" in look(page)
    send(page, "/verdict", bag="B01", patch="", call="unsure")
    assert [row["by"] for row in rows(trial, "verdicts.csv")] == ["", "Zoë Ž.", "", ""]


def test_the_command_says_the_same(page: FlaskClient, trial: Path) -> None:
    """A row by page and one by command differ in their time, and in whether blindness is known, at most."""
    send(page, "/who", by="ANNA")
    send(page, "/verdict", bag="B01", patch="", call="harmless", note="only dust")
    command = ["verdict", str(trial), "B01", "harmless", "--found-by", "hand", "--note", "only dust"]
    assert main([*command, "--by", "ANNA"]) == 0
    by_page, by_command = rows(trial, "verdicts.csv")
    assert (by_page["blind"], by_command["blind"]) == (
        "no",
        "",
    )  # a command can't know what was on the screen
    assert by_page | {"at": "", "blind": ""} == by_command | {"at": ""}


def test_a_long_name_is_refused(page: FlaskClient) -> None:
    """More than 40 letters."""
    assert send(page, "/who", by="x" * 41).status_code == 400
    assert send(page, "/who", by="x" * 40).status_code == 303
    assert send(page, "/who", by="x", origin="http://evil.example").status_code == 403
    assert "x" * 40 in look(page)


@pytest.mark.parametrize(
    ("value", "shown"), [("%3Cb%3Ex", "&lt;b&gt;x"), ("x" * 41, None), ("%0A%0D", None), ("a%0Ab", "a b")]
)
def test_a_cookie_of_somebody_else_is_checked(page: FlaskClient, value: str, shown: str | None) -> None:
    """All that this machine serves may set cookies: text alone, and no more of it than of our own."""
    page.set_cookie("colscan_by", value, domain="127.0.0.1")
    text = page.get("/", base_url=OURS).text
    assert "<b>x" not in text
    assert (f"Judging as <strong>{shown}</strong>" in text) == (shown is not None)
    assert ("Say who judges" in text) == (shown is None)
