"""Harvests by number pad: the row that the command writes, then the next bag."""

from __future__ import annotations

import html
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from pages import HTML, NOON, OURS, TRAVERSALS, assert_only_ours, browser, look, rename, rows, send


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is noon of the 9th of April."""
    monkeypatch.setattr("colscan.units.now", lambda: NOON)


@pytest.fixture
def page(trial: Path) -> FlaskClient:
    """A browser on a trial whose bags were filled with 2500 g, 1000 g of it dry."""
    bags = trial / "bags.csv"
    head, *lines = bags.read_text(encoding="utf-8").splitlines()
    filled = [f"{head},fill_wet_g,dry_g", *(f"{line},2500,1000" for line in lines)]
    bags.write_text("\n".join(filled) + "\n", encoding="utf-8")
    return browser(trial)


def weigh(page: FlaskClient, fresh_g: str, /, **fields: str) -> tuple[int, str]:
    """Send a weight of flush 1 of B01; the status, and where it leads or what is wrong."""
    answer = send(page, "/harvest", **{"bag": "B01", "flush": "1", "fresh_g": fresh_g} | fields)
    return answer.status_code, answer.headers.get("Location", "") or html.unescape(answer.text)


def test_a_weight_is_a_row_and_leads_to_the_next_bag(page: FlaskClient, trial: Path) -> None:
    """The page after says the efficiency; the flush is preset to the next one."""
    assert '<option value="1" selected>1, the next one' in look(page, "/weigh?bag=B01")
    status, after = weigh(page, "512.5", saleable_g="480", note="late")
    assert (status, after.startswith("/weigh?bag=B02&")) == (303, True)
    assert (trial / "harvests.csv").read_bytes().splitlines()[1:] == [
        b"2026-04-09T12:00:00-04:00,B01,1,512.5,480,late"
    ]
    text = look(page, after)
    assert "bag B01, flush 1: 512.5 g fresh, 480 g of it saleable." in text
    assert "All flushes so far: 512.5 g, 51.2 % of 1000 g dry substrate" in text
    assert "delete line 2 of harvests.csv" in text
    assert "Weigh bag B02" in text
    assert '<option value="2" selected>2, the next one' in look(page, "/weigh?bag=B01")
    assert "1: 512.5 g, weigh again" in look(page, "/weigh?bag=B01")


def test_weighed_again_is_a_new_row_that_counts(page: FlaskClient, trial: Path) -> None:
    """The page after says what it replaces."""
    weigh(page, "500")
    _, after = weigh(page, "510")
    assert "It replaces the record of 2026-04-09 12:00: 500 g fresh." in look(page, after)
    assert "All flushes so far: 510 g" in look(page, after)
    assert len(rows(trial, "harvests.csv")) == 2


def test_a_doubtful_weight_is_recorded_and_said(page: FlaskClient, trial: Path) -> None:
    """As the command does; the page knows the weight for its own warning before that."""
    assert 'data-filled-g="2500.0"' in look(page, "/weigh?bag=B01")
    _, after = weigh(page, "5125")
    assert "Doubtful: one flush, and heavier than what the bag was filled with." in look(page, after)
    assert len(rows(trial, "harvests.csv")) == 1


def test_who_is_led_where(page: FlaskClient, trial: Path) -> None:
    """Past bags that are gone; after the last one to the list."""
    send(page, "/event", what="discarded", scope="bag", name="B02")
    assert weigh(page, "5")[1].startswith("/weigh?bag=B03&")
    assert weigh(page, "5", bag="B08")[1].startswith("/weigh?said=weight&")
    text = look(page, weigh(page, "6", bag="B08")[1])
    assert "Or choose one" in text
    assert 'href="/weigh?bag=B02"' not in text
    assert "B08 <small>1 flush<" in text
    gone = look(page, "/weigh?bag=B02")
    assert "Weigh bag B02" in gone
    assert 'name="at" max="2026-04-09T12:00" required' in gone
    assert "before it was discarded" not in look(page, "/weigh?bag=B03")


@pytest.mark.parametrize(
    ("fresh_g", "fields", "said"),
    [
        ("", {}, "fresh_g is empty."),
        ("12,5", {}, "decimals are written with a point"),
        ("-5", {}, "-5 is outside 0 to 100000 g"),
        ("nan", {}, "'nan' is not a number"),
        ("1e6", {}, "is outside 0 to 100000 g"),
        ("1.234", {}, "1.234 g has more than two decimals"),
        ("500", {"saleable_g": "501"}, "Saleable 501 g is more than fresh 500 g"),
        ("500", {"flush": "0"}, "0 is outside 1 to 20"),
        ("500", {"flush": "1.5"}, "'1.5' is not a whole number"),
        ("500", {"bag": "X01"}, "Bag 'X01' is not in the trial hornbeam"),
        ("500", {"at": "2026-04-09T12:01"}, "is in the future"),
        ("500", {"at": "2026-03-01T12:00"}, "before bag B01 was inoculated"),
        ("500", {"note": "x" * 501}, "The note has 501 letters"),
    ],
)
def test_what_can_not_be_is_refused(
    page: FlaskClient, trial: Path, fresh_g: str, fields: dict[str, str], said: str
) -> None:
    """In the words of the command, and nothing is written."""
    status, text = weigh(page, fresh_g, **fields)
    assert (status, said in text) == (400, True), text
    assert rows(trial, "harvests.csv") == []


def test_only_our_own_page_records(page: FlaskClient, trial: Path) -> None:
    """Another origin and a wrong token are refused; there is nothing to GET."""
    assert_only_ours(page, "/harvest", trial, "harvests.csv", bag="B01", flush="1", fresh_g="5")
    assert page.get("/harvest?bag=B01&flush=1&fresh_g=5", base_url=OURS).status_code == 405


@pytest.mark.parametrize("attack", TRAVERSALS)
def test_no_parameter_reaches_a_file(page: FlaskClient, trial: Path, attack: str) -> None:
    """A path is an unknown bag or no number."""
    answer = page.get("/weigh", query_string={"bag": attack}, base_url=OURS)
    assert (answer.status_code, "root:" in answer.text) == (400, False)
    for name in ("bag", "flush", "fresh_g", "saleable_g", "at"):
        assert weigh(page, "5", **{name: attack})[0] == 400
    assert rows(trial, "harvests.csv") == []


def test_html_in_a_bags_code_is_text(page: FlaskClient, trial: Path) -> None:
    """On the list, on its own page and on the page after."""
    rename(trial, "B01,", f"{HTML},", "bags.csv")
    _, after = weigh(page, "5", bag=HTML)
    for path in ("/weigh", "/weigh?bag=%3Cimg%20src%3Dx%3E%26", after):
        assert "<img src=x>" not in look(page, path)


def test_a_blind_page_tells_no_weight_of_substrate(
    page: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The dry substrate differs with the treatment."""
    monkeypatch.setattr("colscan.app.web.site.Standing.blind", True)
    assert "data-filled-g" not in look(page, "/weigh?bag=B01")
    text = look(page, weigh(page, "512.5")[1])
    assert "512.5 g fresh" in text
    assert "dry substrate" not in text
