"""`/photos`: a phone's photos are scored as by `colscan scan`; what is no photo never gets into the trial."""

from __future__ import annotations

import csv
import io
import re
import shutil
import struct
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from demo_trial import CORNER_PX, contents, part, photo
from flask import Flask
from flask.testing import FlaskClient
from held_files import holding
from pages import OURS, PORT
from PIL import Image
from png_bytes import png
from werkzeug.test import TestResponse

from colscan.app.cli.main import main
from colscan.app.web import make_app, uploads
from colscan.app.web.arrivals import clean_name, free_name
from colscan.app.web.photos import LARGEST_PHOTO_BYTES
from colscan.errors import LedgerError
from colscan.ledger import files, scan_locked

Corners = Callable[[int], Path]
Unchanged = Callable[[Path], Callable[[], bool]]


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Don't wait long for photos that might come."""
    monkeypatch.setattr(uploads, "QUIET_SECONDS", 0.1)


@pytest.fixture
def app(scanned_pair: Path) -> Iterator[Flask]:
    """The review page of a trial of two bags with photos of day 0 and 3."""
    made = make_app(scanned_pair, port=PORT)
    yield made
    made.extensions["uploads"].close()


@pytest.fixture
def page(app: Flask) -> FlaskClient:
    """A browser on it."""
    return app.test_client()


def token(page: FlaskClient) -> str:
    """The token of the page, where its script finds it."""
    found = re.search(r'<meta name="token" content="([^"]+)">', page.get("/photos", base_url=OURS).text)
    assert found
    return found[1]


def send(
    page: FlaskClient,
    data: bytes,
    name: str = "IMG_1.jpg",
    *,
    headers: dict[str, str | None] | None = None,
    **fields: str,
) -> TestResponse:
    """Send a photo as the page's script does, but for the headers given (None leaves one out)."""
    sent = {"Origin": OURS, "Sec-Fetch-Site": "same-origin", "X-Colscan-Token": token(page)} | (headers or {})
    return page.post(
        "/photos",
        base_url=OURS,
        query_string={"name": name} | fields,
        data=data,
        content_type="application/octet-stream",
        headers={key: value for key, value in sent.items() if value is not None},
    )


def outcome(page: FlaskClient, answer: TestResponse) -> dict[str, Any]:
    """What became of a photo that was taken in, once it is known."""
    assert answer.status_code in (200, 202), answer.text
    for _ in range(4000):
        asked = page.get("/photos/state", query_string={"id": answer.json["id"]}, base_url=OURS)
        (told,) = asked.json["photos"]
        if told["state"] not in ("waiting", "measuring"):
            return dict(told)
        time.sleep(0.03)
    pytest.fail("the photo was never scored")


def rows(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file without the time they were written; none without the file."""
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    found = csv.DictReader(io.StringIO(text, newline=""))
    return [{name: cell for name, cell in row.items() if name != "scanned_at"} for row in found]


def without_time(day: int) -> bytes:
    """A day's corner, whose EXIF and name don't say when it was taken."""
    data = io.BytesIO()
    with Image.open(photo(day)) as image:
        image.crop(CORNER_PX).save(data, "PNG", compress_level=1)
    return data.getvalue()


def single_bags() -> list[bytes]:
    """Four photos of the same minute, each of one of the upper bags alone."""
    pictures = []
    with Image.open(photo(6)) as image:
        for left in (320, 575, 850, 1090):
            data = io.BytesIO()
            part = image.crop((left, 250, left + 275, 250 + 285))
            part.save(data, "PNG", exif=image.getexif(), compress_level=1)
            pictures.append(data.getvalue())
    return pictures


# ---- scored as by colscan scan


def test_rows_that_wait_are_said(
    page: FlaskClient, corners: Corners, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A photo is recorded while a spreadsheet holds scores.csv, and what to do is said as by the command."""
    with holding(monkeypatch, "scores.csv"):
        told = outcome(page, send(page, corners(6).read_bytes(), corners(6).name))
    assert told["state"] == "recorded"
    assert "wait in waiting/" in told["html"]


def test_the_rows_are_those_of_colscan_scan(
    page: FlaskClient, scanned_pair: Path, corners: Corners, tmp_path: Path
) -> None:
    """A photo from a phone gives the same rows and the same original, and the page shows its scores."""
    by_hand = Path(shutil.copytree(scanned_pair, tmp_path / "by-hand"))
    assert main(["scan", str(by_hand), str(corners(6)), "--jobs", "1"]) == 0
    answer = send(page, corners(6).read_bytes(), corners(6).name)
    assert (answer.status_code, answer.json["state"]) == (202, "waiting")
    told = outcome(page, answer)
    assert told["state"] == "recorded", told
    for name in ("scores.csv", "photos.csv", "suspects.csv"):
        assert rows(scanned_pair / name) == rows(by_hand / name)
    assert len(rows(scanned_pair / "scores.csv")) == 6
    assert [path.name for path in sorted((scanned_pair / "photos").iterdir())] == [
        path.name for path in sorted((by_hand / "photos").iterdir())
    ]
    assert "cards found: 2 of 2 bags" in told["html"]
    assert re.search(r", 2 bags, smallest spot it can show: \d+ mm<", told["html"])
    assert told["html"].count('<th scope="row">') == 2
    coverage = float(rows(scanned_pair / "scores.csv")[-1]["coverage_pct"])
    assert f"<td>{coverage:.0f} %</td>" in told["html"]
    assert f'href="/shelf?photo={answer.json["id"]}"' in told["html"]
    reloaded = page.get("/photos", base_url=OURS).text
    assert corners(6).name in reloaded
    assert f"<td>{coverage:.0f} %</td>" in reloaded


def test_a_photo_in_the_ledger_is_said_to_be_there(
    page: FlaskClient, scanned_pair: Path, corners: Corners, unchanged: Unchanged
) -> None:
    """The same bytes again, under another name, are known at once; nothing is written."""
    same = unchanged(scanned_pair)
    answer = send(page, corners(3).read_bytes(), "again.jpg")
    assert (answer.status_code, answer.json["state"]) == (200, "known")
    assert "scanned before" in answer.json["html"]
    assert same()


def test_the_same_photo_twice_at_once_is_one_record(
    app: Flask, page: FlaskClient, scanned_pair: Path, corners: Corners
) -> None:
    """Two requests with the same bytes are one photo, which both can ask for."""
    data, sent = corners(6).read_bytes(), token(page)
    with ThreadPoolExecutor(4) as pool:
        answers = list(
            pool.map(
                lambda _: send(app.test_client(), data, headers={"X-Colscan-Token": sent}),
                range(4),
            )
        )
    assert {outcome(page, answer)["state"] for answer in answers} == {"recorded"}
    assert len({answer.json["id"] for answer in answers}) == 1
    assert len(rows(scanned_pair / "photos.csv")) == 3
    assert send(page, data).json["state"] == "recorded"


def test_four_photos_at_once_are_all_recorded(scanned: Path) -> None:
    """Photos that come together, all called the same by the phone, each have their rows."""
    pictures, app = single_bags(), make_app(scanned, port=PORT)
    page = app.test_client()
    sent = token(page)
    with closing(app.extensions["uploads"]), ThreadPoolExecutor(4) as pool:
        answers = list(
            pool.map(
                lambda data: send(app.test_client(), data, "image.jpg", headers={"X-Colscan-Token": sent}),
                pictures,
            )
        )
        told = [outcome(page, answer) for answer in answers]
    assert [one["state"] for one in told] == ["recorded"] * 4, [one["said"] for one in told]
    recorded = {row["photo_sha256"]: row["photo"] for row in rows(scanned / "photos.csv")[2:]}
    assert set(recorded) == {answer.json["id"] for answer in answers}
    assert len(list((scanned / "photos").iterdir())) == 6


def test_shots_of_the_same_minutes_are_joined(
    page: FlaskClient, scanned_pair: Path, corners: Corners, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first waits for the second when the phone said that more comes: each bag has one row."""
    monkeypatch.setattr(uploads, "MORE_SECONDS", 30.0)
    first = send(page, corners(6).read_bytes(), "image.jpg", more="1")
    time.sleep(5 * uploads.QUIET_SECONDS)
    second = send(page, single_bags()[0], "image.jpg")
    assert outcome(page, first)["state"] == outcome(page, second)["state"] == "recorded"
    new = rows(scanned_pair / "scores.csv")[4:]
    assert len(new) == len({row["bag"] for row in new}) == 2
    assert sorted(row["photo"] for row in rows(scanned_pair / "photos.csv")[2:]) == [
        "image (2).jpg",
        "image.jpg",
    ]


# ---- a photo without a time


def test_a_photo_without_a_time_is_asked_for_it(
    page: FlaskClient, scanned_pair: Path, unchanged: Unchanged
) -> None:
    """Nothing is written until a person says when; that time is in the trial's zone."""
    same, data = unchanged(scanned_pair), without_time(6)
    answer = send(page, data, "shelf.png")
    assert (answer.status_code, answer.json["state"]) == (422, "undated")
    assert "nothing says when it was taken" in answer.json["said"]
    early = send(page, data, "shelf.png", taken_at="2026-01-01T10:00")
    assert (early.status_code, early.json["state"]) == (422, "undated")
    ahead = send(page, data, "shelf.png", taken_at="2999-01-01T10:00")
    assert (ahead.status_code, ahead.json["state"]) == (422, "undated")
    assert send(page, data, "shelf.png", taken_at="<b>noon</b>").status_code == 422
    assert same()
    told = outcome(page, send(page, data, "shelf.png", taken_at="2026-03-08T10:05"))
    assert told["state"] == "recorded"
    (row,) = rows(scanned_pair / "photos.csv")[2:]
    assert (row["taken_at"], row["taken_at_from"]) == ("2026-03-08T10:05:00-04:00", "option")


def test_a_time_in_the_name_counts(page: FlaskClient, scanned_pair: Path) -> None:
    """As in colscan scan, the name that the phone gives may say when."""
    told = outcome(page, send(page, without_time(9), "IMG_20260311_100500.png"))
    assert told["state"] == "recorded"
    assert rows(scanned_pair / "photos.csv")[-1]["taken_at_from"] == "file-name"


def test_photos_are_scanned_in_order_of_time(page: FlaskClient, scanned_pair: Path, corners: Corners) -> None:
    """Whether a photo says its time or a person does: the earlier one is recorded first."""
    later = send(page, without_time(9), "b.png", taken_at="2026-03-11T10:05", more="1")
    earlier = send(page, corners(6).read_bytes(), "a.png")
    assert outcome(page, later)["state"] == outcome(page, earlier)["state"] == "recorded"
    assert [row["photo"] for row in rows(scanned_pair / "photos.csv")[2:]] == ["a.png", "b.png"]


# ---- names


@pytest.mark.parametrize(
    ("given", "recorded"),
    [
        ("../../etc/passwd.jpg", "passwd.jpg"),
        ("/etc/passwd", "passwd"),
        ("C:\\photos\\IMG 1.jpg", "IMG 1.jpg"),
        ("a\0b\r\n\x1b[31m.jpg", "ab[31m.jpg"),
        ("rev\u202egpj.exe", "revgpj.exe"),
        ("", "photo"),
        ("..", "photo"),
        ("x/", "photo"),
        ("\U0001f344.jpg", "\U0001f344.jpg"),
        ("=cmd().jpg", "=cmd().jpg"),
        ("n" * 300 + ".jpg", "n" * 251 + ".jpg"),
        ("\U0001f344" * 100 + ".jpg", "\U0001f344" * 62 + ".jpg"),
        ("." + "s" * 400, "." + "s" * 254),
    ],
)
def test_names_are_cleaned(given: str, recorded: str) -> None:
    """A name has no folders and nothing unseen, and is no longer than a file's."""
    assert clean_name(given) == recorded
    assert len(recorded.encode()) <= 255


def test_names_of_one_scan_differ() -> None:
    """The second of a name gets a number, within the same length."""
    assert free_name("image.jpg", set()) == "image.jpg"
    assert free_name("image.jpg", {"image.jpg", "image (2).jpg"}) == "image (3).jpg"
    assert free_name("photo", {"photo"}) == "photo (2)"
    long = "n" * 251 + ".jpg"
    assert free_name(long, {long}) == "n" * 247 + " (2).jpg"


def test_an_odd_name_is_only_text(page: FlaskClient, scanned_pair: Path, corners: Corners) -> None:
    """A name with markup and a formula is guarded in the table and escaped on the page; the file has ours."""
    name = "=cmd()<script>alert(1).html"
    told = outcome(page, send(page, corners(6).read_bytes(), f"../../{name}"))
    assert told["state"] == "recorded"
    assert "<script>" not in told["html"]
    assert "<script>alert" not in page.get("/photos", base_url=OURS).text
    assert f"'{name}," in (scanned_pair / "photos.csv").read_text(encoding="utf-8")
    assert {path.suffix for path in (scanned_pair / "photos").iterdir()} == {".png"}
    assert not list(scanned_pair.parent.rglob("*.html"))


# ---- what is no photo


def huge_jpeg() -> bytes:
    """A JPEG's header that says 65000 x 65000 px."""
    frame = (
        b"\xff\xc0"
        + struct.pack(">HBHHB", 17, 8, 65000, 65000, 3)
        + bytes((1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0))
    )
    return (
        b"\xff\xd8"
        + frame
        + b"\xff\xda\x00\x0c\x03\x01\x00\x02\x11\x03\x11\x00\x3f\x00"
        + bytes(64)
        + b"\xff\xd9"
    )


def huge_heic() -> bytes:
    """A small HEIC whose stated size is made 60000 x 60000 px."""
    data = io.BytesIO()
    Image.new("RGB", (320, 320), "brown").save(data, "HEIF")
    at = data.getvalue().index(b"ispe") + 8
    return data.getvalue()[:at] + struct.pack(">II", 60000, 60000) + data.getvalue()[at + 8 :]


def drawn(kind: str) -> bytes:
    """A small picture of another kind."""
    data = io.BytesIO()
    Image.new("RGB", (400, 400), "white").save(data, kind)
    return data.getvalue()


BOMB = png(30000, 30000, data=bytes(10_000_000))
NO_PHOTOS = {
    "empty": b"",
    "text": b"hello",
    "html": b"<!doctype html><script>alert(1)</script>" * 9,
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg" width="900" height="900"/>',
    "gif": drawn("GIF"),
    "tiff": drawn("TIFF"),
    "webp": drawn("WEBP"),
    "pdf": b"%PDF-1.4 " + bytes(400),
    "head of a jpeg": b"\xff\xd8\xff\xe0",
    "bomb": BOMB,
    "wide png": png(2_000_000_000, 2_000_000_000),
    "huge jpeg": huge_jpeg(),
    "huge heic": huge_heic(),
    "thumbnail": png(100, 100, data=bytes(100 * 301)),
}


@pytest.mark.parametrize("kind", NO_PHOTOS)
def test_what_is_no_photo_is_refused_at_once(
    page: FlaskClient, scanned_pair: Path, unchanged: Unchanged, kind: str
) -> None:
    """Whatever it is called: refused before anything is decoded or queued, and nothing is left of it."""
    same = unchanged(scanned_pair)
    began = time.monotonic()
    answer = send(page, NO_PHOTOS[kind], "IMG_20260308_100000.jpg")
    assert time.monotonic() - began < 5
    assert (answer.status_code, answer.json["state"]) == (422, "refused"), answer.text
    assert answer.json["said"]
    assert same()
    assert left_over(page) == []


def left_over(page: FlaskClient) -> list[Path]:
    """Temporary files that are still there."""
    folder = page.application.extensions["uploads"]._folder
    return list(Path(folder.name).iterdir()) if folder else []


def test_a_bomb_is_small_and_never_decoded(page: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """The picture of 900 megapixels comes in some kilobytes; its pixels are not asked for."""
    assert len(BOMB) < 64 * 1024

    def decode(self: Image.Image) -> None:
        pytest.fail("it was decoded")

    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", decode)
    answer = send(page, BOMB, "IMG_20260308_100000.png")
    assert "900 megapixels" in answer.json["said"]


def test_a_truncated_photo_is_refused(page: FlaskClient, scanned_pair: Path, unchanged: Unchanged) -> None:
    """Half a JPEG has a good header; it is refused when it is read, and nothing is kept."""
    same, data = unchanged(scanned_pair), photo(6).read_bytes()
    told = outcome(page, send(page, data[: len(data) // 2]))
    assert told["state"] == "refused"
    assert told["said"].startswith("is not a readable JPEG")
    assert same()
    assert left_over(page) == []


def test_a_photo_without_cards_is_refused(
    page: FlaskClient, scanned_pair: Path, unchanged: Unchanged
) -> None:
    """What colscan scan says of it is said on the page."""
    same = unchanged(scanned_pair)
    told = outcome(page, send(page, png(400, 400, data=bytes(400 * 1201)), "IMG_20260308_100000.png"))
    assert told["state"] == "refused"
    assert "no card was found in it" in told["said"]
    assert "cards found: 0 of 2 bags" in told["html"]
    assert same()


def test_a_jpeg_that_is_also_html_is_kept_as_a_jpeg(
    page: FlaskClient, scanned_pair: Path, tmp_path: Path
) -> None:
    """It is scored as the picture it is; its file ends in .jpg and no page serves its bytes."""
    tail = b"<script>alert('polyglot')</script>"
    jpeg = part(photo(6), CORNER_PX, tmp_path / "corner.jpg").read_bytes()
    answer = send(page, jpeg + tail, "page.html")
    assert outcome(page, answer)["state"] == "recorded"
    (kept,) = [path for path in (scanned_pair / "photos").iterdir() if path.read_bytes().endswith(tail)]
    assert kept.suffix == ".jpg"
    for path in ("/photos", f"/photos/state?id={answer.json['id']}"):
        served = page.get(path, base_url=OURS)
        assert b"polyglot" not in served.data
        assert served.headers["X-Content-Type-Options"] == "nosniff"


# ---- too much


def test_a_declared_gigabyte_is_refused_unread(
    page: FlaskClient, scanned_pair: Path, unchanged: Unchanged
) -> None:
    """By its Content-Length alone."""
    same = unchanged(scanned_pair)

    class Unread(io.RawIOBase):
        def readinto(self, buffer: object) -> int:
            pytest.fail("the body was read")

    answer = page.post(
        "/photos?name=a.jpg",
        base_url=OURS,
        content_type="application/octet-stream",
        headers={"Origin": OURS, "X-Colscan-Token": token(page)},
        environ_overrides={"wsgi.input": Unread(), "CONTENT_LENGTH": str(10**9)},
    )
    assert answer.status_code == 413
    assert same()


def test_a_body_without_end_is_cut(page: FlaskClient, scanned_pair: Path, unchanged: Unchanged) -> None:
    """A streamed body that doesn't say its length is read to the limit, and nothing of it stays."""
    same = unchanged(scanned_pair)

    class Endless(io.RawIOBase):
        given = 0

        def readinto(self, buffer: Any) -> int:
            piece = b"\xff\xd8\xff\xe0" * (len(buffer) // 4)
            buffer[: len(piece)] = piece
            self.given += len(piece)
            return len(piece)

    body = Endless()
    environ = {"wsgi.input": body, "wsgi.input_terminated": True}
    answer = page.post(
        "/photos?name=a.jpg",
        base_url=OURS,
        content_type="application/octet-stream",
        headers={"Origin": OURS, "X-Colscan-Token": token(page)},
        environ_overrides=environ | {"CONTENT_LENGTH": ""},
    )
    assert answer.status_code == 413
    assert LARGEST_PHOTO_BYTES <= body.given <= LARGEST_PHOTO_BYTES + 2**20
    assert same()
    assert left_over(page) == []


def test_other_pages_keep_their_small_limit(page: FlaskClient) -> None:
    """Only photos may be large."""
    answer = page.post(
        "/verdict",
        base_url=OURS,
        data=b"note=" + b"x" * 70_000,
        content_type="application/x-www-form-urlencoded",
        headers={"Origin": OURS, "X-Colscan-Token": token(page)},
    )
    assert answer.status_code == 413


def test_a_full_queue_asks_to_come_again(page: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """The phone keeps the photo and sends it later."""
    monkeypatch.setattr(uploads, "MOST_WAITING", 0)
    answer = send(page, photo(6).read_bytes())
    assert (answer.status_code, answer.json["state"]) == (503, "busy")
    assert answer.headers["Retry-After"]
    assert left_over(page) == []


def test_only_the_last_are_remembered(
    page: FlaskClient, corners: Corners, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An older one is unknown to the server, so the phone would send it again; the ledger knows it."""
    monkeypatch.setattr(uploads, "MOST_REMEMBERED", 1)
    first = send(page, corners(0).read_bytes())
    assert first.json["state"] == "known"
    send(page, corners(3).read_bytes())
    asked = page.get("/photos/state", query_string={"id": first.json["id"]}, base_url=OURS)
    assert asked.json["photos"][0]["state"] == "unknown"


# ---- who may send


@pytest.mark.parametrize(
    "headers",
    [
        {"X-Colscan-Token": "wrong"},
        {"X-Colscan-Token": None},
        {"Origin": "http://elsewhere.example"},
        {"Origin": None},
        {"Sec-Fetch-Site": "cross-site"},
        {"Host": f"elsewhere.example:{PORT}"},
    ],
)
def test_others_are_refused(
    page: FlaskClient, scanned_pair: Path, unchanged: Unchanged, headers: dict[str, str | None]
) -> None:
    """A wrong or missing token, another origin or host: refused unread, and nothing is written."""
    same = unchanged(scanned_pair)
    assert send(page, photo(6).read_bytes(), headers=headers).status_code in (403, 413)
    assert same()
    assert page.application.extensions["uploads"]._folder is None


@pytest.mark.parametrize("odd", ["../../etc/passwd", "/etc/passwd", "\0", "a" * 3000, "", "<script>"])
def test_an_odd_id_is_unknown(page: FlaskClient, odd: str) -> None:
    """Ids are looked up among those that came; nothing else is touched."""
    asked = page.get("/photos/state", query_string={"id": odd}, base_url=OURS)
    assert asked.json == {"photos": [{"id": odd, "state": "unknown"}]}
    assert asked.mimetype == "application/json"


def test_looking_changes_nothing(page: FlaskClient, scanned_pair: Path, unchanged: Unchanged) -> None:
    """The page and its questions are GET, and write nothing; the page says what to do without script."""
    same = unchanged(scanned_pair)
    shown = page.get("/photos", base_url=OURS)
    assert "colscan scan" in shown.text
    assert 'capture="environment"' in shown.text
    assert "connect-src 'self'" in shown.headers["Content-Security-Policy"]
    page.get("/photos/state?id=x", base_url=OURS)
    assert same()


# ---- when the scan can't be done


def test_a_failed_scan_may_be_sent_again(
    page: FlaskClient, scanned_pair: Path, corners: Corners, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A ledger that can't be written, or a fault of our own, is told; the next try is scanned_pair."""
    data = corners(6).read_bytes()
    scan = uploads.scan_photos
    for error in (LedgerError("The disk is full.", "Make room."), RuntimeError("odd")):

        def fail(*args: object, error: Exception = error) -> Iterator[object]:
            raise error

        monkeypatch.setattr(uploads, "scan_photos", fail)
        told = outcome(page, send(page, data))
        assert told["state"] == "failed"
        assert str(error).splitlines()[0] in told["said"]
        assert left_over(page) == []
    monkeypatch.setattr(uploads, "scan_photos", scan)
    assert outcome(page, send(page, data))["state"] == "recorded"


def test_another_scan_is_waited_for(
    app: Flask, page: FlaskClient, scanned_pair: Path, corners: Corners, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told while it lasts; then the photo is scored. The server's end doesn't wait for it."""
    monkeypatch.setattr(files, "SCAN_TRY_S", 0.05)

    def wait_told() -> None:
        deadline = time.monotonic() + 60
        while not app.extensions["uploads"].latest(1)[0].lines:
            assert time.monotonic() < deadline
            time.sleep(0.02)

    with scan_locked(scanned_pair, lambda: None):
        sent = send(page, corners(6).read_bytes())
        wait_told()
        asked = page.get("/photos/state", query_string={"id": sent.json["id"]}, base_url=OURS).json
        assert asked["photos"][0]["state"] == "measuring"
        assert uploads.WAITS in asked["photos"][0]["html"]
    assert outcome(page, sent)["state"] == "recorded"
    with scan_locked(scanned_pair, lambda: None):
        send(page, corners(9).read_bytes())
        wait_told()
        began = time.monotonic()
        app.extensions["uploads"].close()
        assert time.monotonic() - began < uploads.CLOSING_SECONDS / 4
    assert len(rows(scanned_pair / "photos.csv")) == 3


def test_the_end_leaves_whole_photos(
    app: Flask, page: FlaskClient, scanned_pair: Path, corners: Corners
) -> None:
    """Closing while photos wait: none is half recorded, and the temporary folder is gone."""
    for day in (6, 9, 12):
        assert send(page, corners(day).read_bytes(), more="1").status_code == 202
    folder = Path(app.extensions["uploads"]._folder.name)
    app.extensions["uploads"].close()
    assert not folder.exists()
    scored = {row["photo_sha256"] for row in rows(scanned_pair / "scores.csv")}
    assert scored == {row["photo_sha256"] for row in rows(scanned_pair / "photos.csv")}
    assert main(["check", str(scanned_pair)]) == 0
    assert contents(scanned_pair)
