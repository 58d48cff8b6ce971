"""`colscan review`: calls by page become rows; nothing but this machine's own pages gets in; none is lost."""

from __future__ import annotations

import html
import os
import re
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from threading import Barrier, BrokenBarrierError
from typing import Any
from urllib.request import Request, urlopen

import pytest
from demo_trial import corner
from flask.testing import FlaskClient
from pages import OURS, PORT, TRAVERSALS, ask, browser, call_form, verdicts
from reviewed import add_patch, reviewing
from werkzeug.test import TestResponse

from colscan import units
from colscan.app.calls import Recorded, record_call
from colscan.app.cli.main import main
from colscan.app.web import listen
from colscan.growth import judge_bags
from colscan.ledger import read_ledger
from colscan.ledger.columns import SuspectRow
from colscan.tables import format_header
from colscan.trial import load_trial


@pytest.fixture
def seen(scanned: Path) -> Path:
    """A scanned trial with a made-up patch on two bags."""
    (scanned / SuspectRow.FILE).write_bytes(format_header(SuspectRow))
    add_patch(scanned, "B01", "p1")
    add_patch(scanned, "B02", "p1")
    return scanned


@pytest.fixture
def page(seen: Path) -> FlaskClient:
    """A browser on the review page of that trial."""
    return browser(seen)


def token(page: FlaskClient) -> str:
    """The token in a patch's form."""
    found = re.search(r'name="token" value="([^"]+)"', ask(page, "/patch?bag=B01&patch=p1").text)
    assert found
    return found[1]


def say(
    page: FlaskClient, call: str, *, headers: dict[str, str] | None = None, **fields: str
) -> TestResponse:
    """Send a call on patch p1 of B01 as our own form does, but for what is given."""
    form = {"bag": "B01", "patch": "p1"} if "token" in fields else call_form(page)
    sent = {"Origin": OURS, "Sec-Fetch-Site": "same-origin"} | (headers or {})
    return page.post(
        "/verdict",
        base_url=OURS,
        data=form | {"call": call} | fields,
        headers={k: v for k, v in sent.items() if v},
    )


def advice(folder: Path, bag: str) -> str:
    """What is to be done with a bag today."""
    statuses = judge_bags(load_trial(folder), read_ledger(folder), units.now())
    return next(status.advice for status in statuses if status.bag == bag)


# ---- a call becomes a row


def test_contaminated_is_a_row_and_changes_the_status(page: FlaskClient, seen: Path) -> None:
    """The row has the patch, its photo, what was done and where; the page goes on to the next patch."""
    assert advice(seen, "B01") == "look"
    answer = say(page, "contaminated", action="isolated", where="seam", note=" smells\r\nsour ")
    assert answer.status_code == 303
    assert "bag=B02" in answer.location
    (row,) = verdicts(seen)
    assert row["photo_sha256"] == read_ledger(seen).suspects[0].photo_sha256
    assert [row[name] for name in ("bag", "patch", "call", "where", "found_by", "action", "note")] == [
        "B01", "p1", "contaminated", "seam", "photo", "isolated", "smells sour",
    ]  # fmt: skip
    assert row["at"].endswith(("-04:00", "-05:00"))
    assert advice(seen, "B01") == "contaminated"
    following = ask(page, answer.location).text
    assert "Recorded: bag B01, patch p1: contaminated, isolated, seam (“smells sour”)" in following
    assert "Bag B02, patch p1" in following
    assert "<li>Neighbours, by " in following
    assert "<li>Neighbours" not in ask(page, "/patch?bag=B02&patch=p1").text


def test_what_was_done_is_asked(page: FlaskClient, seen: Path) -> None:
    """Contaminated without what was done is refused; the form asks for it, with the caution, once."""
    answer = say(page, "contaminated")
    assert answer.status_code == 400
    assert "what was done" in html.unescape(answer.text)
    assert verdicts(seen) == []
    form = ask(page, "/patch?bag=B01&patch=p1").text
    assert form.count("N95") == 1
    for word in ("watched", "isolated", "discarded", "face", "back", "bottom", "top", "seam", "inside"):
        assert f'value="{word}"' in form


def test_harmless_leaves_the_list_and_undo_brings_it_back(page: FlaskClient, seen: Path) -> None:
    """Undo is a row of its own."""
    assert "Suspect patches to judge: 2" in ask(page).text
    say(page, "harmless")
    assert "Suspect patches to judge: 1" in ask(page).text
    assert say(page, "withdrawn").location == "/patch?bag=B01&patch=p1"
    assert [row["call"] for row in verdicts(seen)] == ["harmless", "withdrawn"]
    assert "Suspect patches to judge: 2" in ask(page).text
    assert say(page, "withdrawn").status_code == 400
    assert len(verdicts(seen)) == 2


def test_of_long_lists_the_first_are_open(seen: Path) -> None:
    """The rest is one press away, and all that is listed on the page is counted at its top."""
    for number in range(2, 13):
        add_patch(seen, "B01", f"p{number}")
    assert main(["event", str(seen), "missing", "--bag", "B07"]) == 0
    text = ask(browser(seen)).text
    opened, _, folded = text.partition('<summary class="button">The other 1</summary>')
    assert [part.count('href="/patch?') for part in (opened, folded)] == [13, 1]  # one of them is Begin's
    (top,) = re.findall(r'<nav class="jumps".*?</nav>', opened, re.S)
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", top))
    assert words == " 13 patches to judge 1 missing "
    places = re.findall(r'href="#(\w+)"', top)
    assert [text.count(f'id="{place}"') for place in places] == [1, 1]


def test_what_there_is_nothing_for_is_not_offered(trial: Path) -> None:
    """Without a photo there is no face for a second opinion, and nothing to go to on the page."""
    text = ask(browser(trial)).text
    assert "No photo is scored yet." in text
    assert "Second opinion" not in text
    assert "jumps" not in text


def test_unsure_comes_back_with_a_newer_photo_only(page: FlaskClient, seen: Path) -> None:
    """It rests while the newest sighting is the one that was judged."""
    say(page, "unsure")
    assert "Suspect patches to judge: 1" in ask(page).text
    told = (seen / "verdicts.csv").read_text(encoding="utf-8")
    newest, oldest = (read_ledger(seen).photos[at].photo_sha256 for at in (-1, 0))
    (seen / "verdicts.csv").write_text(told.replace(newest, oldest), encoding="utf-8")
    assert "Suspect patches to judge: 2" in ask(page).text


def test_a_call_is_on_the_photo_that_was_seen(page: FlaskClient, seen: Path) -> None:
    """Though another one was scanned meanwhile: it is told of a newer photo, and unsure asks again."""
    add_patch(seen, "B01", "p2", photo=0)
    shown = call_form(page, "/patch?bag=B01&patch=p2")
    add_patch(seen, "B01", "p2")
    earlier, later = (row.photo_sha256 for row in read_ledger(seen).suspects if row.patch == "p2")
    newer = '<p>There is a newer photo of it since: <a href="/patch?bag=B01&amp;patch=p2">look at it</a>.</p>'
    answer = say(page, "harmless", **shown)
    assert verdicts(seen)[0]["photo_sha256"] == earlier != later
    assert newer in ask(page, answer.location).text
    shown = call_form(page, "/patch?bag=B01&patch=p2") | {"photo": earlier}
    assert newer in ask(page, say(page, "unsure", **shown).location).text
    assert "Suspect patches to judge: 3" in ask(page).text
    answer = say(page, "unsure", **call_form(page, "/patch?bag=B01&patch=p2"))
    assert verdicts(seen)[2]["photo_sha256"] == later
    assert "newer photo" not in ask(page, answer.location).text
    assert "Suspect patches to judge: 2" in ask(page).text


def test_a_photo_that_does_not_show_the_patch_is_refused(page: FlaskClient, seen: Path) -> None:
    """Nor is one taken for granted when none is named; to take a call back none is needed."""
    without = read_ledger(seen).photos[0].photo_sha256
    for photo in (without, "0" * 64, ""):
        answer = say(page, "harmless", photo=photo)
        assert answer.status_code == 400
        assert "reload the page" in answer.text
    assert verdicts(seen) == []
    say(page, "harmless")
    assert say(page, "withdrawn", photo="").status_code == 303


def test_only_the_call_that_was_shown_is_taken_back(page: FlaskClient, seen: Path) -> None:
    """Another one that stands meanwhile is told, and nothing is written."""
    location = say(page, "harmless").location
    undo = re.search(r'<div class="recorded".*?</form>', ask(page, location).text, re.S)
    assert undo
    shown = dict(re.findall(r'name="(\w+)" value="([^"]*)"', undo[0])) | {"call": "withdrawn"}
    other = ["--patch", "p1", "--action", "isolated", "--by", "ANNA"]
    assert main(["verdict", str(seen), "B01", "contaminated", *other]) == 0
    answer = page.post("/verdict", base_url=OURS, data=shown, headers={"Origin": OURS})
    assert answer.status_code == 400
    assert "stands meanwhile: bag B01, patch p1: contaminated, isolated, by ANNA, 20" in answer.text
    assert [row["call"] for row in verdicts(seen)] == ["harmless", "contaminated"]
    assert say(page, "withdrawn").status_code == 303
    answer = page.post("/verdict", base_url=OURS, data=shown, headers={"Origin": OURS})
    assert "Nothing is said of bag B01, patch p1" in answer.text


@pytest.mark.parametrize("patch", ["p1", ""])
def test_a_call_that_was_not_seen_is_not_replaced(page: FlaskClient, seen: Path, patch: str) -> None:
    """An old page says which stands meanwhile; who says the same as that may, and so may a page anew."""
    path = "/patch?bag=B01&patch=p1" if patch else "/bag?bag=B01"
    shown = call_form(page, path)
    options = ["--patch", patch] if patch else []
    assert main(["verdict", str(seen), "B01", "unsure", *options, "--by", "ANNA"]) == 0
    answer = say(page, "harmless", **shown)
    assert answer.status_code == 400
    assert "unsure, by ANNA, 20" in answer.text
    assert say(page, "unsure", **shown).status_code == 303
    assert say(page, "harmless", **call_form(page, path)).status_code == 303
    assert [row["call"] for row in verdicts(seen)] == ["unsure", "unsure", "harmless"]


def test_the_second_of_two_who_differ_at_once_is_told(
    page: FlaskClient, seen: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both were shown that nobody had judged it: the one who comes second records nothing unawares."""
    known, app, both = call_form(page), page.application, Barrier(2)

    def record_together(*args: Any) -> Recorded:
        with suppress(BrokenBarrierError):  # nobody else comes so far
            both.wait(0.5)
        return record_call(*args)

    monkeypatch.setattr("colscan.app.web.patches.record_call", record_together)
    with ThreadPoolExecutor(2) as pool:
        calls = ("harmless", "unsure")
        answers = [*pool.map(lambda call: say(app.test_client(), call, **known), calls)]
    (first,) = verdicts(seen)
    assert {answer.status_code for answer in answers} == {303, 400}
    told = next(answer.text for answer in answers if answer.status_code == 400)
    assert f"Another call stands meanwhile: bag B01, patch p1: {first['call']}, 20" in told


def test_the_page_after_a_call_takes_no_other_one_for_it(page: FlaskClient, seen: Path) -> None:
    """Somebody else's that came between the call and the page is said to stand instead."""
    location = say(page, "harmless").location
    assert "Recorded: bag B01, patch p1: harmless, 20" in ask(page, location).text
    assert main(["verdict", str(seen), "B01", "unsure", "--patch", "p1", "--by", "ANNA"]) == 0
    said = "Recorded; but another call came after it, and stands: bag B01, patch p1: unsure, by ANNA, 20"
    assert said in ask(page, location).text


def test_all_judged_leads_to_the_list(page: FlaskClient, seen: Path) -> None:
    """After the last patch the list is shown, with what was said last."""
    say(page, "harmless", bag="B02")
    answer = say(page, "harmless")
    assert answer.location.startswith("/?")
    assert "None waits." in ask(page, answer.location).text


def test_crops(page: FlaskClient) -> None:
    """Each picture that a patch's page shows is a JPEG of the declared size; the outline lies over it."""
    text = html.unescape(ask(page, "/patch?bag=B01&patch=p1").text)
    pictures = re.findall(r'<img src="(/crop[^"]+)"', text)
    assert len(pictures) == 2
    assert text.count('<polygon class="line"') == 1
    for address in pictures:
        answer = ask(page, address)
        assert answer.mimetype == "image/jpeg"
        assert answer.data.startswith(b"\xff\xd8")
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_parallel_calls_are_all_kept(page: FlaskClient, seen: Path) -> None:
    """Fifty calls at once from several reviewers: fifty whole rows."""
    known, app = call_form(page), page.application

    def one(number: int) -> int:
        return say(app.test_client(), "unsure", note=f"n{number}", **known).status_code

    with ThreadPoolExecutor(8) as pool:
        assert set(pool.map(one, range(50))) == {303}
    assert sorted(row["note"] for row in verdicts(seen)) == sorted(f"n{number}" for number in range(50))


# ---- nobody else gets in


@pytest.mark.parametrize(
    "host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1", "127.0.0.1:1", "192.168.1.5:8750", ""]
)
def test_a_foreign_host_is_refused(page: FlaskClient, host: str) -> None:
    """Also a name that was made to point to this machine: on every page."""
    for path in ("/", "/patch?bag=B01&patch=p1", "/static/site.js"):
        answer = ask(page, path, headers={"Host": host})
        assert answer.status_code == 403
        assert "hornbeam" not in answer.text


def test_both_names_of_this_machine_are_served(page: FlaskClient) -> None:
    """127.0.0.1 and localhost."""
    assert ask(page).status_code == 200
    assert ask(page, headers={"Host": f"localhost:{PORT}"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": f"https://127.0.0.1:{PORT}"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_foreign_origin_is_refused(page: FlaskClient, seen: Path, headers: dict[str, str]) -> None:
    """Forms of other pages, of files and of other ports, even with the right token."""
    assert say(page, "harmless", headers=headers).status_code == 403
    assert verdicts(seen) == []


@pytest.mark.parametrize("wrong", ["x", "ünïcode", " "])
def test_a_wrong_token_is_refused(page: FlaskClient, seen: Path, wrong: str) -> None:
    """The page says what to do."""
    answer = say(page, "harmless", token=wrong)
    assert answer.status_code == 403
    assert "reload it" in answer.text
    assert verdicts(seen) == []


def test_no_token_and_another_starts_token_are_refused(page: FlaskClient, seen: Path) -> None:
    """Each start has its own."""
    form = {"bag": "B01", "patch": "p1", "call": "harmless"}
    assert page.post("/verdict", base_url=OURS, data=form, headers={"Origin": OURS}).status_code == 403
    assert say(page, "harmless", token=token(browser(seen))).status_code == 403
    assert verdicts(seen) == []


def test_get_changes_nothing(
    page: FlaskClient, seen: Path, unchanged: Callable[[Path], Callable[[], bool]]
) -> None:
    """Pages are read without a trace but the cache; what records takes a POST alone."""
    same = unchanged(seen)
    known = token(page)
    for path in ("/", "/patch?bag=B01&patch=p1", f"/?token={known}&bag=B01&call=harmless"):
        assert ask(page, path).status_code == 200
    assert ask(page, f"/verdict?token={known}&bag=B01&patch=p1&call=harmless").status_code == 405
    for method in ("PUT", "DELETE", "PATCH"):
        answer = page.open(
            "/verdict", method=method, base_url=OURS, data={"token": known}, headers={"Origin": OURS}
        )
        assert answer.status_code == 405
    assert same()


@pytest.mark.parametrize("attack", TRAVERSALS)
def test_no_parameter_reaches_a_file(page: FlaskClient, seen: Path, attack: str) -> None:
    """A path in any parameter is an unknown name, and nothing of a file comes back."""
    asked: list[dict[str, Any]] = [
        {"bag": attack, "patch": "p1"},
        {"bag": "B01", "patch": attack},
        {"bag": "B01", "patch": "p1", "photo": attack},
    ]
    for query in asked:
        answer = page.get("/crop", query_string=query, base_url=OURS)
        assert answer.status_code in (400, 404)
        assert b"root:" not in answer.data
    answer = page.get("/", query_string={"said_bag": attack, "said_patch": attack}, base_url=OURS)
    assert answer.status_code == 200
    for name in ("bag", "patch", "call", "action", "where"):
        sent = {"call": "contaminated", "action": "watched", "where": "face"} | {name: attack}
        assert say(page, sent.pop("call"), **sent).status_code == 400
    assert page.get(f"/static/{attack}", base_url=OURS).status_code == 404
    assert verdicts(seen) == []


def test_html_in_names_and_notes_is_text(seen: Path) -> None:
    """A bag that is called like an element, and a note with a script, are shown as they are written."""
    name = "<img src=x>&"
    for file in ("bags.csv", "scores.csv", "suspects.csv"):
        text = (seen / file).read_text(encoding="utf-8")
        (seen / file).write_text(text.replace("B01,", f"{name},"), encoding="utf-8")
    page = browser(seen)
    known = call_form(page, "/patch?bag=B02&patch=p1") | {"bag": name}
    answer = say(page, "unsure", **known, note='"><script>alert(1)</script>')
    assert answer.status_code == 303
    for path in (
        "/",
        answer.location,
        "/patch?bag=%3Cimg%20src%3Dx%3E%26&patch=p1",
        "/patch?bag=<script>&patch=p1",
    ):
        text = ask(page, path).text
        assert "<script>" not in text
        assert "<img src=x>" not in text
    assert "&lt;script&gt;alert(1)" in ask(page).text


def test_strict_headers(page: FlaskClient) -> None:
    """Every answer, errors too, forbids all but our own pictures, style and script; none is inline."""
    for path in ("/", "/patch?bag=B01&patch=p1", "/static/site.css", "/nothing", "/patch?bag=B99&patch=p1"):
        answer = ask(page, path)
        policy = answer.headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'; ")
        assert "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert not re.search(r"<style|style=|\son\w+=|<script>|https?://(?!www\.w3\.org)", answer.text)


def test_a_large_request_is_refused(page: FlaskClient, seen: Path) -> None:
    """Nothing here takes more than a form."""
    assert say(page, "harmless", note="x" * 100_000).status_code == 413
    assert say(page, "harmless", note="x" * 501).status_code == 400
    assert verdicts(seen) == []


# ---- trouble, and the command


def test_trouble_says_what_and_what_next(page: FlaskClient, seen: Path) -> None:
    """As the command line says it: an unknown bag, and a ledger that is broken."""
    answer = ask(page, "/patch?bag=B99&patch=p1")
    assert answer.status_code == 400
    assert "is not in the trial hornbeam" in answer.text
    assert "bags.csv has all" in answer.text
    assert "Nothing was recorded" not in answer.text  # nor was anything to be
    (seen / "verdicts.csv").write_text("at,bag\n", encoding="utf-8")
    answer = ask(page)
    assert answer.status_code == 500
    assert "verdicts.csv:1" in answer.text


def test_a_taken_port(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An error that says what to do."""
    with listen(0) as taken:
        port = taken.getsockname()[1]
        assert main(["review", str(trial), "--port", str(port), "--no-browser"]) == 2
    assert f"--port {port} can't be used" in capsys.readouterr().err


@pytest.fixture
def running(trial: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command in a process of its own, and its address."""
    with reviewing(trial) as process_and_address:
        yield process_and_address


@pytest.mark.skipif(os.name != "posix", reason="ctrl-C is sent as a signal")
def test_ctrl_c_ends_it(running: tuple[subprocess.Popen[str], str]) -> None:
    """It serves at the address that it printed, on the loopback alone, and ends with 0."""
    process, address = running
    with urlopen(address, timeout=20) as answer:
        assert b"what needs eyes" in answer.read()
        assert "Server" not in answer.headers
    port = int(address.rstrip("/").rpartition(":")[2])
    outside = next(
        (a[4][0] for a in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)), "127.0.0.1"
    )
    if not outside.startswith("127."):
        with socket.socket() as knocking:
            assert knocking.connect_ex((str(outside), port)) != 0
    os.kill(process.pid, signal.SIGINT)
    deadline = time.monotonic() + 20
    while process.poll() is None and time.monotonic() < deadline:
        time.sleep(0.05)
    assert process.returncode == 0
    assert process.stderr
    said = process.stderr.read()
    assert "ended" in said
    assert "Traceback" not in said


@pytest.mark.skipif(os.name != "posix", reason="it is asked to end by a signal")
def test_asked_to_end_it_takes_its_temporary_folder_away(
    trial: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SIGTERM, as a service manager sends it, ends it like ctrl-C, while a photo of a phone waits."""
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setenv("TMPDIR", str(scratch))
    with reviewing(trial) as (process, address):
        with urlopen(f"{address}photos", timeout=20) as answer:
            token = re.search(r'name="token" content="([^"]+)"', answer.read().decode())
        assert token
        headers = {"Origin": address.rstrip("/"), "X-Colscan-Token": token[1]}
        request = Request(
            f"{address}photos?name=a.png&more=1", corner(0, tmp_path).read_bytes(), headers, method="POST"
        )
        with urlopen(request, timeout=60) as answer:
            assert answer.status == 202
        assert list(scratch.glob("colscan-photos-*"))
        process.terminate()
        assert process.wait(timeout=60) == 0
        assert not list(scratch.iterdir())
