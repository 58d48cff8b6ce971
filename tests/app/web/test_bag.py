"""A bag's page: its faces, curve, scores, calls and plan, and what each picture costs."""

from __future__ import annotations

import io
import re
from pathlib import Path

import numpy as np
import pytest
from flask.testing import FlaskClient
from pages import OURS, TRAVERSALS, ask, browser, cards_in, judge_blind, verdicts
from PIL import Image
from reviewed import add_patch

from colscan.app import faces, film
from colscan.app.cli.main import main
from colscan.ledger import read_ledger
from colscan.ledger.columns import SuspectRow
from colscan.tables import format_header


@pytest.fixture
def seen(scanned: Path) -> Path:
    """A scanned trial with a made-up patch on B04 in the newest photo."""
    (scanned / SuspectRow.FILE).write_bytes(format_header(SuspectRow))
    add_patch(scanned, "B04", "p1")
    return scanned


@pytest.fixture
def page(seen: Path) -> FlaskClient:
    """A browser on the review page of that trial."""
    return browser(seen)


def face(page: FlaskClient, bag: str, sha256: str) -> Image.Image:
    """A picture of a face, opened."""
    answer = ask(page, f"/face?bag={bag}&photo={sha256}")
    assert answer.mimetype == "image/jpeg"
    return Image.open(io.BytesIO(answer.data))


def words(text: str) -> str:
    """A page without markup."""
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_the_film_is_newest_first_and_lazy(page: FlaskClient, seen: Path) -> None:
    """A picture a photo, each with its size and in words what it shows."""
    text = ask(page, "/bag?bag=B04").text
    shown = re.findall(
        r'<img src="/face\?bag=B04&amp;photo=(\w+)" width="\d+" height="\d+" loading="lazy" alt="([^"]+)"',
        text,
    )
    ledger = read_ledger(seen)
    assert [sha for sha, *_ in shown] == [row.photo_sha256 for row in reversed(ledger.photos)]
    newest = [row for row in ledger.scores if row.bag == "B04"][-1]
    assert shown[0][1].startswith(f"Bag B04 on day 3.2: {newest.coverage_pct:.0f} % colonized")


def test_faces_of_a_bag_have_one_scale(page: FlaskClient, seen: Path) -> None:
    """Millimetres are as wide in both pictures, and the declared size is that of the picture."""
    text = ask(page, "/bag?bag=B04").text
    scores = [row for row in read_ledger(seen).scores if row.bag == "B04"]
    scales = []
    for score in scores:
        picture = face(page, "B04", score.photo_sha256)
        declared = re.search(rf'photo={score.photo_sha256}" width="(\d+)" height="(\d+)"', text)
        assert declared
        assert picture.size == pytest.approx([int(side) for side in declared.groups()], abs=4)
        wide_mm, _ = faces.picture_size_mm(score)
        scales.append(wide_mm / picture.width)
    assert scales[0] == pytest.approx(scales[1], rel=0.03)
    assert (
        max(picture.width for picture in [face(page, "B04", s.photo_sha256) for s in scores])
        <= film.WIDTH_PX + 4
    )


def test_one_picture_opens_one_photo_once(
    page: FlaskClient, seen: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page opens none, a picture its own photo, and the same picture again none."""
    opened: list[Path] = []
    load = faces.load_small

    def counting(path: Path, *, least_px: int, max_megapixels: float) -> np.ndarray:
        opened.append(path)
        return load(path, least_px=least_px, max_megapixels=max_megapixels)

    monkeypatch.setattr(faces, "load_small", counting)
    ask(page, "/bag?bag=B04")
    assert opened == []
    old, new = (row.photo_sha256 for row in read_ledger(seen).photos)
    first = face(page, "B04", new)
    assert [path.name.split("-")[-1][:8] for path in opened] == [new[:8]]
    assert np.array_equal(face(page, "B04", new), first)
    assert len(opened) == 1
    face(page, "B04", old)
    assert len(opened) == 2


def test_the_curve_is_a_picture_with_words(page: FlaskClient) -> None:
    """An SVG on white ground; its alternative says course, patch and days."""
    answer = ask(page, "/curve?bag=B04")
    assert answer.mimetype == "image/svg+xml"
    assert b"<svg" in answer.data
    assert b"2026" not in answer.data
    text = ask(page, "/bag?bag=B04").text
    assert 'srcset="/curve?bag=B04&amp;narrow=1"' in text
    wide, narrow = (
        float(re.search(r'<svg[^>]* width="([\d.]+)pt"', ask(page, f"/curve?bag=B04{more}").text)[1])
        for more in ("", "&narrow=1")
    )
    assert narrow < wide / 2
    found = re.search(r'<img class="curve" src="/curve\?bag=B04"[^>]* alt="([^"]+)"', text)
    assert found
    assert re.fullmatch(
        r"Colonized \d+ % on day 0\.1 to \d+ % on day 3\.2, 2 measured photos; "
        r"patch p1 green seen from day 3\.2",
        found[1],
    )


def test_the_curve_is_drawn_once_until_something_is_said(
    page: FlaskClient, seen: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kept in memory; a new row makes it anew, with what happened on it."""
    drawn = []
    monkeypatch.setattr(
        "colscan.present.bag_chart.draw_bag_chart", lambda curve, **_: drawn.append(curve) or b"<svg/>"
    )
    ask(page, "/curve?bag=B04")
    ask(page, "/curve?bag=B04")
    assert len(drawn) == 1
    assert main(["event", str(seen), "looked-round", "--bag", "B04", "--at", "2026-03-06T08:00"]) == 0
    ask(page, "/curve?bag=B04")
    assert [one.what for one in drawn[1].happenings] == ["looked-round"]


def test_scores_are_those_of_the_history(
    page: FlaskClient, seen: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every cell that the command prints of a photo stands on the page, newest first."""
    capsys.readouterr()
    assert main(["history", str(seen), "B04"]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if " photo " in line]
    assert len(lines) == 2
    text = words(ask(page, "/bag?bag=B04").text)
    places = []
    for line in lines:
        cells = [cell for cell in re.split(r"\s{2,}", line.strip()) if cell != "photo"]
        row = " ".join(" ".join(cells).split()).replace("mm2", "mm²")
        assert row in text
        places.append(text.index(row))
    assert places == sorted(places, reverse=True)


def test_patches_are_links(page: FlaskClient) -> None:
    """With what stands on each."""
    text = ask(page, "/bag?bag=B04").text
    assert 'href="/patch?bag=B04&amp;patch=p1"' in text
    assert "green, 150 mm² not judged" in words(text)


def test_a_call_is_taken_back_from_the_page(page: FlaskClient, seen: Path) -> None:
    """A standing call has a form that withdraws it; one that was replaced has none."""
    for call in ("unsure", "harmless"):
        assert main(["verdict", str(seen), "B04", call, "--note", f"<i>{call}</i>"]) == 0
    text = ask(page, "/bag?bag=B04").text
    calls = text[text.index('id="calls"') : text.index('id="happened"')]
    assert "Calls: 2" in words(calls)
    assert calls.count('value="withdrawn"') == 1
    assert "&lt;i&gt;unsure&lt;/i&gt;" in calls
    assert "<i>" not in text
    form = dict(re.findall(r'name="(\w+)" value="([^"]*)"', calls[calls.index("<form") :]))
    sent = page.post("/verdict", base_url=OURS, data=form, headers={"Origin": OURS})
    assert sent.status_code == 303
    assert [row["call"] for row in verdicts(seen)] == ["unsure", "harmless", "withdrawn"]
    after = ask(page, "/bag?bag=B04").text
    assert 'value="withdrawn"' not in after[after.index('id="calls"') : after.index('id="happened"')]


def test_events_harvests_mix_and_heat_run(page: FlaskClient, seen: Path) -> None:
    """Each in the words of the history."""
    assert main(["event", str(seen), "other", "--bag", "B04", "--detail", "torn <b>"]) == 0
    assert main(["harvest", str(seen), "B04", "1", "512.5"]) == 0
    assert main(["mix", str(seen), "M02", "--at", "2026-03-01T07:00", "--water", "45 oz"]) == 0
    assert main(["heat", str(seen), "H1", "--started", "2026-03-01T08:00", "--core", "95C"]) == 0
    text = ask(page, "/bag?bag=B04").text
    said = words(text[text.index('id="happened"') :])
    assert "event other: torn &lt;b&gt;" in said
    assert "harvest flush 1: 512.5 g fresh" in said
    assert "mix M02: water" in said
    assert "heat run H1: no end recorded, core 95.0 C" in said


def test_its_card_and_plan(page: FlaskClient) -> None:
    """What bags.csv says of it."""
    text = words(ask(page, "/bag?bag=B04").text)
    for said in ("Strain PO-3", "Treatment bran 4 %", "Card tag 4", "Shelf cellar", "Mix M02", "Heat run H1"):
        assert said in text
    assert "Inoculated 2026-03-02 06:00" in text


def test_previous_and_next(page: FlaskClient) -> None:
    """In the plan's order, by keys too; the first has no previous, the last no next."""
    text = ask(page, "/bag?bag=B04").text
    assert 'data-key="p" rel="prev" href="/bag?bag=B03"' in text
    assert 'data-key="n" rel="next" href="/bag?bag=B05"' in text
    assert 'rel="prev"' not in ask(page, "/bag?bag=B01").text
    assert 'rel="next"' not in ask(page, "/bag?bag=B08").text


def test_judged_blind(page: FlaskClient, seen: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither strain nor treatment, nor what would tell them; the curve looks the same for all."""
    assert main(["mix", str(seen), "M02", "--at", "2026-03-01T07:00", "--water", "45 oz"]) == 0
    assert "M02" in ask(page, "/bag?bag=B04").text
    face = f"/face?bag=B04&photo={read_ledger(seen).scores[-1].photo_sha256}"
    assert [card.tag for card in cards_in(ask(page, face))] == [4]
    judge_blind(monkeypatch)
    assert cards_in(ask(page, face)) == ()
    text = ask(page, "/bag?bag=B04").text
    for told in ("PO-3", "bran", "M02", "H1"):
        assert told not in text
    assert "Card" in words(text)
    assert "Judged blind" in text


def test_photos_that_are_gone_or_damaged(page: FlaskClient, seen: Path) -> None:
    """A gone one is said in its place; a damaged one is refused as a picture, and nothing ends."""
    old, new = read_ledger(seen).photos
    one, two = sorted((seen / "photos").iterdir())
    one.unlink()
    two.write_bytes(b"no photo")
    answer = ask(page, "/bag?bag=B04")
    assert answer.status_code == 200
    assert f"{old.photo} is no longer in the trial" in words(answer.text)
    assert f"photo={old.photo_sha256}" + '" width' not in answer.text
    for photo in (old, new):
        refused = ask(page, f"/face?bag=B04&photo={photo.photo_sha256}")
        assert refused.status_code == 404
        assert photo.photo in refused.text


def test_a_bag_without_a_photo(trial: Path) -> None:
    """Its page says so; it has no curve."""
    page = browser(trial)
    answer = ask(page, "/bag?bag=B04")
    assert answer.status_code == 200
    assert "No photo shows its face yet." in answer.text
    assert "<img" not in answer.text
    assert ask(page, "/curve?bag=B04").status_code == 404


@pytest.mark.parametrize("word", TRAVERSALS)
def test_what_is_asked_is_looked_up_among_the_bags(page: FlaskClient, word: str) -> None:
    """No address reaches the file system."""
    for path, asked in (
        ("/bag", {"bag": word}),
        ("/curve", {"bag": word}),
        ("/face", {"bag": word}),
        ("/face", {"bag": "B04", "photo": word}),
    ):
        answer = page.get(path, query_string=asked, base_url=OURS)
        assert answer.status_code in (400, 404)


def test_an_unknown_bag_names_the_nearest(page: FlaskClient) -> None:
    """As the command does."""
    assert "Did you mean" in ask(page, "/bag?bag=B4").text


def test_another_host_gets_nothing(page: FlaskClient) -> None:
    """A name that is made to point here is refused, as everywhere."""
    for path in ("/bag?bag=B04", "/face?bag=B04", "/curve?bag=B04"):
        assert ask(page, path, headers={"Host": "example.com:8750"}).status_code == 403


def test_other_pages_lead_to_it(page: FlaskClient, seen: Path) -> None:
    """From a patch's heading, and from the first page's lists."""
    assert '<h1><a class="reach" href="/bag?bag=B04">Bag B04</a>' in ask(page, "/patch?bag=B04&patch=p1").text
    assert main(["event", str(seen), "missing", "--bag", "B06"]) == 0
    assert 'href="/bag?bag=B06"' in ask(page, "/").text


def test_nothing_is_inline(page: FlaskClient) -> None:
    """The policy forbids style attributes and scripts within the page."""
    assert not re.search(r"<style|style=|\son\w+=|<script>", ask(page, "/bag?bag=B04").text)
