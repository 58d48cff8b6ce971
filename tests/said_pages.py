"""A browser on a trial's review page, for the tests of what is said there."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, datetime
from pathlib import Path

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from colscan.app.web import make_app

PORT = 8750
OURS = f"http://127.0.0.1:{PORT}"
NOON = datetime(2026, 4, 9, 16, tzinfo=UTC)
"""Noon in the demo's zone, 38 days after its day 0."""
TRAVERSALS = ("../../etc/passwd", "..%2ftrial.toml", "/etc/passwd", "..\\..\\trial.toml", "\0", "a" * 3000)
HTML = "<img src=x>&"


def browser(folder: Path) -> FlaskClient:
    """A browser on a trial's review page."""
    return make_app(folder, port=PORT).test_client()


def look(page: FlaskClient, path: str = "/") -> str:
    """What a page says; it must be there."""
    answer = page.get(path, base_url=OURS)
    assert answer.status_code == 200, answer.text
    return answer.text


def send(page: FlaskClient, path: str, *, origin: str = OURS, **fields: str) -> TestResponse:
    """Send a form as our own page does, with its token unless another is given."""
    found = re.search(r'name="token" value="([^"]+)"', look(page, "/who"))
    assert found
    form = {"token": found[1]} | fields
    return page.post(path, base_url=OURS, data=form, headers={"Origin": origin})


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    """The rows of a file of the ledger; none without the file."""
    path = folder / name
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    return list(csv.DictReader(io.StringIO(text, newline="")))


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
