"""A browser without a screen on a trial's review page, and what to throw at it."""

from __future__ import annotations

import csv
import html
import io
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from flask import Flask
from flask.testing import FlaskClient
from jinja2 import FileSystemBytecodeCache
from PIL import Image
from werkzeug.test import TestResponse

from colscan.app.web import make_app
from colscan.app.web.site import Standing
from colscan.locate.cards import find_cards
from colscan.locate.model import Card

PORT = 8750
OURS = f"http://127.0.0.1:{PORT}"
NOON = datetime(2026, 4, 9, 16, tzinfo=UTC)
"""Noon in the demo's zone, 38 days after its day 0."""
TRAVERSALS = (
    "../../etc/passwd", "..%2f..%2fetc%2fpasswd", "/etc/passwd", "..\\..\\trial.toml", "C:\\x", "..", "*",
    "\0", "a" * 3000,
)  # fmt: skip
HTML = "<img src=x>&"


@contextmanager
def compiled_once(folder: Path) -> Iterator[None]:
    """Keep templates compiled: each application would do it anew, which takes longer than most tests."""
    folder.mkdir(exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Flask, "jinja_options", {"bytecode_cache": FileSystemBytecodeCache(str(folder))})
        yield


def browser(folder: Path) -> FlaskClient:
    """A browser on a trial's review page."""
    return make_app(folder, port=PORT).test_client()


def ask(
    page: FlaskClient, path: str = "/", *, headers: Mapping[str, str] | None = None, **query: str
) -> TestResponse:
    """What a page answers, asked at our address unless the headers say otherwise."""
    return page.get(path, base_url=OURS, query_string=query or None, headers=headers)


def look(page: FlaskClient, path: str = "/") -> str:
    """What a page says; it must be there."""
    answer = ask(page, path)
    assert answer.status_code == 200, answer.text
    return answer.text


def send(page: FlaskClient, path: str, *, origin: str = OURS, **fields: str) -> TestResponse:
    """Send a form as our own page does, with its token unless another is given."""
    found = re.search(r'name="token" value="([^"]+)"', look(page, "/who"))
    assert found
    form = {"token": found[1]} | fields
    return page.post(path, base_url=OURS, data=form, headers={"Origin": origin})


def call_form(page: FlaskClient, path: str = "/patch?bag=B01&patch=p1") -> dict[str, str]:
    """What a page's form for calls sends along, as the page was made."""
    found = re.search(
        r'<form method="post" action="/verdict" class="judge".*?</form>', look(page, path), re.S
    )
    assert found
    fields = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', found[0])
    return {name: html.unescape(value) for name, value in fields}


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    """The rows of a file of the ledger; none without the file."""
    path = folder / name
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    return list(csv.DictReader(io.StringIO(text, newline="")))


def verdicts(folder: Path) -> list[dict[str, str]]:
    """The calls that were recorded."""
    return rows(folder, "verdicts.csv")


def rename(folder: Path, old: str, new: str, *files: str) -> None:
    """Give a bag or shelf another name in some files."""
    for file in files:
        text = (folder / file).read_text(encoding="utf-8")
        (folder / file).write_text(text.replace(old, new), encoding="utf-8")


def assert_only_ours(page: FlaskClient, path: str, folder: Path, file: str, **fields: str) -> None:
    """Refuse another origin, a wrong token and a GET, and write nothing."""
    assert send(page, path, origin="http://evil.example", **fields).status_code == 403
    assert send(page, path, token="x", **fields).status_code == 403
    assert page.put(path, base_url=OURS, data=fields, headers={"Origin": OURS}).status_code in (403, 405)
    assert rows(folder, file) == []


def judge_blind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have every trial judged blind."""
    monkeypatch.setattr(Standing, "blind", property(lambda _: True))


def cards_in(answer: TestResponse) -> tuple[Card, ...]:
    """The cards that can be read in a picture."""
    with Image.open(io.BytesIO(answer.data)) as picture:
        return find_cards(np.asarray(picture.convert("RGB")))
