"""The second opinion: nothing of the score before it is recorded, rows and masks as `agree` reads them."""

from __future__ import annotations

import base64
import csv
import html
import io
import os
import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from flask.testing import FlaskClient
from numpy.typing import NDArray
from pages import OURS, TRAVERSALS, ask, browser
from PIL import Image
from werkzeug.test import TestResponse

from colscan.app.cli.main import main
from colscan.app.opinions import Face, measured_faces, record_painting, shuffle
from colscan.ledger import read_ledger
from colscan.ledger.columns import EstimateRow
from colscan.trial import load_trial


@pytest.fixture
def fresh(scanned: Path) -> Path:
    """A scanned trial of which nobody estimated anything."""
    (scanned / EstimateRow.FILE).unlink()
    return scanned


@pytest.fixture
def page(fresh: Path) -> FlaskClient:
    """A browser on its review page."""
    return browser(fresh)


def _faces(folder: Path) -> tuple[Face, ...]:
    return measured_faces(load_trial(folder), read_ledger(folder))


def _face(folder: Path, bag: str = "B04") -> Face:
    return [face for face in _faces(folder) if face.score.bag == bag][-1]


def _query(face: Face) -> dict[str, str]:
    return {"bag": face.score.bag, "photo": face.photo.photo_sha256}


def _record(
    page: FlaskClient, face: Face, *, headers: dict[str, str] | None = None, **fields: str
) -> TestResponse:
    token = re.search(r'<meta name="token" content="([^"]+)"', ask(page, "/opinion").text)
    assert token
    form = {"token": token[1], "box": " ".join(map(str, face.box)), "how": "number"} | _query(face) | fields
    return page.post("/opinion", base_url=OURS, data=form, headers={"Origin": OURS} | (headers or {}))


def _pack(marks: NDArray[np.uint8]) -> str:
    """A painting as the page's script sends it."""
    bits = np.stack([marks.ravel() >> 1, marks.ravel() & 1], axis=1)
    return base64.urlsafe_b64encode(np.packbits(bits).tobytes()).decode()


def _blank(face: Face) -> NDArray[np.uint8]:
    return np.zeros(face.marks[::-1], np.uint8)


def _rows(folder: Path) -> list[dict[str, str]]:
    path = folder / EstimateRow.FILE
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    return list(csv.DictReader(io.StringIO(text, newline="")))


def _score_all(folder: Path, pct: float) -> None:
    """Give all bags the same score, so that the order of faces has no reason to change."""
    path = folder / "scores.csv"
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
    ends = {"coverage_low_pct": f"{pct - 5}", "coverage_high_pct": f"{pct + 5}"}
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(row | {"coverage_pct": f"{pct}"} | ends for row in rows)
    path.write_text(text.getvalue(), encoding="utf-8")


# ---- nothing of the score comes before the estimate


def test_nothing_before_depends_on_the_score(fresh: Path, page: FlaskClient) -> None:
    """With another score the page and the picture are the same bytes; once it is recorded, they differ."""
    face = _face(fresh)

    def score(pct: float) -> list[bytes]:
        _score_all(fresh, pct)
        pages = (
            ask(page, "/opinion"),
            ask(page, "/opinion", **_query(face)),
            ask(page, "/opinion/face", **_query(face)),
        )
        assert {answer.status_code for answer in pages} == {200}
        return [answer.data for answer in pages]

    assert score(37.25) == score(71.75)
    assert "71.8" not in html.unescape(ask(page, "/opinion", **_query(face)).text)
    _record(page, face, coverage_pct="40")
    after = ask(page, "/opinion", **_query(face)).text
    assert "71.8 %" in after
    assert "66.8 to 76.8 %" in after
    assert "+31.8 points" in after
    assert "71.8" not in re.sub('points="[^"]*"', "", ask(page, "/opinion").text)


def test_the_picture_is_the_face_without_its_card(fresh: Path, page: FlaskClient) -> None:
    """A JPEG of the declared size; the card, the one white thing at day 0, is covered."""
    face = next(face for face in _faces(fresh) if face.score.bag == "B01")
    answer = ask(page, "/opinion/face", **_query(face))
    assert answer.mimetype == "image/jpeg"
    picture = Image.open(io.BytesIO(answer.data))
    assert picture.size == face.size
    with Image.open(next((fresh / "photos").glob(f"*-{face.photo.photo_sha256[:8]}.jpg"))) as photo:
        whole = photo.convert("L").crop(face.box)
    paper = 200
    assert sum(whole.histogram()[paper:]) > 20 * sum(picture.convert("L").histogram()[paper:])


def test_the_page_says_neither_bag_nor_strain(fresh: Path, page: FlaskClient) -> None:
    """What can be read on it and heard of it doesn't tell whose face it is."""
    face = _face(fresh)
    shown = re.sub(r"<[^>]*>", " ", ask(page, "/opinion", **_query(face)).text)
    alts = " ".join(re.findall(r'alt="([^"]*)"', ask(page, "/opinion", **_query(face)).text))
    for word in ("B04", "PO-3", "bran"):
        assert word not in shown + alts


# ---- rows


def test_a_number_becomes_a_row(fresh: Path, page: FlaskClient) -> None:
    """With time, whole SHA-256 and blind; the page after says both."""
    face = _face(fresh)
    answer = _record(page, face, coverage_pct="42.5")
    assert answer.status_code == 303
    (row,) = _rows(fresh)
    assert row.pop("at").endswith(("-04:00", "-05:00"))
    assert [row[name] for name in ("bag", "photo_sha256", "coverage_pct", "by", "blind")] == [
        "B04", face.photo.photo_sha256, "42.5", "", "yes",
    ]  # fmt: skip
    after = page.get(answer.location, base_url=OURS).text
    assert "42.5 %" in after
    assert "Next face" in after


def test_who_has_seen_the_score_is_not_blind(fresh: Path, page: FlaskClient) -> None:
    """Another estimate of the same face is a new row, counts, and says so; another person's is blind."""
    face = _face(fresh)
    _record(page, face, coverage_pct="42")
    again = ask(page, "/opinion", **_query(face), again="1").text
    assert "recorded as not blind" in again
    assert 'name="coverage_pct"' in again
    _record(page, face, coverage_pct="50")
    page.set_cookie("colscan_by", "Mo", domain="127.0.0.1")
    before = ask(page, "/opinion", **_query(face)).text
    assert 'name="coverage_pct"' in before
    assert "as Mo" in before
    _record(page, face, coverage_pct="60")
    assert [(row["coverage_pct"], row["by"], row["blind"]) for row in _rows(fresh)] == [
        ("42", "", "yes"), ("50", "", "no"), ("60", "Mo", "yes"),
    ]  # fmt: skip
    assert [row.coverage_pct for row in read_ledger(fresh).estimates] == [50.0, 60.0]


def test_each_face_comes_once(fresh: Path, page: FlaskClient) -> None:
    """All faces in turn, none twice; then the page says that all are done."""
    seen = []
    for _ in _faces(fresh):
        text = ask(page, "/opinion").text
        asked = {name: re.search(rf'name="{name}" value="([^"]+)"', text) for name in ("bag", "photo")}
        found = {name: match[1] for name, match in asked.items() if match}
        seen.append(tuple(found.values()))
        _record(page, next(face for face in _faces(fresh) if _query(face) == found), coverage_pct="5")
    assert len(set(seen)) == len(seen)
    assert "You have estimated every face" in ask(page, "/opinion").text


def test_a_photo_that_is_gone_is_passed_over(fresh: Path, page: FlaskClient) -> None:
    """Its faces don't come up; asked for by address, the picture says that it is gone."""
    gone = _faces(fresh)[0].photo.photo_sha256
    next((fresh / "photos").glob(f"*-{gone[:8]}.jpg")).unlink()
    for _ in range(sum(face.photo.photo_sha256 != gone for face in _faces(fresh))):
        text = ask(page, "/opinion").text
        assert gone not in text
        found = {name: re.findall(rf'name="{name}" value="([^"]+)"', text)[0] for name in ("bag", "photo")}
        _record(page, next(face for face in _faces(fresh) if _query(face) == found), coverage_pct="5")
    assert gone not in ask(page, "/opinion").text
    assert ask(page, "/opinion/face", **_query(_faces(fresh)[0])).status_code == 400


def test_half_way_and_newest_come_sooner(fresh: Path) -> None:
    """By weight over many starts, and in the same order within one."""
    faces = _faces(fresh)
    firsts = [shuffle(faces, str(seed))[0] for seed in range(300)]
    assert shuffle(faces, "x") == shuffle(faces, "x")
    newest = max(face.score.taken_at for face in faces)
    assert 0.55 < np.mean([face.score.taken_at == newest for face in firsts]) < 0.95


# ---- paintings


def test_a_painting_becomes_mask_and_row_and_agree_sees_both(
    fresh: Path, page: FlaskClient, capsys: pytest.CaptureFixture[str]
) -> None:
    """The left half covered, the right lower quarter hidden: two thirds of what is seen."""
    _score_all(fresh, 60.0)
    face = _face(fresh)
    marks = _blank(face)
    x0, _, x1, _ = face.box
    middle = [(min(v) + max(v)) / 2 for v in zip(*face.score.outline, strict=True)]
    column = round((middle[0] - x0) * face.marks[0] / (x1 - x0))
    row = round((middle[1] - face.box[1]) * face.marks[1] / (face.box[3] - face.box[1]))
    marks[:, :column] = 1
    marks[row:, column:] = 2
    answer = _record(page, face, how="painting", marks=_pack(marks))
    assert answer.status_code == 303
    (written,) = _rows(fresh)
    assert float(written["coverage_pct"]) == pytest.approx(66.7, abs=2.5)
    assert written["blind"] == "yes"
    path = fresh / "masks" / f"{face.photo.photo_sha256[:8]}-B04.png"
    with Image.open(path) as mask:
        assert mask.size == (face.photo.width_px, face.photo.height_px)
        x, y = map(round, middle)
        seen = [mask.convert("RGB").getpixel(at) for at in ((0, 0), (x - 20, y), (x + 20, y + 20))]
    assert seen == [(0, 0, 0), (255, 255, 255), (255, 0, 0)]
    after = page.get(answer.location, base_url=OURS).text
    assert "Your painting" in after
    # The same surface, what isn't painted as hidden: two thirds of it are painted as covered, 60 % scored.
    painted, scored = (float(number) for number in re.findall(r"(\d+) cm²", after))
    assert scored / painted == pytest.approx(0.6 / (2 / 3), rel=0.05)
    assert main(["agree", str(fresh), "--format", "csv"]) == 0
    kinds = {
        r["held_against"]: r
        for r in csv.DictReader(io.StringIO(capsys.readouterr().out))
        if r["band"] == "all"
    }
    assert {kind: r["pairs"] for kind, r in kinds.items()} == {"blind estimates": "1", "painted masks": "1"}
    assert float(kinds["painted masks"]["seen_low_pct"]) == pytest.approx(
        float(written["coverage_pct"]), abs=0.01
    )


def test_a_mask_that_was_there_is_kept(fresh: Path, page: FlaskClient) -> None:
    """Painted anew, the one before goes to masks/replaced, where agree doesn't look."""
    face = _face(fresh)
    _record(page, face, how="painting", marks=_pack(_blank(face) + 1))
    path = fresh / "masks" / f"{face.photo.photo_sha256[:8]}-B04.png"
    first = path.read_bytes()
    _record(page, face, how="painting", marks=_pack(_blank(face)))
    assert path.read_bytes() != first
    (kept,) = (fresh / "masks" / "replaced").iterdir()
    assert kept.read_bytes() == first
    assert [row["coverage_pct"] for row in _rows(fresh)] == ["100", "0"]
    second = path.read_bytes()
    _record(page, face, coverage_pct="50")
    assert not path.exists()
    assert second in [path.read_bytes() for path in (fresh / "masks" / "replaced").iterdir()]
    assert [row["coverage_pct"] for row in _rows(fresh)] == ["100", "0", "50"]


def test_paintings_of_one_second_are_all_kept(fresh: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each on the disk before its row is, and those replaced under names of their own."""
    synced: list[str] = []
    real = os.fsync

    def fsync(descriptor: int) -> None:
        synced.append(Path(f"/proc/self/fd/{descriptor}").resolve().name)
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    trial, face = load_trial(fresh), _face(fresh)
    at = datetime(2026, 3, 20, 9, 0, 0, tzinfo=UTC)
    for painted_rows in (0, 1, 2, 3):
        marks = _blank(face)
        marks[:painted_rows] = 1
        record_painting(fresh, trial, face, marks=marks, at=at, by=None, blind=True)
    kept = [*(fresh / "masks").glob("*.png"), *(fresh / "masks" / "replaced").iterdir()]
    assert len({path.read_bytes() for path in kept}) == 4
    if Path("/proc/self/fd").exists():
        assert any("-B04.png" in name for name in synced)
        assert {"masks", "replaced"} <= set(synced)


@pytest.mark.parametrize(
    "marks",
    [
        "",
        "AAAA",
        "x" * 9,
        "ünïcode",
        "*" * 200,
        "whole/standard+alphabet",
        "data:image/png;base64,iVBORw0KGgo=",
    ],
)
def test_a_painting_that_is_not_whole_is_refused(fresh: Path, page: FlaskClient, marks: str) -> None:
    """Of another length or alphabet: nothing is written."""
    assert _record(page, _face(fresh), how="painting", marks=marks).status_code == 400
    assert _rows(fresh) == []
    assert not (fresh / "masks").exists()


def test_paintings_that_say_nothing_are_refused(
    fresh: Path, page: FlaskClient, unchanged: Callable[[Path], Callable[[], bool]]
) -> None:
    """A mark that isn't one; a face that is hidden whole, with which the mask that was there stays."""
    face = _face(fresh)
    _record(page, face, how="painting", marks=_pack(_blank(face) + 1))
    same = unchanged(fresh)
    for mark in (3, 2):
        answer = _record(page, face, how="painting", marks=_pack(_blank(face) + mark))
        assert answer.status_code == 400
    assert "painted as hidden" in answer.text
    assert same()


def test_a_code_that_is_no_file_name(fresh: Path) -> None:
    """Such a bag can be estimated by number; painting isn't offered, and is refused."""
    name = "../../B04"
    for file in ("bags.csv", "scores.csv"):
        text = (fresh / file).read_text(encoding="utf-8")
        (fresh / file).write_text(text.replace("B04,", f"{name},"), encoding="utf-8")
    page, face = browser(fresh), _face(fresh, name)
    assert "<canvas" not in ask(page, "/opinion", **_query(face)).text
    assert _record(page, face, how="painting", marks=_pack(_blank(face))).status_code == 400
    assert list(fresh.parent.rglob("*B04.png")) == []
    assert _record(page, face, coverage_pct="7").status_code == 303
    assert _rows(fresh)[0]["bag"] == name


# ---- nobody else, nothing else


@pytest.mark.parametrize(
    "pct", ["", "-1", "100.1", "nan", "inf", "1e400", "forty", "4,5", "0x10", "=1", "9" * 400]
)
def test_what_is_no_percentage_is_refused(fresh: Path, page: FlaskClient, pct: str) -> None:
    """With what to give instead."""
    answer = _record(page, _face(fresh), coverage_pct=pct)
    assert answer.status_code == 400
    assert "from 0 to 100" in answer.text
    assert _rows(fresh) == []


def test_foreign_forms_are_refused(fresh: Path, page: FlaskClient) -> None:
    """Another site, a wrong token, a face measured anew since, no way of saying it, far too much of it."""
    face = _face(fresh)
    assert _record(page, face, coverage_pct="5", headers={"Origin": "http://evil.example"}).status_code == 403
    assert _record(page, face, coverage_pct="5", token="x").status_code == 403
    assert _record(page, face, coverage_pct="5", box="0 0 9 9").status_code == 400
    assert _record(page, face, coverage_pct="5", how="magic").status_code == 400
    assert _record(page, face, how="painting", marks="A" * 200_000).status_code == 413
    assert _rows(fresh) == []


@pytest.mark.parametrize("attack", TRAVERSALS)
def test_no_parameter_reaches_a_file(
    fresh: Path, page: FlaskClient, attack: str, unchanged: Callable[[Path], Callable[[], bool]]
) -> None:
    """Bag and photo are looked up among the scores, wherever they come from."""
    face, same = _face(fresh), unchanged(fresh)
    for name in ("bag", "photo"):
        asked = _query(face) | {name: attack}
        for path in ("/opinion", "/opinion/face"):
            assert ask(page, path, **asked).status_code == 400
        assert _record(page, face, **{name: attack}, coverage_pct="5").status_code == 400
    assert same()


def test_the_largest_painting_fits_into_a_form(fresh: Path, page: FlaskClient) -> None:
    """A square face of a large photo, its marks at their worst."""
    path = fresh / "scores.csv"
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
    for row in rows:
        row["outline"] = "300 300 1000 300 1000 1000 300 1000"
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")
    face = _face(fresh)
    assert face.marks == (384, 384)
    noise = np.random.default_rng(1).integers(0, 3, face.marks, np.uint8)
    assert _record(page, face, how="painting", marks=_pack(noise)).status_code == 303
    assert float(_rows(fresh)[0]["coverage_pct"]) == pytest.approx(50, abs=1)


def test_html_in_a_name_is_text(fresh: Path, page: FlaskClient) -> None:
    """Whoever put it into the cookie."""
    page.set_cookie("colscan_by", "%3Cscript%3Ealert(1)%3C/script%3E", domain="127.0.0.1")
    face = _face(fresh)
    assert "<script>alert" not in ask(page, "/opinion", **_query(face)).text
    _record(page, face, coverage_pct="5")
    assert "<script>alert" not in ask(page, "/opinion", **_query(face)).text
