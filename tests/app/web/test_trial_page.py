"""The trial's page: how far it is, where each bag stands, its charts, and what is kept from blind judges."""

from __future__ import annotations

import json
import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from flask.testing import FlaskClient
from pages import TRAVERSALS, ask, browser, judge_blind
from reviewed import add_patch

from colscan.app.charts import Kind
from colscan.app.cli.main import main
from colscan.app.web import trial_page
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


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[Kind]:
    """The kinds of charts that are drawn, each in a few bytes."""
    kinds: list[Kind] = []

    def quick(kind: Kind, _subject: object) -> SimpleNamespace:
        kinds.append(kind)
        return SimpleNamespace(svg=f"<svg>{kind}</svg>".encode())

    monkeypatch.setattr(trial_page, "make_chart", quick)
    return kinds


def words(text: str) -> str:
    """A page without markup."""
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def edit(folder: Path, line: str) -> None:
    """Put a line at the top of the plan."""
    path = folder / "trial.toml"
    path.write_text(f"{line}\n{path.read_text(encoding='utf-8')}", encoding="utf-8")


def test_how_far_it_is(seen: Path) -> None:
    """The question as text, when it began, how many days ago, when it is planned to end."""
    path = seen / "trial.toml"
    asked = re.sub(r"(?m)^question = .*$", 'question = "How much <b>bran</b>?"', path.read_text("utf-8"))
    path.write_text(asked, encoding="utf-8")
    edit(seen, "planned_end = 2036-03-30T18:00:00-05:00")
    text = ask(browser(seen), "/trial").text
    assert "How much &lt;b&gt;bran&lt;/b&gt;?" in text
    said = words(text)
    assert "Began 2026-03-02" in said
    assert re.search(r"Day \d+\.\d", said)
    assert "Planned end 2036-03-30" in said
    assert "Results interim" in said


def test_a_trial_that_ended(seen: Path) -> None:
    """Its days are counted up to its end, and its results are final."""
    edit(seen, "ended_at = 2026-03-20T18:00:00-04:00")
    said = words(ask(browser(seen), "/trial").text)
    assert "Lasted 18.5 days" in said
    assert "Ended 2026-03-20" in said
    assert "Results final" in said


def test_counts_and_table_say_what_status_says(
    page: FlaskClient, seen: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every bag is a row with a link; the counts add up; a call changes them at the next request."""
    said = words(ask(page, "/trial").text)
    assert "Bags: 8" in said
    assert "to look at 1" in said
    assert "running 7" in said
    assert main(["verdict", str(seen), "B04", "contaminated", "--patch", "p1", "--action", "discarded"]) == 0
    text = ask(page, "/trial").text
    assert "discarded 1" in words(text)
    assert "to look at" not in words(text)
    capsys.readouterr()
    assert main(["status", str(seen), "--format", "json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert len(rows) == 8
    for row in rows:
        found = re.search(rf'<tr><th scope="row"><a[^>]* href="/bag\?bag={row["bag"]}">.*?</tr>', text)
        assert found
        for name in ("strain", "treatment", "advice", "why"):
            assert row[name] in words(found[0])
        assert f"{row['coverage_pct']:.0f} ({row['coverage_low_pct']:.0f}-" in words(found[0])


def test_charts_are_lazy_and_drawn_once(page: FlaskClient, seen: Path, drawn: list[Kind]) -> None:
    """The page draws none; each is drawn at its first request, and again when a file changed."""
    text = ask(page, "/trial").text
    assert drawn == []
    asked = re.findall(r'<img class="chart" src="(/chart\?kind=\w+)"[^>]* loading="lazy" alt="[^"]+"', text)
    assert asked == ["/chart?kind=curves", "/chart?kind=full", "/chart?kind=risk"]
    for path in asked * 2:
        answer = ask(page, path)
        assert answer.mimetype == "image/svg+xml"
        assert answer.data.startswith(b"<svg>")
    assert drawn == [Kind.CURVES, Kind.FULL, Kind.RISK]
    assert main(["event", str(seen), "looked-round", "--bag", "B04"]) == 0
    ask(page, asked[0])
    assert drawn[3:] == [Kind.CURVES]


def test_the_curves_are_drawn(page: FlaskClient) -> None:
    """The chart of the command, as SVG, in the size that the page keeps free for it."""
    answer = ask(page, "/chart?kind=curves")
    assert answer.status_code == 200
    drawn = re.search(rb'<svg [^>]*width="([\d.]+)pt" height="([\d.]+)pt"', answer.data)
    opened = re.search(
        r'<details class="drawn" open>.*?<img [^>]*width="(\d+)" height="(\d+)"',
        ask(page, "/trial").text,
        flags=re.DOTALL,
    )
    assert drawn
    assert opened
    # 72 points and 96 CSS pixels are an inch (CSS Values and Units 4, section 6.2).
    in_css_px = [float(side) * 96 / 72 for side in drawn.groups()]
    assert [int(side) for side in opened.groups()] == pytest.approx(in_css_px, abs=0.5)


def test_a_chart_without_data_says_why(page: FlaskClient, seen: Path) -> None:
    """In the command's words, where the chart would be; asked for alone it says the same."""
    said = words(ask(page, "/trial").text)
    assert "The trial hornbeam has no harvest to draw." in said
    alone = ask(page, "/chart?kind=yield")
    assert alone.status_code == 400
    assert "The trial hornbeam has no harvest to draw." in alone.text
    assert main(["harvest", str(seen), "B04", "1", "500"]) == 0
    assert 'src="/chart?kind=yield"' in ask(page, "/trial").text


def test_no_photo_yet(trial: Path) -> None:
    """All bags wait; it is said what to do first."""
    text = ask(browser(trial), "/trial").text
    assert "running 8" in words(text)
    assert "Nothing is measured yet. Send a photo of the shelf" in words(text)
    assert "<img" not in text


def test_what_can_be_printed(page: FlaskClient) -> None:
    """Plain links, for both papers."""
    text = ask(page, "/trial").text
    for sheet in ("cards", "mixing", "shelf-plan", "practice"):
        for paper in ("a4", "letter"):
            assert f'href="/{sheet}.pdf?paper={paper}' in text


def test_judged_blind(page: FlaskClient, drawn: list[Kind], monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither treatments nor charts by them, and why; asked for by address, refused."""
    judge_blind(monkeypatch)
    text = ask(page, "/trial").text
    table = text[text.index("<table>") : text.index("</table>")]
    for told in ("PO-3", "bran", "treatment"):
        assert told not in table
    assert "<img" not in text
    assert "This trial is judged blind" in text
    answer = ask(page, "/chart?kind=curves")
    assert answer.status_code == 400
    assert "judged blind" in answer.text
    assert drawn == []


@pytest.mark.parametrize("word", [*TRAVERSALS, "faces", "by-level"])
def test_only_the_charts_on_the_page_can_be_asked_for(
    page: FlaskClient, drawn: list[Kind], word: str
) -> None:
    """Another word is refused and names them."""
    answer = page.get("/chart", query_string={"kind": word}, base_url="http://127.0.0.1:8750")
    assert answer.status_code == 400
    assert "curves, full, risk, yield" in answer.text
    assert drawn == []


def test_another_host_gets_nothing(page: FlaskClient) -> None:
    """A name that is made to point here is refused, as everywhere."""
    for path in ("/trial", "/chart?kind=curves"):
        assert ask(page, path, headers={"Host": "example.com:8750"}).status_code == 403


def test_nothing_is_inline(page: FlaskClient) -> None:
    """The policy forbids style attributes and scripts within the page."""
    assert not re.search(r"<style|style=|\son\w+=|<script>", ask(page, "/trial").text)
