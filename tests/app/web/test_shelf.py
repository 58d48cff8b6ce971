"""The shelf's page: a kept photo with its bags drawn over it, the same as a list, and what it lacks."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from pages import TRAVERSALS, ask, browser, cards_in, judge_blind
from PIL import Image
from reviewed import add_patch

from colscan.app.cli.main import main
from colscan.app.kept_pictures import FOLDER, WIDTHS_PX
from colscan.ledger import read_ledger
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.tables import format_header


@pytest.fixture
def seen(scanned: Path) -> Path:
    """A scanned trial with a made-up patch on B01 in the newest photo."""
    (scanned / SuspectRow.FILE).write_bytes(format_header(SuspectRow))
    add_patch(scanned, "B01", "p1")
    return scanned


@pytest.fixture
def page(seen: Path) -> FlaskClient:
    """A browser on the review page of that trial."""
    return browser(seen)


def drawn(text: str, bag: str) -> str:
    """What is drawn over the photo for a bag."""
    found = re.search(rf'<a href="/bag\?bag={bag}">\s*<polygon.*?</a>', text, re.DOTALL)
    assert found
    return found[0]


def listed(text: str, bag: str) -> str:
    """A bag's line in the list below the photo, without markup."""
    found = re.search(rf'<li>\s*<a class="code" href="/bag\?bag={bag}">.*?</li>', text, re.DOTALL)
    assert found
    return " ".join(re.sub(r"<[^>]+>", " ", found[0]).split())


def test_each_bag_is_drawn_and_listed(page: FlaskClient, seen: Path) -> None:
    """Outline, code, colonized % and hidden % on the picture; below it the interval and the reason, too."""
    text = ask(page, "/shelf").text
    newest = read_ledger(seen).photos[-1]
    scores = [row for row in read_ledger(seen).scores if row.photo_sha256 == newest.photo_sha256]
    assert len(scores) == 8
    for score in scores:
        over = drawn(text, score.bag)
        x, y = score.outline[0]
        assert f'points="{x:.1f},{y:.1f} ' in over
        for said in (score.bag, f"{score.coverage_pct:.0f} %<", f"{score.unseen_pct:.0f} % hidden"):
            assert said in over
        interval = f"({score.coverage_low_pct:.0f} to {score.coverage_high_pct:.0f})"
        assert f"{score.coverage_pct:.0f} % colonized {interval}" in listed(text, score.bag)


def test_patches_and_advice_are_said_by_words_and_signs(page: FlaskClient) -> None:
    """A suspect patch has its own outline, and its bag a sign and a word; another bag has neither."""
    text = ask(page, "/shelf").text
    assert drawn(text, "B01").count('class="line"') == 1
    assert "B01 !" in drawn(text, "B01")
    assert ">look</tspan>" in drawn(text, "B01")
    assert 'class="line"' not in drawn(text, "B02")
    assert "!" not in drawn(text, "B02")
    assert "! look : p1 green 150 mm²: not reviewed" in listed(text, "B01")
    assert 'href="/patch?bag=B01&amp;patch=p1"' in text


def test_an_older_photo_has_no_advice_on_it(page: FlaskClient, seen: Path) -> None:
    """What to do is of today: the list says it, the picture of another day doesn't."""
    older = read_ledger(seen).photos[0].photo_sha256
    text = ask(page, f"/shelf?photo={older}").text
    assert "!" not in drawn(text, "B01")
    assert "! look" in listed(text, "B01")


def test_a_patch_called_harmless_is_no_longer_drawn(page: FlaskClient, seen: Path) -> None:
    """The call is found by the next request."""
    assert main(["verdict", str(seen), "B01", "harmless", "--patch", "p1"]) == 0
    assert 'class="line"' not in drawn(ask(page, "/shelf").text, "B01")


def test_a_discarded_bag_asks_for_nobody(page: FlaskClient, seen: Path) -> None:
    """It has its sign, said once, and no dashed outline, which sends somebody there."""
    assert 'class="edge asked"' in drawn(ask(page, "/shelf").text, "B01")
    assert main(["event", str(seen), "discarded", "--bag", "B01"]) == 0
    text = ask(page, "/shelf").text
    assert "asked" not in drawn(text, "B01")
    assert "B01 ✖" in drawn(text, "B01")
    assert re.search(r"✖ discarded on 20\d\d", listed(text, "B01"))


def test_a_photo_of_many_shelves_has_all_their_names(seen: Path) -> None:
    """Where none of them holds most of its bags; one bag that stands elsewhere is no shelf of the photo."""
    assert "<h1>Shelf cellar, " in ask(browser(seen), "/shelf").text
    rename(seen / PhotoRow.FILE, read_ledger(seen).photos[-1].photo_sha256, ",cellar,", ",,")
    bags = (seen / "bags.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    for last, heading in ((2, "Shelf cellar"), (5, "Shelves attic, cellar")):
        moved = [line.replace(",cellar,", ",attic,") for line in bags[1:last]]
        (seen / "bags.csv").write_text("".join([bags[0], *moved, *bags[last:]]), encoding="utf-8")
        assert f"<h1>{heading}, " in ask(browser(seen), "/shelf").text


def test_earlier_and_later(page: FlaskClient, seen: Path) -> None:
    """The newest photo comes first; links lead to the one before and back."""
    old, new = (row.photo_sha256 for row in read_ledger(seen).photos)
    text = ask(page, "/shelf").text
    assert f'rel="prev" href="/shelf?photo={old}"' in text
    assert 'rel="next"' not in text
    text = ask(page, f"/shelf?photo={old}").text
    assert f'rel="next" href="/shelf?photo={new}"' in text
    assert 'rel="prev"' not in text


def test_a_choice_of_shelves(seen: Path) -> None:
    """Each shelf is offered by its newest photo; photos of others are not among the earlier and later."""
    old, new = read_ledger(seen).photos
    rename(seen / PhotoRow.FILE, old.photo_sha256, ",cellar,", ",attic <b>,")
    page = browser(seen)
    text = ask(page, "/shelf").text
    assert f'href="/shelf?photo={old.photo_sha256}" aria-current="true">attic &lt;b&gt;</a>' in text
    assert f'href="/shelf?photo={new.photo_sha256}">cellar</a>' in text
    assert 'rel="prev"' not in text
    assert "<b>" not in text


def rename(path: Path, sha256: str, before: str, after: str) -> None:
    """Replace words in the lines of one photo."""
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    assert any(before in line for line in lines if sha256 in line)
    changed = [line.replace(before, after) if sha256 in line else line for line in lines]
    path.write_text("".join(changed), encoding="utf-8")


def test_bags_that_are_not_in_the_photo_are_said(seen: Path) -> None:
    """With the photo in which each was seen last."""
    old, new = read_ledger(seen).photos
    path = seen / ScoreRow.FILE
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    left = [line for line in lines if not (new.photo_sha256 in line and ",B03," in line)]
    assert len(left) == len(lines) - 1
    path.write_text("".join(left), encoding="utf-8")
    text = ask(browser(seen), "/shelf").text
    assert "Not in this photo: 1" in text
    assert "last seen in the photo of 2026-03-02" in listed(text, "B03")
    assert f'href="/shelf?photo={old.photo_sha256}"' in text
    assert not re.search(r'href="/bag\?bag=B03">\s*<polygon', text)


def test_the_photo_in_a_few_widths(page: FlaskClient, seen: Path) -> None:
    """Each width is offered and sent; none is wider than the photo."""
    newest = read_ledger(seen).photos[-1]
    text = ask(page, "/shelf").text
    for width in WIDTHS_PX:
        path = f"/photo?photo={newest.photo_sha256}&width={width}"
        assert path.replace("&", "&amp;") + f" {width}w" in text
        answer = ask(page, path)
        assert answer.mimetype == "image/jpeg"
        with Image.open(io.BytesIO(answer.data)) as image:
            assert image.width == min(width, newest.width_px)
            assert abs(image.width / image.height - newest.width_px / newest.height_px) < 0.01


def test_pictures_are_kept_and_damaged_ones_made_anew(page: FlaskClient, seen: Path) -> None:
    """The second request reads the cache; nothing but the cache is written."""
    path = f"/photo?photo={read_ledger(seen).photos[-1].photo_sha256}&width={WIDTHS_PX[0]}"
    first = ask(page, path).data
    (kept,) = (seen / FOLDER).iterdir()
    stamp = kept.stat().st_mtime_ns
    assert ask(page, path).data == first
    assert kept.stat().st_mtime_ns == stamp
    kept.write_bytes(kept.read_bytes()[:-1] + b"x")
    assert ask(page, path).data == first


def test_nothing_but_the_cache_is_written(
    page: FlaskClient, seen: Path, unchanged: Callable[[Path], Callable[[], bool]]
) -> None:
    """Looking changes no row."""
    is_same = unchanged(seen)
    ask(page, "/shelf")
    ask(page, f"/photo?photo={read_ledger(seen).photos[0].photo_sha256}&width={WIDTHS_PX[1]}")
    assert is_same()


@pytest.mark.parametrize("trouble", ["gone", "damaged", "another"])
def test_a_photo_that_cannot_be_shown_is_said(page: FlaskClient, seen: Path, trouble: str) -> None:
    """The list is there all the same, and the other photo can be shown."""
    old, new = read_ledger(seen).photos
    path = sorted((seen / "photos").iterdir())[-1]
    if trouble == "gone":
        path.unlink()
    elif trouble == "damaged":
        path.write_bytes(path.read_bytes()[:2000])
    else:
        Image.new("RGB", (700, 300)).save(path)
    answer = ask(page, "/shelf")
    assert answer.status_code == 200
    assert re.search(r'<p class="caution">[^<]*(hornbeam-d03|2026-03-05)', answer.text)
    assert "<svg" not in answer.text
    assert "% colonized (" in listed(answer.text, "B01")
    assert ask(page, f"/photo?photo={new.photo_sha256}&width={WIDTHS_PX[0]}").status_code == 404
    assert ask(page, f"/photo?photo={old.photo_sha256}&width={WIDTHS_PX[0]}").status_code == 200


def test_no_photo_yet(trial: Path) -> None:
    """Said, not an error."""
    answer = ask(browser(trial), "/shelf")
    assert answer.status_code == 200
    assert "No photo shows a bag of hornbeam yet." in answer.text


@pytest.mark.parametrize("word", TRAVERSALS)
def test_what_is_asked_is_looked_up_among_the_photos(page: FlaskClient, seen: Path, word: str) -> None:
    """Nothing of an address reaches the file system; only the few widths are made."""
    newest = read_ledger(seen).photos[-1].photo_sha256
    assert (
        page.get("/shelf", query_string={"photo": word}, base_url="http://127.0.0.1:8750").status_code == 400
    )
    for asked in ({"photo": word, "width": "480"}, {"photo": newest, "width": word}):
        answer = page.get("/photo", query_string=asked, base_url="http://127.0.0.1:8750")
        assert answer.status_code in (400, 404)
    assert ask(page, f"/photo?photo={newest}&width=481").status_code == 404
    assert ask(page, f"/photo?photo={newest}").status_code == 404


def test_another_host_gets_nothing(page: FlaskClient) -> None:
    """A name that is made to point here is refused, as everywhere."""
    for path in ("/shelf", "/photo?width=480"):
        assert ask(page, path, headers={"Host": "example.com:8750"}).status_code == 403


def test_names_are_text(seen: Path) -> None:
    """A photo's name can't bring markup into the page."""
    newest = read_ledger(seen).photos[-1]
    rename(seen / PhotoRow.FILE, newest.photo_sha256, newest.photo, "<script>alert(1)</script>.jpg")
    text = ask(browser(seen), "/shelf").text
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;.jpg" in text


def test_nothing_is_inline(page: FlaskClient) -> None:
    """The policy forbids style attributes and scripts within the page."""
    assert not re.search(r"<style|style=|\son\w+=|<script>", ask(page, "/shelf").text)


def test_judged_blind(page: FlaskClient, seen: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither strain nor treatment stands on the page, and no card can be read in its picture."""
    newest = read_ledger(seen).photos[-1].photo_sha256
    picture = f"/photo?photo={newest}&width=1920"
    assert len(cards_in(ask(page, picture))) == 8
    judge_blind(monkeypatch)
    assert cards_in(ask(page, picture)) == ()
    text = ask(page, "/shelf").text
    assert "Judged blind" in text
    assert "bran" not in text
    assert "PO-3" not in text
