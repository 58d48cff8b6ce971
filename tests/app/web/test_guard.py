"""What holds for every page, also for later ones: whose requests change nothing, what none stumbles over."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from pages import OURS, PORT, TRAVERSALS, ask, call_form, verdicts
from reviewed import add_patch
from werkzeug.routing import Rule

from colscan.app.demo import NAME
from colscan.app.web import Pairing, make_app
from colscan.ledger import read_ledger

NAMES = (
    "bag", "patch", "photo", "width", "kind", "sheet", "paper", "blind", "id", "shelf", "name", "said_bag",
    "said_patch", "said", "line", "found", "again", "box", "flush", "taken_at", "seed", "strain", "level",
    "zone", "then", "scope", "what", "at", "mark", "outlines", "how", "coverage_pct", "by", "code", "call",
    "note",
)  # fmt: skip
"""What pages take, by query or form."""
CHOOSING = ("bag", "patch", "photo", "shelf", "id", "kind", "width", "to_shelf", "other")
"""Those by which a page chooses what to show: one wrong among right ones leads the furthest."""
HTML = '"><script>alert(1)</script><img src=x>'


def site(folder: Path) -> Flask:
    """The site of a scanned trial that gets two suspect patches, with pairing."""
    add_patch(folder, "B01", "p1")
    add_patch(folder, "B02", "p1")
    pairing = Pairing(f"127.0.0.2:{PORT}", https=False, say=lambda _: None)
    return make_app(folder, port=PORT, pairing=pairing)


@pytest.fixture
def app(scanned: Path) -> Flask:
    """The site of a trial of its own."""
    return site(scanned)


@pytest.fixture
def page(app: Flask) -> FlaskClient:
    """A browser on it."""
    return app.test_client()


@pytest.fixture(scope="module")
def untouched(_scanned: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial for tests that must leave it as it is."""
    return Path(shutil.copytree(_scanned, tmp_path_factory.mktemp("untouched") / NAME))


@pytest.fixture(scope="module")
def shown(untouched: Path) -> Flask:
    """Its site: what one test had it draw is drawn for the next."""
    return site(untouched)


def doors(app: Flask, method: str) -> list[Rule]:
    """All addresses that take a method."""
    return [rule for rule in app.url_map.iter_rules() if method in (rule.methods or ())]


def paths(app: Flask, method: str, value: str) -> Iterator[str]:
    """The path of each address, its variable parts being a value where they take any."""
    for rule in doors(app, method):
        arguments = {name: "cards" if name == "sheet" else value or "x" for name in rule.arguments}
        with app.test_request_context(base_url=OURS):
            built = rule.build(arguments)
        assert built
        yield built[1].partition("?")[0]


def own_token(app: Flask) -> str:
    """The token of its forms."""
    return str(app.jinja_env.globals["token"])


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": f"https://127.0.0.1:{PORT}"},
        {"Origin": OURS, "Sec-Fetch-Site": "cross-site"},
        {"Origin": OURS, "Host": "evil.example"},
    ],
    ids=str,
)
def test_no_door_opens_to_strangers(
    shown: Flask, untouched: Path, unchanged: Callable[[Path], Callable[[], bool]],
    headers: dict[str, str],
) -> None:  # fmt: skip
    """Whatever changes something takes only what our own pages send, even with the right token."""
    page, same = shown.test_client(), unchanged(untouched)
    posts = list(paths(shown, "POST", "x"))
    assert {"/verdict", "/event", "/harvest", "/photos", "/map/keep", "/opinion", "/unblind"} <= set(posts)
    for path in posts:
        sent = {"X-Colscan-Token": own_token(shown)} | headers
        answer = page.post(path, base_url=OURS, data={"token": own_token(shown)}, headers=sent)
        assert answer.status_code == 403, path
        assert "hornbeam" not in answer.text
    assert same()


@pytest.mark.parametrize("token", ["", "x", "ünïcode"])
def test_no_door_opens_without_the_token(
    shown: Flask, untouched: Path, unchanged: Callable[[Path], Callable[[], bool]], token: str
) -> None:
    """Neither without it nor with a wrong one; pairing alone, which has a code of its own, asks for none."""
    page, same = shown.test_client(), unchanged(untouched)
    for path in paths(shown, "POST", "x"):
        answer = page.post(path, base_url=OURS, data={"token": token}, headers={"Origin": OURS})
        assert answer.status_code == 403 or path == "/pair", path
    assert same()


@pytest.mark.parametrize("value", [*TRAVERSALS, HTML, "a\r\nSet-Cookie: x=1", "\ud800", "9" * 400])
def test_no_value_is_stumbled_over(
    shown: Flask, untouched: Path, unchanged: Callable[[Path], Callable[[], bool]], value: str
) -> None:
    """Any text in any parameter of any page: a page or a refusal, no file's content, and nothing written."""
    page, same = shown.test_client(), unchanged(untouched)
    photo = read_ledger(untouched).photos[-1].photo_sha256
    right = {"bag": "B01", "patch": "p1", "photo": photo, "width": "480", "kind": "curves", "id": photo}
    for path in paths(shown, "GET", "x"):
        for names in (NAMES, *([] if path.endswith(".pdf") else [(name,) for name in CHOOSING])):
            query = right | {name: value.encode("utf-8", "surrogatepass") for name in names}
            answer = page.get(path, base_url=OURS, query_string=query)
            assert answer.status_code < 500, (path, names)
            assert b"root:" not in answer.data
            assert b"<script>alert" not in answer.data or answer.mimetype == "application/json"
            assert "Set-Cookie" not in answer.headers
    assert same()


@pytest.mark.parametrize("value", [*TRAVERSALS, HTML, "\ud800", "9" * 400])
def test_no_form_is_stumbled_over(app: Flask, page: FlaskClient, value: str) -> None:
    """Any text in any field of any form: refused, or a page that says so; never a fault."""
    for path in paths(app, "POST", "x"):
        if path in ("/photos", "/map/photo"):  # they take a photo, see test_photos.py and test_map_page.py
            continue
        for names in (NAMES, *((name,) for name in (*CHOOSING, "call", "what", "how", "at"))):
            fields: dict[str, Any] = {"bag": "B01", "patch": "p1", "call": "harmless"}
            fields |= {name: value.encode("utf-8", "surrogatepass").decode("latin-1") for name in names}
            fields["token"] = own_token(app)
            answer = page.post(path, base_url=OURS, data=fields, headers={"Origin": OURS})
            assert answer.status_code < 500, (path, names)
            assert b"<script>alert" not in answer.data


def test_looking_changes_nothing(
    shown: Flask, untouched: Path, unchanged: Callable[[Path], Callable[[], bool]]
) -> None:
    """Every address, asked for in earnest: but for the cache no file is another one afterwards."""
    page, same = shown.test_client(), unchanged(untouched)
    photo = read_ledger(untouched).photos[-1].photo_sha256
    query = {"bag": "B01", "patch": "p1", "photo": photo, "width": "480", "kind": "curves", "id": photo}
    for path in paths(shown, "GET", "site.css"):
        assert page.get(path, base_url=OURS, query_string=query).status_code < 500, path
    assert same()


@pytest.mark.parametrize(
    "name", ["scores.csv", "verdicts.csv", "events.csv", "harvests.csv", "bags.csv", "trial.toml"]
)
def test_a_broken_file_is_told_on_every_page(app: Flask, page: FlaskClient, scanned: Path, name: str) -> None:
    """In the words of the command line, with the file's name; no traceback, and well once it is mended."""
    path = scanned / name
    whole = path.read_bytes() if path.exists() else None
    path.write_bytes(b"no,such\x00 thing\n")
    for address in ("/", "/patch?bag=B01&patch=p1", "/bag?bag=B01", "/shelf", "/trial", "/weigh", "/photos"):
        answer = ask(page, address)
        assert answer.status_code in (400, 500), address
        assert name in answer.text
        assert "Traceback" not in answer.text
    path.unlink() if whole is None else path.write_bytes(whole)
    assert ask(page, "/").status_code == 200


def test_verdicts_and_events_at_once(app: Flask, scanned: Path) -> None:
    """Fifty calls and twenty events of several reviewers at the same time: all are rows."""
    sent, shown = {"Origin": OURS}, call_form(app.test_client())

    def call(number: int) -> int:
        form = shown | {"call": "unsure", "note": f"n{number}"}
        return app.test_client().post("/verdict", base_url=OURS, data=form, headers=sent).status_code

    def happen(number: int) -> int:
        form = {
            "scope": "bag",
            "name": "B02",
            "what": "other",
            "other": f"d{number}",
            "at": f"2026-03-05T10:{number:02d}",
            "token": own_token(app),
        }
        return app.test_client().post("/event", base_url=OURS, data=form, headers=sent).status_code

    with ThreadPoolExecutor(8) as pool:
        calls, events = pool.map(call, range(50)), pool.map(happen, range(20))
        assert {*calls, *events} == {303}
    assert sorted(row["note"] for row in verdicts(scanned)) == sorted(f"n{number}" for number in range(50))
    assert {row.detail for row in read_ledger(scanned).events} == {f"d{number}" for number in range(20)}


@pytest.mark.skipif(os.name != "posix", reason="a folder in use can't be moved elsewhere")
def test_a_folder_that_is_gone(app: Flask, page: FlaskClient, scanned: Path) -> None:
    """It is said, and there again when it is."""
    away = scanned.rename(scanned.with_name("away"))
    for address in ("/patch?bag=B01&patch=p1", "/bag?bag=B01", "/trial"):
        assert ask(page, address).status_code < 500
    away.rename(scanned)
    assert ask(page, "/").status_code == 200
