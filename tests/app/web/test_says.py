"""Events and calls on a whole bag by tap: rows as by the command, asked once where they end something."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from pages import HTML, NOON, OURS, TRAVERSALS, assert_only_ours, browser, call_form, look, rename, rows, send

from colscan import units
from colscan.growth import judge_bags
from colscan.ledger import read_ledger
from colscan.ledger.columns import HAPPENINGS
from colscan.trial import load_trial


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[datetime], None]:
    """It is noon of the 9th of April; a test may set another time."""

    def set_clock(now: datetime) -> None:
        monkeypatch.setattr("colscan.units.now", lambda: now)

    set_clock(NOON)
    return set_clock


@pytest.fixture
def page(trial: Path) -> FlaskClient:
    """A browser on a trial without photos that has a second shelf."""
    plan = trial / "trial.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + '\n[[shelf]]\nname = "upper"\n', encoding="utf-8")
    return browser(trial)


def happened(page: FlaskClient, what: str, /, **fields: str) -> tuple[int, str]:
    """Send an event of B04 from its page; the status and where it leads."""
    answer = send(page, "/event", **{"what": what, "scope": "bag", "name": "B04", "then": "/bag"} | fields)
    return answer.status_code, answer.headers.get("Location", "") or html.unescape(answer.text)


def test_an_event_is_a_row_and_the_page_after_says_how_to_undo_it(page: FlaskClient, trial: Path) -> None:
    """One tap, now, in the trial's zone; the same page then names the line to delete."""
    happened(page, "looked-round")
    status, after = happened(page, "discarded", note=" smelt\r\nsour")
    assert (status, after.startswith("/bag?bag=B04&")) == (303, True)
    assert rows(trial, "events.csv")[1] == {
        "at": "2026-04-09T12:00:00-04:00", "scope": "bag", "name": "B04", "what": "discarded",
        "detail": "smelt sour",
    }  # fmt: skip
    text = look(page, after)
    assert "bag B04: discarded (smelt sour)." in text
    assert "delete line 3 of events.csv" in text
    assert "bag B04: discarded (" not in look(page, "/bag?bag=B04")


def test_the_line_that_is_named_is_the_one_to_delete(page: FlaskClient, trial: Path) -> None:
    """Deleting it takes the event back; the page that is loaded again no longer speaks of it."""
    happened(page, "pins")
    _, after = happened(page, "retired")
    found = re.search(r"delete line (\d+) of events.csv", look(page, after))
    assert found
    lines = (trial / "events.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    del lines[int(found[1]) - 1]
    (trial / "events.csv").write_text("".join(lines), encoding="utf-8")
    assert [row["what"] for row in rows(trial, "events.csv")] == ["pins"]
    text = look(page, after)
    assert "delete line" not in text
    assert "<strong>wait</strong>" in text


def test_every_word_is_on_the_bags_page_and_what_ends_something_is_asked(page: FlaskClient) -> None:
    """What breaks or ends a bag's statistics sits in a question that has to be opened first."""
    text = look(page, "/bag?bag=B04")
    form = re.search(r'<form method="post" action="/event".*?</form>', text, re.DOTALL)
    assert form
    asked = set(re.findall(r'<details>.*?value="([a-z-]+)".*?</details>', form[0], re.DOTALL))
    buttons = set(re.findall(r'<button name="what" value="([a-z-]+)"', form[0]))
    assert buttons == set(HAPPENINGS) - {"power-cut"}
    outside = re.sub(r"<details.*?</details>", "", form[0], flags=re.DOTALL)
    one_tap = set(re.findall(r'<button name="what" value="([a-z-]+)"', outside))
    assert one_tap == {"looked-round", "pins", "cold-shocked", "soaked"}
    assert {"discarded", "retired", "missing", "opened", "shaken", "turned", "fruiting"} <= asked
    assert "Record that B04 was discarded?" in form[0]


@pytest.mark.parametrize("what", ["discarded", "retired"])
def test_of_a_bag_that_left_only_what_was_before_is_asked(page: FlaskClient, what: str) -> None:
    """No tap says that somebody looks at it now; the time of what was before has to be given."""
    happened(page, "missing", at="2026-04-08T09:30")
    assert "Something before" not in look(page, "/bag?bag=B04")
    happened(page, what)
    text = look(page, "/bag?bag=B04")
    folded = re.search(r'<details class="before">.*?</form>\s*</details>', text, re.DOTALL)
    assert folded
    assert f"Something before it was {what}" in folded[0]
    assert 'name="at" max="2026-04-08T09:30" required' in folded[0]
    assert 'value="looked-round"' in folded[0]
    assert 'value="looked-round"' not in text.replace(folded[0], "")
    offered = set(re.findall(r'<button name="what" value="([a-z-]+)"', text))
    assert not offered & {"discarded", "missing", "retired"}
    assert "Something before" not in look(page, "/bag?bag=B05")


def test_what_is_posted_of_a_bag_that_left_is_refused(
    page: FlaskClient, trial: Path, clock: Callable[[datetime], None]
) -> None:
    """In the command's words; what was before is recorded, and a note of what was found in it."""
    call = {"bag": "B04", "patch": "", "call": "contaminated", "action": "discarded", "then": "/bag"}
    assert send(page, "/verdict", **call).status_code == 303
    clock(NOON + timedelta(hours=1))
    status, said = happened(page, "looked-round")
    assert (status, "Bag B04 was discarded on 2026-04-09 12:00; nothing is written." in said) == (400, True)
    assert "first take back the call that says so." in said
    assert happened(page, "retired")[0] == 400
    assert happened(page, "pins", at="2026-04-09T11:59")[0] == 303
    assert happened(page, "other", other="green inside")[0] == 303
    assert [row["what"] for row in rows(trial, "events.csv")] == ["pins", "other"]


def test_enter_in_a_field_records_nothing(page: FlaskClient, trial: Path) -> None:
    """A form's first button is what Enter presses: it says nothing and is refused."""
    for path in ("/bag?bag=B04", "/event"):
        for form in re.findall(r'<form method="post" action="/event".*?</form>', look(page, path), re.DOTALL):
            first = re.search(r"<button[^>]*>", form)
            assert first
            assert first[0] == '<button name="what" value="" hidden>'
    assert happened(page, "")[0] == 400
    assert rows(trial, "events.csv") == []


def test_moved_names_the_shelf(page: FlaskClient, trial: Path) -> None:
    """One of the trial's shelves, which becomes the detail; without one the note is."""
    assert "<option>upper</option>" in look(page, "/bag?bag=B04")
    happened(page, "moved", to_shelf="upper", note="left")
    happened(page, "moved", name="B05", to_shelf="", note="one step down")
    happened(page, "pins", to_shelf="upper")
    assert [row["detail"] for row in rows(trial, "events.csv")] == ["upper", "one step down", ""]
    assert "<option>upper</option>" not in look(page, "/bag?bag=B04")
    assert "Shelf upper: 1 bag<" in look(page, "/event")
    status, said = happened(page, "moved", name="B06", to_shelf="uper")
    assert (status, "Did you mean 'upper'?" in said) == (400, True)


def test_moved_where_there_is_one_shelf(trial: Path) -> None:
    """Nothing is asked that has one answer; it is said how another shelf gets a name."""
    page = browser(trial)
    for path in ("/bag?bag=B04", "/event"):
        text = look(page, path)
        assert 'value="moved"' in text
        assert "to_shelf" not in text
        assert "standing as before, for the trial names no other shelf. To say that it went" in text
    assert happened(page, "moved")[0] == 303
    assert [row["detail"] for row in rows(trial, "events.csv")] == [""]


def test_a_shelf_and_the_room(page: FlaskClient, trial: Path) -> None:
    """Their own page leads back to itself; a note of `other` has its own field."""
    answer = send(page, "/event", what="power-cut", scope="room", name="", then="/event")
    assert answer.location.startswith("/event?said=")
    assert "the room: power-cut." in look(page, answer.location)
    answer = send(page, "/event", what="other", scope="shelf", name="cellar", other="door open", note="x")
    assert answer.location.startswith("/?said=")
    written = [list(row.values())[1:] for row in rows(trial, "events.csv")]
    assert written == [
        ["room", "", "power-cut", ""],
        ["shelf", "cellar", "other", "door open"],
    ]  # fmt: skip
    assert send(page, "/event", what="other", scope="shelf", name="celar").status_code == 400


def test_an_earlier_time_is_in_the_trials_zone(page: FlaskClient, trial: Path) -> None:
    """As typed into the field; also before the change to summer time."""
    happened(page, "turned", at="2026-03-05T08:30")
    assert rows(trial, "events.csv")[0]["at"] == "2026-03-05T08:30:00-05:00"


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"at": "2026-04-09T12:01"}, "When 2026-04-09T12:01 is in the future."),
        ({"at": "2026-03-01T12:00"}, "before bag B04 was inoculated"),
        ({"at": "soon"}, "When 'soon' is not a time."),
        ({"what": "juggled"}, "what 'juggled' is none of its words."),
        ({"scope": "house"}, "scope 'house' is none of its words."),
        ({"scope": ""}, "what it happened to"),
        ({"name": ""}, "Bag '' is not in the trial"),
        ({"name": "b04"}, "Did you mean 'B04'?"),
        ({"note": "x" * 501}, "The note has 501 letters"),
        ({"what": "other", "other": " \r\n", "note": "x"}, "Write what it was"),
    ],
)
def test_what_can_not_be_is_refused(
    page: FlaskClient, trial: Path, fields: dict[str, str], said: str
) -> None:
    """In the words of the command, and nothing is written."""
    status, text = happened(page, fields.pop("what", "shaken"), **fields)
    assert (status, said in text) == (400, True), text
    assert rows(trial, "events.csv") == []


def test_two_taps_are_one_event(page: FlaskClient, trial: Path, clock: Callable[[datetime], None]) -> None:
    """The same within ten seconds is passed over, and answered like the first; later it is another one."""
    _, first = happened(page, "looked-round")
    clock(NOON + timedelta(seconds=9))
    _, second = happened(page, "looked-round")
    assert "delete line 2 of" in look(page, second)
    assert re.findall("said_row=[^&]+", first) == re.findall("said_row=[^&]+", second)
    happened(page, "moved", to_shelf="upper")
    happened(page, "looked-round", name="B05")
    clock(NOON + timedelta(seconds=10))
    happened(page, "looked-round")
    assert [row["what"] + row["name"] for row in rows(trial, "events.csv")] == [
        "looked-roundB04", "movedB04", "looked-roundB05", "looked-roundB04",
    ]  # fmt: skip


def test_the_same_time_with_another_note_is_said(page: FlaskClient, trial: Path) -> None:
    """It isn't written a second time, as by the command, and the page doesn't claim that it was."""
    happened(page, "moved", at="2026-03-05T08:30", to_shelf="upper")
    status, said = happened(page, "moved", at="2026-03-05T08:30", to_shelf="cellar")
    assert (status, "recorded already" in said) == (400, True)
    assert len(rows(trial, "events.csv")) == 1


def test_while_the_plan_is_away_it_is_said_that_nothing_is_recorded(page: FlaskClient, trial: Path) -> None:
    """As in a synced folder, for a moment: what was sent isn't led to a form as if it were done."""
    form = call_form(page, "/bag?bag=B04") | {"call": "unsure"}
    plan, away = trial / "trial.toml", trial / "trial.toml.part"
    plan.rename(away)
    for path, said in {
        "/verdict": form,
        "/event": form | {"what": "pins", "scope": "bag", "name": "B04"},
        "/harvest": form | {"flush": "1", "fresh_g": "412"},
    }.items():
        answer = page.post(path, base_url=OURS, data=said, headers={"Origin": OURS})
        text = html.unescape(answer.text)
        assert answer.status_code == 400
        assert "trial.toml isn't in the trial's folder at this moment." in text
        assert "Nothing was recorded." in text
    answer = page.get("/bag?bag=B04", base_url=OURS)
    assert answer.status_code == 400
    assert "Go back and try once more." in answer.text
    away.rename(plan)
    assert page.post("/verdict", base_url=OURS, data=form, headers={"Origin": OURS}).status_code == 303
    assert [len(rows(trial, f"{name}.csv")) for name in ("verdicts", "events", "harvests")] == [1, 0, 0]


def test_a_late_event_says_which_scores_keep_their_segment(scanned: Path) -> None:
    """As the command does."""
    page = browser(scanned)
    _, after = happened(page, "shaken", at="2026-03-03T08:00")
    assert "1 later photo was scored already, with B04. These scores keep their segment" in look(page, after)


def test_only_our_own_page_records(page: FlaskClient, trial: Path) -> None:
    """Another origin and a wrong token are refused; GET shows and writes nothing."""
    assert_only_ours(page, "/event", trial, "events.csv", what="pins", scope="bag", name="B04")
    look(page, "/event?what=pins&scope=bag&name=B04")
    assert rows(trial, "events.csv") == []


@pytest.mark.parametrize("attack", [*TRAVERSALS, "//evil.example", "https://evil.example"])
def test_no_parameter_leads_astray(page: FlaskClient, trial: Path, attack: str) -> None:
    """A path is an unknown name; the way back is one of our own pages."""
    for name in ("what", "scope", "name", "at"):
        assert happened(page, "pins", **{name: attack})[0] == 400
    assert happened(page, "moved", to_shelf=attack)[0] == 400
    assert rows(trial, "events.csv") == []
    assert happened(page, "pins", then=attack)[1].startswith("/?said=event&")
    for query in ({"bag": attack}, {"bag": "B04", "said": attack}):
        answer = page.get("/bag", query_string=query, base_url=OURS)
        assert answer.status_code == (400 if query["bag"] == attack else 200)
        assert "root:" not in answer.text
    said = {"said": "event", "said_row": attack, "said_at": attack}
    assert page.get("/", query_string=said, base_url=OURS).status_code == 200


def test_html_in_names_and_notes_is_text(page: FlaskClient, trial: Path) -> None:
    """Of a bag, of a shelf and of a note."""
    rename(trial, "B04,", f"{HTML},", "bags.csv")
    rename(trial, ",cellar,", f",{HTML},", "bags.csv")
    _, after = happened(page, "other", name=HTML, other="<script>alert(1)</script>")
    for path in (after, "/event", "/weigh", "/bag?bag=%3Cimg%20src%3Dx%3E%26"):
        text = look(page, path)
        assert "<script>alert" not in text
        assert "<img src=x>" not in text
        assert not re.search(r"<style|style=|\son\w+=", text)
    assert "&lt;script&gt;alert(1)" in look(page, after)


# ---- the call on a whole bag


def test_a_bag_found_contaminated_by_hand(page: FlaskClient, trial: Path) -> None:
    """Found by hand, with place, action and note; the page says what surrounds it, once, and offers undo."""
    text = look(page, "/bag?bag=B04&found=1")
    assert text.count("N95") == 1
    assert "<details open>" in text
    fields = {"bag": "B04", "patch": "", "then": "/bag"}
    assert send(page, "/verdict", call="contaminated", **fields).status_code == 400
    answer = send(
        page, "/verdict", call="contaminated", action="isolated", where="seam", note="sour", **fields
    )
    assert answer.location.startswith("/bag?bag=B04&said_bag=B04")
    (row,) = rows(trial, "verdicts.csv")
    assert [row[name] for name in ("bag", "patch", "call", "where", "found_by", "action", "note")] == [
        "B04", "", "contaminated", "seam", "hand", "isolated", "sour",
    ]  # fmt: skip
    assert "<li>Neighbours" in look(page, answer.location)
    assert "<li>Neighbours" not in look(page, "/bag?bag=B04")
    assert "It stands: bag B04: contaminated, isolated, seam" in look(page, "/bag?bag=B04")
    fields = call_form(page, "/bag?bag=B04")
    assert send(page, "/verdict", call="withdrawn", **fields).location == "/bag?bag=B04"
    assert [(row["call"], row["found_by"]) for row in rows(trial, "verdicts.csv")] == [
        ("contaminated", "hand"),
        ("withdrawn", ""),
    ]


def test_looked_all_round_on_the_first_page(scanned: Path) -> None:
    """A bag that waits for it has the button; pressed, the bag is ready and leaves the group."""
    scores = scanned / "scores.csv"
    head, *lines = scores.read_text(encoding="utf-8").splitlines()
    names = head.split(",")
    for number, line in enumerate(lines):
        cells = line.split(",")
        if cells[names.index("bag")] in ("B04", "B05", "B06"):
            cells[names.index("coverage_pct")] = cells[names.index("coverage_high_pct")] = "99.9"
            cells[names.index("coverage_low_pct")] = "99"
            lines[number] = ",".join(cells)
    scores.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    suspects = scanned / "suspects.csv"
    suspects.write_text(suspects.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    page = browser(scanned)
    text = look(page)
    assert text.count('value="looked-round"') == 3
    assert "/bag?bag=B04&amp;found=1#says-call" in text
    fields = r'name="name" value="(B0.)">\s*<input type="hidden" name="place" value="(.*?)"'
    assert re.findall(fields, text) == [("B04", "group2-0"), ("B05", "group2-1"), ("B06", "group2-1")]
    # The page after begins at the next bag, with what was recorded; after the last one at what is last then.
    for bag, place in (("B04", "group2-0"), ("B06", "group2-0")):
        assert (bag, place) in re.findall(fields, text)
        answer = send(page, "/event", what="looked-round", scope="bag", name=bag, place=place)
        assert answer.location.endswith(f"&at={place}#{place}")
        text = look(page, answer.location)
        (spot,) = re.findall(rf'<li id="{place}".*?</strong>', text, re.DOTALL)
        assert f"bag {bag}: looked-round." in spot
        assert ">B05<" in spot
        assert text.count('role="status"') == 1
    assert 'name="place"' not in text
    answer = send(page, "/event", what="looked-round", scope="bag", name="B05", place="evil.example-1")
    assert "#" not in answer.location
    text = look(page, answer.location + "&at=group2-0")
    assert "group2" not in text
    assert text.count('role="status"') == 1
    statuses = judge_bags(load_trial(scanned), read_ledger(scanned), units.now())
    assert next(one.advice for one in statuses if one.bag == "B04") == "ready"
