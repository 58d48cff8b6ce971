"""The map's page: what is drawn there is shelfmap.toml; what doesn't fit is refused and not lost."""

from __future__ import annotations

import html
import json
import re
import shutil
import tempfile
from collections.abc import Callable
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from demo_trial import plain_shelf
from flask.testing import FlaskClient
from pages import OURS, TRAVERSALS, ask, browser
from PIL import Image
from png_bytes import png
from werkzeug.test import TestResponse

from colscan.app.cli.main import main
from colscan.app.web.guard import LARGER_REQUESTS_BYTES, TOKEN_HEADER
from colscan.app.web.map_photos import MOST_SENT
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.tables import format_header, format_rows
from colscan.trial.shelfmap import Place, ShelfMap, read_shelfmaps, write_shelfmap

DAY_0 = "2026-03-02T06:00:00-05:00"
CODES = ["B01", "B02", "B03", "B04"]
WIDTH, HEIGHT = 640, 480
BOX = [[20, 20], [120, 20], [120, 160], [20, 160]]
OTHER = [[200, 20], [300, 20], [300, 160], [200, 160]]


def begin(folder: Path, rows: list[str], more: str = "") -> Path:
    """A trial of bags without cards."""
    listed = folder.with_suffix(".csv")
    head = f"bag,strain,supplement,supplement_pct,inoculated_at{more}\n"
    listed.write_text(head + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    assert main(["new", str(folder), "--bags", str(listed)]) == 0
    return folder


def bag_row(code: str) -> str:
    """A row of a bag list."""
    return f"{code},PO-3,bran,4,{DAY_0}"


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo of nothing, dated by its name."""
    path = tmp_path_factory.mktemp("small") / "IMG_20260302_090000.png"
    Image.new("RGB", (WIDTH, HEIGHT), (120, 125, 130)).save(path)
    return path


@pytest.fixture
def rack(tmp_path: Path, small: Path) -> Path:
    """A trial of four bags whose map has B01 alone, on a kept photo."""
    folder = begin(tmp_path / "rack", [bag_row(code) for code in CODES])
    keep_by_hand(folder, small, "shelf", {"B01": BOX})
    return folder


def keep_by_hand(folder: Path, photo: Path, shelf: str, places: dict[str, Any]) -> None:
    """Write a map as from the command."""
    key = sha256(photo.read_bytes()).hexdigest()
    (folder / "photos").mkdir(exist_ok=True)
    shutil.copyfile(photo, folder / "photos" / f"2026-03-02T090000-{key[:8]}.png")
    made = [Place(bag=bag, outline_px=tuple((x, y) for x, y in box)) for bag, box in places.items()]
    write_shelfmap(
        folder,
        ShelfMap(
            shelf=shelf,
            photo=photo.name,
            photo_sha256=key,
            width_px=WIDTH,
            height_px=HEIGHT,
            places=tuple(made),
        ),
    )


@pytest.fixture
def page(rack: Path) -> FlaskClient:
    """A browser on that trial."""
    return browser(rack)


def fields(text: str) -> dict[str, Any]:
    """What the drawing's form holds when nobody touches it, as a browser without script sends it."""
    form = text[text.index('id="keep"') : text.index("<template")]
    held = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form))
    selects = re.findall(r'<select name="bag">(.*?)</select>', form, re.DOTALL)
    chosen = [re.findall(r'<option value="([^"]*)" selected>', select) for select in selects]
    return {name: html.unescape(value) for name, value in held.items()} | {
        "bag": [html.unescape(one[0]) if one else "" for one in chosen]
    }


def keep(page: FlaskClient, form: dict[str, Any], **headers: str) -> TestResponse:
    """Send a drawing's form as our own page does, but for what the headers say."""
    sent = {"Origin": OURS, "Sec-Fetch-Site": "same-origin"} | headers
    return page.post("/map/keep", base_url=OURS, data=form, headers=sent)


def drawn(page: FlaskClient, outlines: Any, bags: list[str], **more: str) -> dict[str, Any]:
    """The form with other outlines and names."""
    text = outlines if isinstance(outlines, str) else json.dumps(outlines)
    return fields(ask(page, "/map").text) | {"outlines": text, "bag": bags} | more


def send(
    page: FlaskClient, body: bytes, *, headers: dict[str, str] | None = None, **query: str
) -> TestResponse:
    """Send a photo as our own script does, but for what the headers say."""
    known = re.search(r'<meta name="token" content="([^"]+)"', ask(page, "/map").text)
    assert known
    sent = {"Origin": OURS, "Sec-Fetch-Site": "same-origin", TOKEN_HEADER: known[1]} | (headers or {})
    query = {"name": "first.jpg"} | query
    return page.post("/map/photo", base_url=OURS, data=body, query_string=query, headers=sent)


def places(folder: Path) -> dict[str, list[list[float]]]:
    """The outlines in shelfmap.toml, by bag."""
    maps = read_shelfmaps(folder, bags=CODES)
    return {place.bag: [list(corner) for corner in place.outline_px] for one in maps for place in one.places}


# ---- a drawing becomes the map


def test_a_sent_photo_s_proposal_is_kept_as_by_the_command(tmp_path: Path) -> None:
    """Send, look, keep, without a script's help but for the sending: the same file as of map --accept."""
    first = plain_shelf(0, tmp_path / "first.jpg")
    by_hand, by_page = (
        begin(tmp_path / name, [bag_row(code) for code in CODES]) for name in ("hand", "page")
    )
    assert main(["map", str(by_hand), str(first), "--accept"]) == 0
    page = browser(by_page)
    answer = send(page, first.read_bytes())
    assert answer.status_code == 201
    assert not (by_page / "photos").exists()
    shown = page.get(answer.json["page"], base_url=OURS)
    assert "4 bags without a card were found" in shown.text
    assert shown.text.count('<polygon class="line"') == 4
    form = fields(shown.text)
    assert form["bag"] == CODES
    picture = ask(page, "/map/picture", photo=form["photo"])
    assert picture.data.startswith(b"\xff\xd8")
    kept = keep(page, form)
    assert kept.status_code == 303
    assert (by_page / "shelfmap.toml").read_bytes() == (by_hand / "shelfmap.toml").read_bytes()
    assert (by_page / "overlays" / "map-shelf.jpg").exists()
    names = [[path.name for path in (folder / "photos").iterdir()] for folder in (by_hand, by_page)]
    assert names[0] == names[1]
    assert "with 4 bags, on first.jpg" in page.get(kept.location, base_url=OURS).text
    assert "Kept in" not in ask(page, "/map", kept="none").text


def test_what_was_drawn_is_in_the_file(page: FlaskClient, rack: Path) -> None:
    """A corner dragged, a bag added, a number without a bag left out; the photo is kept once."""
    dragged = [[25.5, 31], *BOX[1:]]
    text = ask(page, "/map").text
    assert "This is the map as it is kept." in text
    assert fields(text)["bag"] == ["B01"]
    assert keep(page, drawn(page, [dragged, OTHER, BOX], ["B03", "B01", ""])).status_code == 303
    assert places(rack) == {"B03": dragged, "B01": OTHER}
    assert len(list((rack / "photos").iterdir())) == 1


def test_a_photo_of_the_ledger(page: FlaskClient, rack: Path, small: Path) -> None:
    """It is offered; where no bag is found in it they are drawn by hand."""
    (one,) = read_shelfmaps(rack, bags=CODES)
    (rack / "shelfmap.toml").unlink()
    when = datetime.fromisoformat(DAY_0)
    row = PhotoRow(
        photo=small.name,
        photo_sha256=one.photo_sha256,
        taken_at=when,
        taken_at_from="option",
        width_px=WIDTH,
        height_px=HEIGHT,
        bags_found=0,
        method="1",
        scanned_at=when,
    )
    for row_type, rows in {ScoreRow: [], SuspectRow: [], PhotoRow: [row]}.items():
        (rack / row_type.FILE).write_bytes(format_header(row_type) + format_rows(rows))
    offered = ask(page, "/map").text
    assert "<svg" not in offered
    assert f'<option value="{one.photo_sha256}">' in offered
    shown = ask(page, "/map", photo=one.photo_sha256).text
    assert "No bag without a card was found" in shown
    form = fields(shown)
    assert json.loads(form["outlines"]) == form["bag"] == []
    assert keep(page, form | {"outlines": json.dumps([BOX]), "bag": ["B02"]}).status_code == 303
    assert places(rack) == {"B02": BOX}


def test_bags_of_two_shelves(tmp_path: Path, small: Path) -> None:
    """The list says of each bag what speaks against it; a bag that is named here leaves the other map."""
    rows = [
        f"{bag_row(code)},{shelf}" for code, shelf in zip(CODES, ("low", "low", "top", "top"), strict=True)
    ]
    folder = begin(tmp_path / "two", rows, ",shelf")
    keep_by_hand(folder, small, "low", {"B01": BOX})
    keep_by_hand(folder, small, "top", {"B03": OTHER})
    page = browser(folder)
    text = ask(page, "/map", shelf="top").text
    assert 'value="B01">B01 (on the map of low)' in text
    assert 'value="B02">B02 (planned on low)' in text
    assert 'value="B04">B04</option>' in text
    assert text.index('value="B04"') < text.index('value="B01"')
    form = fields(text) | {"outlines": json.dumps([OTHER, BOX]), "bag": ["B03", "B01"]}
    assert keep(page, form).status_code == 303
    low, top = read_shelfmaps(folder, bags=CODES)
    assert low.shelf == "low"
    assert low.places == ()
    assert [place.bag for place in top.places] == ["B03", "B01"]


def test_cards_need_no_map(trial: Path) -> None:
    """Where every bag has one the page says so, and has nothing to draw."""
    text = ask(browser(trial), "/map").text
    assert "no map is needed" in text
    assert "<form" not in text


# ---- what doesn't fit is refused, and stays on the page


@pytest.mark.parametrize(
    ("outlines", "said"),
    [
        ("", "no JSON"),
        ("[" * 9000, "no JSON"),
        ('{"a": 1}', "no list"),
        ([[BOX[0]]] * 301, "no list of at most 300"),
        (["x"], "Number 1 has not 3 to 32 corners"),
        ([BOX[:2]], "Number 1 has not 3 to 32 corners"),
        ([BOX, [[n, n * n / 9] for n in range(33)]], "Number 2 has not 3 to 32 corners"),
        ("[[[NaN,0],[90,0],[90,90]]]", "Number 1 has a corner that is no point"),
        ("[[[1e999,0],[90,0],[90,90]]]", "Number 1 has a corner that is no point"),
        (f"[[[{'9' * 4000},0],[90,0],[90,90]]]", "Number 1 has a corner that is no point"),
        ([[[True, 0], [90, 0], [90, 90]]], "Number 1 has a corner that is no point"),
        ([[["1", 0], [90, 0], [90, 90]]], "Number 1 has a corner that is no point"),
        ([[[1, 0, 0], [90, 0], [90, 90]]], "Number 1 has a corner that is no point"),
        ([[[-0.1, 0], [90, 0], [90, 90]]], "Number 1 has a corner that is no point"),
        ([[[0, 0], [640.1, 0], [90, 90]]], "Number 1 has a corner that is no point"),
        ([[[0, 0], [90, 0], [90, 480.1]]], "Number 1 has a corner that is no point"),
        ([[[0, 0], [100, 0], [100, 7.9]]], "Number 1 is smaller than 400"),
        ([[[0, 0], [90, 90], [90, 0], [0, 90]]], "The sides of number 1 cross"),
        ([[[0, 0], [90, 0], [90, 90], [0, 90], [90, 0]]], "The sides of number 1 cross"),
        ([[[0, 0], [90, 0], [90, 90], [45, 0], [0, 90]]], "The sides of number 1 cross"),
    ],
)  # fmt: skip
def test_outlines_that_are_none(page: FlaskClient, rack: Path, outlines: Any, said: str) -> None:
    """Each is refused with its number, and nothing is written."""
    before = (rack / "shelfmap.toml").read_bytes()
    count = len(outlines) if isinstance(outlines, list) else 1
    answer = keep(page, drawn(page, outlines, ["B01", *[""] * (count - 1)]))
    assert answer.status_code == 400
    assert said in html.unescape(answer.text)
    assert (rack / "shelfmap.toml").read_bytes() == before
    assert not (rack / "overlays").exists()


@pytest.mark.parametrize(
    ("bags", "said"),
    [
        (["B01", "B01"], "B01 is named for two places"),
        (["", ""], "No number has a bag"),
        (["B01"], "names 1 places and has 2 outlines"),
        (["B01", "B02", "B03"], "names 3 places"),
        (["B01", "B99"], "'B99' is not in the trial"),
        (["B01", "B04"], "B04 has a card"),
    ],
)
def test_names_that_don_t_fit(page: FlaskClient, rack: Path, bags: list[str], said: str) -> None:
    """Refused, and what was drawn is on the page that says so."""
    listed = (rack / "bags.csv").read_text(encoding="utf-8")
    (rack / "bags.csv").write_text(with_card(listed), encoding="utf-8")
    before = (rack / "shelfmap.toml").read_bytes()
    answer = keep(page, drawn(page, [BOX, OTHER], bags))
    assert answer.status_code == 400
    assert said in html.unescape(answer.text)
    assert json.loads(fields(answer.text)["outlines"]) == [BOX, OTHER]
    assert (rack / "shelfmap.toml").read_bytes() == before


def with_card(listed: str) -> str:
    """A bag list in which B04 has a card."""
    head, *rows = listed.splitlines()
    tagged = [row + (",7" if row.startswith("B04,") else ",") for row in rows]
    return "\n".join([f"{head},tag", *tagged]) + "\n"


def test_a_crossing_can_be_corrected_where_it_was_drawn(page: FlaskClient, rack: Path) -> None:
    """The page that refuses has the drawing and its names; what is sent from there is kept."""
    crossed = [BOX[0], BOX[2], BOX[1], BOX[3]]
    answer = keep(page, drawn(page, [OTHER, crossed], ["B02", "B03"]))
    form = fields(answer.text)
    assert json.loads(form["outlines"]) == [OTHER, crossed]
    assert form["bag"] == ["B02", "B03"]
    assert keep(page, form | {"outlines": json.dumps([OTHER, BOX])}).status_code == 303
    assert places(rack) == {"B02": OTHER, "B03": BOX}


def test_a_map_that_changed_meanwhile_is_not_written_over(page: FlaskClient, rack: Path) -> None:
    """Of two who draw, the second is told, keeps the drawing, and replaces the other's by saying so again."""
    first, second = drawn(page, [OTHER], ["B02"]), drawn(page, [BOX], ["B04"])
    assert keep(page, first).status_code == 303
    answer = keep(page, second)
    assert answer.status_code == 409
    assert "changed since this page was opened" in answer.text
    assert places(rack) == {"B02": OTHER}
    again = fields(answer.text)
    assert (json.loads(again["outlines"]), again["bag"]) == ([BOX], ["B04"])
    assert keep(page, again).status_code == 303
    assert places(rack) == {"B04": BOX}


# ---- photos that are sent


def test_what_is_no_photo_is_refused(rack: Path, small: Path, tmp_path: Path, monkeypatch) -> None:
    """Wrong type, cut off, too many pixels, without a time, too large: told, and no file is left."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temp"))
    (tmp_path / "temp").mkdir()
    page, raw = browser(rack), small.read_bytes()
    for body, said in (
        (b"", "It is empty"),
        (b"GIF89a" + raw, "not a JPEG, PNG or HEIC"),
        (raw[:60], "first.jpg: is not a readable"),
        (raw, "first.jpg: nothing says when it was taken"),
    ):
        answer = send(page, body)
        assert answer.status_code == 400
        assert said in answer.json["what"]
    assert answer.json["next_step"] == "Fill in when it was taken, then send it again."
    for when, said in (("noon", "'noon' is not a time"), ("2150-03-02T09:00", "is in the future")):
        answer = send(page, raw, taken_at=when)
        assert answer.status_code == 400
        assert said in answer.json["what"]
    answer = send(page, png(40_000, 40_000), taken_at="2026-03-02T09:00")
    assert answer.status_code == 400
    assert "has 1600 megapixels" in answer.json["what"]
    assert send(page, bytes(LARGER_REQUESTS_BYTES["map_photo"] + 1)).status_code == 413
    assert [path for path in (tmp_path / "temp").rglob("*") if path.is_file()] == []


def test_few_photos_wait(rack: Path, tmp_path: Path, monkeypatch) -> None:
    """With one more than are kept the oldest is forgotten, and its file is gone."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temp"))
    (tmp_path / "temp").mkdir()
    page, pages = browser(rack), []
    for level in range(MOST_SENT + 1):
        Image.new("RGB", (300, 300), (level, 9, 9)).save(tmp_path / "one.png")
        answer = send(page, (tmp_path / "one.png").read_bytes(), taken_at="2026-03-02T09:00")
        pages.append(re.findall(r"[0-9a-f]{64}", answer.json["page"])[0])
    assert ask(page, "/map/picture", photo=pages[0]).status_code == 400
    assert ask(page, "/map/picture", photo=pages[1]).status_code == 200
    assert len([path for path in (tmp_path / "temp").rglob("*") if path.is_file()]) == MOST_SENT


# ---- nobody else, nothing else


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Host": "evil.example"},
    ],
)
def test_a_foreign_origin_is_refused(
    page: FlaskClient, rack: Path, small: Path, headers: dict[str, str], unchanged: Callable
) -> None:
    """Even with the right token, for a map and for a photo."""
    same = unchanged(rack)
    assert keep(page, drawn(page, [OTHER], ["B02"]), **headers).status_code == 403
    assert send(page, small.read_bytes(), headers=headers, taken_at="2026-03-02T09:00").status_code == 403
    assert same()


def test_a_wrong_token_is_refused(page: FlaskClient, rack: Path, small: Path, unchanged: Callable) -> None:
    """A photo's is asked of its header alone: its body isn't read for one."""
    same = unchanged(rack)
    for wrong in ("", "x", fields(ask(browser(rack), "/map").text)["token"]):
        assert keep(page, drawn(page, [OTHER], ["B02"], token=wrong)).status_code == 403
        assert send(page, small.read_bytes(), headers={TOKEN_HEADER: wrong}).status_code == 403
    form = f"token={fields(ask(page, '/map').text)['token']}".encode()
    typed = {TOKEN_HEADER: "", "Content-Type": "application/x-www-form-urlencoded"}
    assert send(page, form, headers=typed).status_code == 403
    assert same()


@pytest.mark.parametrize("attack", TRAVERSALS)
def test_no_parameter_reaches_a_file(
    page: FlaskClient, rack: Path, small: Path, attack: str, unchanged: Callable
) -> None:
    """A path in any parameter is an unknown name, and nothing of a file comes back."""
    same = unchanged(rack)
    for query in ({"photo": attack}, {"shelf": attack}, {"shelf": "shelf", "photo": attack}):
        answer = ask(page, "/map", **query)
        assert answer.status_code == 400
        assert "root:" not in answer.text
    assert ask(page, "/map", kept=attack).status_code == 200
    assert ask(page, "/map/picture", photo=attack).status_code == 400
    for name in ("photo", "shelf", "outlines", "bag"):
        assert keep(page, drawn(page, [OTHER], ["B02"]) | {name: attack}).status_code == 400
    assert keep(page, drawn(page, [OTHER], ["B02"], mark=attack)).status_code == 409
    assert send(page, small.read_bytes(), shelf=attack).status_code == 400
    assert send(page, small.read_bytes(), taken_at=attack).status_code == 400
    assert same()
    assert send(page, small.read_bytes(), name=attack, taken_at="2026-03-02T09:00").status_code == 201
    assert same()


def test_html_in_names_is_text(rack: Path, small: Path) -> None:
    """A bag, a photo and a shelf that are called like elements are shown as written, and can be kept."""
    odd = '<b>"x"&'
    shelfmap = (rack / "shelfmap.toml").read_text(encoding="utf-8")
    (rack / "shelfmap.toml").write_text(
        shelfmap.replace('"B01"', f"'{odd}'").replace('"shelf"', "'<i>low'"), encoding="utf-8"
    )
    listed = (rack / "bags.csv").read_text(encoding="utf-8")
    (rack / "bags.csv").write_text(listed.replace("B01,", '"<b>""x""&",'), encoding="utf-8")
    page = browser(rack)
    sent = send(page, small.read_bytes(), name="<script>1", taken_at="2026-03-02T09:00")
    for text in (ask(page, "/map").text, page.get(sent.json["page"], base_url=OURS).text):
        assert "<b>" not in text
        assert "<i>" not in text
        assert "<script>" not in text
        assert "&lt;b&gt;" in text
    form = fields(ask(page, "/map").text)
    assert form["bag"] == [odd]
    assert keep(page, form).status_code == 303
    (one,) = read_shelfmaps(rack, bags=[odd])
    assert (one.shelf, one.places[0].bag) == ("<i>low", odd)


def test_get_changes_nothing_and_nothing_is_inline(
    page: FlaskClient, rack: Path, unchanged: Callable
) -> None:
    """Looking leaves no trace; the page keeps to the policy that is sent with it."""
    same = unchanged(rack)
    text = ask(page, "/map").text
    assert ask(page, "/map/picture", photo=fields(text)["photo"]).mimetype == "image/jpeg"
    assert ask(page, "/map/keep", **{k: str(v) for k, v in fields(text).items()}).status_code == 405
    assert ask(page, "/map/photo").status_code == 405
    assert same()
    assert not re.search(r"<style|style=|\son\w+=|<script>|https?://(?!www\.w3\.org)", text)
