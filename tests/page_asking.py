"""A browser without a screen on the review site, and what to throw at it."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from flask.testing import FlaskClient
from PIL import Image
from werkzeug.test import TestResponse

from colscan.app.web import make_app
from colscan.app.web.site import Standing
from colscan.locate.cards import find_cards
from colscan.locate.model import Card

PORT = 8750
OURS = f"http://127.0.0.1:{PORT}"
TRAVERSALS = (
    "../../etc/passwd", "..%2f..%2fetc%2fpasswd", "/etc/passwd", "..\\..\\trial.toml", "\0", "a" * 3000, "",
)  # fmt: skip


def browser(folder: Path) -> FlaskClient:
    """A browser on a trial's review page."""
    return make_app(folder, port=PORT).test_client()


def look(page: FlaskClient, path: str, **headers: str) -> TestResponse:
    """Open a page, at our address unless the headers say otherwise."""
    return page.get(path, base_url=OURS, headers=headers)


def judge_blind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have every trial judged blind."""
    monkeypatch.setattr(Standing, "blind", property(lambda _: True))


def cards_in(answer: TestResponse) -> tuple[Card, ...]:
    """The cards that can be read in a picture."""
    with Image.open(io.BytesIO(answer.data)) as picture:
        return find_cards(np.asarray(picture.convert("RGB")))
