"""Judging blind: no page tells what a bag got until somebody asks; what is recorded says which it was."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pypdfium2
import pytest
from flask.testing import FlaskClient
from pages import OURS, PORT, ask, browser, call_form
from PIL import Image
from werkzeug.test import TestResponse

from colscan import units
from colscan.app.cli.main import main
from colscan.app.web import make_app
from colscan.growth import judge_bags
from colscan.ledger import read_ledger
from colscan.ledger.columns import SuspectRow
from colscan.tables import format_header, format_rows
from colscan.trial import load_trial

RENAMED = {
    "B04,4,PO-3,bran,4": "B04,4,PO-3,bran,0",
    "PO-3": "zstrain-PO",
    "HE-2": "zstrain-HE",
    "PE-1": "zstrain-PE",
    "bran": "zbran",
    ",M0": ",zmix-",
}
"""So that no other word of a page can be taken for what is to be hidden; and B01 has a sibling."""
TELLING = re.compile("zstrain|zbran|zmix", re.IGNORECASE)


@pytest.fixture
def folder(scanned: Path) -> Path:
    """A scanned trial that is judged blind, with a patch on B01 and on B02."""
    for name in ("trial.toml", "bags.csv"):
        text = (scanned / name).read_text(encoding="utf-8")
        for old, new in RENAMED.items():
            text = text.replace(old, new)
        (scanned / name).write_text(text, encoding="utf-8")
    plan = scanned / "trial.toml"
    plan.write_text(
        plan.read_text(encoding="utf-8").replace('judging = "open"', 'judging = "blind"'), encoding="utf-8"
    )
    _add_patches(scanned, "B01", "B02")
    return scanned


def _add_patches(folder: Path, *bags: str) -> None:
    rows = []
    for bag in bags:
        score = [row for row in read_ledger(folder).scores if row.bag == bag][-1]
        x, y = (sum(values) / len(values) for values in zip(*score.outline, strict=True))
        rows.append(
            SuspectRow(
                photo=score.photo, photo_sha256=score.photo_sha256, taken_at=score.taken_at, bag=bag,
                patch="p1", kind="green", area_mm2=150.0, area_pct=0.5, x_px=x, y_px=y, x_mm=0.0, y_mm=0.0,
                outline=((x - 9, y - 9), (x + 9, y - 9), (x, y + 9)), strength=0.9, method=score.method,
            )
        )  # fmt: skip
    (folder / SuspectRow.FILE).write_bytes(format_header(SuspectRow) + format_rows(rows))


def _send(
    page: FlaskClient, path: str, *, headers: dict[str, str] | None = None, **fields: str
) -> TestResponse:
    token = re.search(r'<meta name="token" content="([^"]+)"', ask(page, "/").text)
    assert token
    sent = {"Origin": OURS} | (headers or {})
    return page.post(path, base_url=OURS, data={"token": token[1]} | fields, headers=sent)


def _call(page: FlaskClient, bag: str = "B01", call: str = "harmless", **fields: str) -> TestResponse:
    return _send(page, "/verdict", **call_form(page, f"/patch?bag={bag}&patch=p1"), call=call, **fields)


def _column(folder: Path, name: str) -> list[str]:
    path = folder / name
    return [row["blind"] for row in csv.DictReader(io.StringIO(path.read_text(encoding="utf-8")))]


def _arguments(folder: Path) -> dict[str, str]:
    """What any page may ask for: a bag with a patch in its newest photo."""
    photo = [row for row in read_ledger(folder).scores if row.bag == "B01"][-1].photo_sha256
    asked = {"bag": "B01", "patch": "p1", "photo": photo, "width": "960", "kind": "curves"}
    return asked | {"name": "site.css", "sheet": "cards"}


def _text_of(answer: TestResponse) -> str:
    """The words of a page or a sheet; none of a photo, which is looked at elsewhere."""
    if answer.mimetype == "image/jpeg":
        return ""
    if answer.mimetype != "application/pdf":
        return answer.text
    sheet = pypdfium2.PdfDocument(answer.data)
    return "\n".join(page.get_textpage().get_text_range() for page in sheet)


def test_no_page_tells(folder: Path) -> None:
    """Whatever can be opened, before and after calls on two bags: neither strain, supplement nor mix."""
    app = make_app(folder, port=PORT)
    page, arguments = app.test_client(), _arguments(folder)
    said = {"said_bag": "B01", "said_patch": "p1"}
    rules = [rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())]
    assert {"first", "patch", "crop", "opinion", "unblind"} <= {rule.endpoint for rule in rules}
    for _ in range(2):
        for rule in rules:
            with app.test_request_context(base_url=OURS):
                known = {
                    name: value
                    for name, value in arguments.items()
                    if name not in ("name", "sheet") or name in rule.arguments
                }
                path = app.url_for(rule.endpoint, **known, **said)
            answer = page.get(path, base_url=OURS, follow_redirects=True)
            # Charts are by treatment: they are refused.
            expected = 400 if rule.endpoint == "chart" else 200
            assert answer.status_code == expected, f"{path}: give its arguments in _arguments"
            assert not TELLING.search(_text_of(answer)), path
        for bag in ("B01", "B02"):
            assert _call(page, bag, "contaminated", action="isolated").status_code == 303
    around = ask(page, "/", **said).text
    assert "Same heat run H1" in around
    assert "Judged blind: mixes" in around


def test_the_fill_is_kept(folder: Path) -> None:
    """A bag's weight follows from its treatment where a supplement is added to the same substrate."""
    bags = folder / "bags.csv"
    head, *lines = bags.read_text(encoding="utf-8").splitlines()
    filled = "\n".join([f"{head},fill_wet_g", *(f"{line},2531" for line in lines)])
    bags.write_text(filled + "\n", encoding="utf-8")
    page = browser(folder)
    told = {"/bag?bag=B01": "<dd>2531 g</dd>", "/weigh?bag=B01": 'data-filled-g="2531.0"'}
    assert [path for path, words in told.items() if words in ask(page, path).text] == []
    _send(page, "/unblind")
    assert [path for path, words in told.items() if words in ask(page, path).text] == list(told)


def test_reasons_name_no_treatment(folder: Path) -> None:
    """What is said of a bag's growth doesn't say of what it is, nor by figures whose sibling it is."""
    trial, ledger = load_trial(folder), read_ledger(folder)
    shown = judge_bags(replace(trial, judging="open"), ledger, units.now())
    assert any("siblings" in status.why for status in shown)
    reasons = [status.why for status in judge_bags(trial, ledger, units.now())]
    assert not any("siblings" in why or TELLING.search(why) for why in reasons)


def test_an_open_trial_tells_and_says_so(folder: Path) -> None:
    """Without the key nothing is hidden, and a call is not blind."""
    plan = folder / "trial.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace('judging = "blind"', ""), encoding="utf-8")
    page = browser(folder)
    following = _call(page, call="contaminated", action="isolated").location
    assert "Same mix zmix-1" in page.get(following, base_url=OURS).text
    assert _column(folder, "verdicts.csv") == ["no"]
    assert "are not hidden" in ask(page, "/unblind").text


def test_cards_are_covered(folder: Path) -> None:
    """A card may say what the bag got, so it is grey in crops while treatments are hidden."""
    score = [row for row in read_ledger(folder).scores if row.bag == "B01"][-1]
    left, top = (min(values) for values in zip(*score.outline, strict=True))
    path = folder / SuspectRow.FILE
    (row,) = (row for row in read_ledger(folder).suspects if row.bag == "B01")
    at = (left + 60.0, top + 30.0)
    moved = format_rows([replace(row, x_px=at[0], y_px=at[1], outline=())])
    path.write_bytes(format_header(SuspectRow) + moved)
    page = browser(folder)
    assert _paper(ask(page, "/crop", **_arguments(folder))) == 0
    _send(page, "/unblind")
    assert _paper(ask(page, "/crop", **_arguments(folder))) > 30


def _paper(answer: TestResponse) -> int:
    """How many pixels of a picture are as light as paper."""
    return sum(Image.open(io.BytesIO(answer.data)).convert("L").histogram()[190:])


def test_shown_once_it_is_not_blind_any_more(folder: Path) -> None:
    """For every browser on this server, for calls and for estimates; the next start is blind again."""
    app = make_app(folder, port=PORT)
    first, second = app.test_client(), app.test_client()
    _call(first)
    assert "recorded as not blind" in ask(first, "/unblind").text
    assert "Show treatments" in ask(second, "/").text
    answer = _send(first, "/unblind")
    assert (answer.status_code, answer.location) == (303, "/unblind")
    assert "Treatments were shown" in ask(second, "/").text
    _call(second, "B02")
    assert _column(folder, "verdicts.csv") == ["yes", "no"]
    box = re.search(r'name="box" value="([^"]+)"', ask(first, "/opinion", **_arguments(folder)).text)
    assert box
    known = _arguments(folder) | {"box": box[1], "how": "number", "coverage_pct": "40"}
    assert _send(second, "/opinion", **known).status_code == 303
    assert _column(folder, "estimates.csv")[-1] == "no"
    _call(browser(folder), call="withdrawn")
    assert _column(folder, "verdicts.csv") == ["yes", "no", "yes"]


def test_only_our_own_form_shows_treatments(
    folder: Path, unchanged: Callable[[Path], Callable[[], bool]]
) -> None:
    """Opening the page doesn't, nor does another site or a wrong token; nothing is written by it."""
    page, same = browser(folder), unchanged(folder)
    assert ask(page, "/unblind").status_code == 200
    assert _send(page, "/unblind", token="x").status_code == 403
    assert _send(page, "/unblind", headers={"Origin": "http://evil.example"}).status_code == 403
    assert "Judged blind" in ask(page, "/").text
    _send(page, "/unblind")
    assert same()


def test_the_command_knows_what_it_is_told(folder: Path) -> None:
    """On the command line nobody knows what was hidden: empty, unless --blind says so."""
    assert main(["verdict", str(folder), "B01", "unsure"]) == 0
    assert main(["verdict", str(folder), "B02", "unsure", "--blind"]) == 0
    assert _column(folder, "verdicts.csv") == ["", "yes"]
