"""`colscan report`: the file, what stands in it, and what happens when it can't be written."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hornbeam import at_day, make_bag, make_hornbeam, make_trial, photo, score, verdict, write_trial

from colscan.app.charts import Kind
from colscan.app.cli.main import main
from colscan.app.reporting import gather
from colscan.errors import ExitCode
from colscan.growth.outcomes import Milestone
from colscan.ledger import Ledger
from colscan.ledger.columns import HarvestRow
from colscan.trial.model import Bag

SECTIONS = (
    "question", "set-up", "bags", "curves", "comparison", "losses", "yields", "unsaid", "next", "deviations",
    "numbers", "versions",
)  # fmt: skip
MAIL_BYTES = 10_000_000
"""What most mail still carries."""


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Charts left out, where another test here draws those of the same rows."""
    monkeypatch.setattr(gather, "KINDS", ())


def test_the_scanned_demo(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Path on stdout; every section in order; a picture of each bag and photo, its data in words."""
    assert main(["report", str(scanned)]) == 0
    out, err = capsys.readouterr()
    path = scanned / "report.html"
    assert out == f"{path}\n"
    assert err == f"The report is in {path}\n"
    page = path.read_text("utf-8")
    assert tuple(re.findall(r'<section id="([\w-]+)"', page)) == SECTIONS
    alts = re.findall(r'<img [^>]* alt="([^"]+)"', page)
    # Each bag in both photos, and once more beside the others of its strain.
    assert len(alts) == 16 + 8
    assert any(
        re.search(r"B03.*PE-1.*bran 0 %.*day 3\.2.*% of the side in view colonized", alt) for alt in alts
    )
    assert page.count("<svg ") == 4  # all but yields, of which there are none
    assert len(page) < MAIL_BYTES / 10


@pytest.mark.usefixtures("undrawn")
def test_photos_that_are_gone_are_named(scanned: Path) -> None:
    """A kept photo that was deleted costs its pictures, nothing else."""
    first = min((scanned / "photos").iterdir())
    first.unlink()
    assert main(["report", str(scanned)]) == 0
    page = (scanned / "report.html").read_text("utf-8")
    assert page.count("<img ") == 8 + 8
    assert "kept file is gone or damaged, and so not shown: hornbeam-d00.jpg" in page


def test_a_plan_alone_has_a_report(tmp_path: Path) -> None:
    """Before the first photo: the plan, and a sentence for each answer that isn't there."""
    folder = write_trial(tmp_path / "hornbeam", make_hornbeam()[0])
    assert main(["report", str(folder)]) == 0
    page = (folder / "report.html").read_text("utf-8")
    assert tuple(re.findall(r'<section id="([\w-]+)"', page)) == SECTIONS
    assert "there is no curve to draw" in page
    assert "No harvest is recorded." in page
    assert "<img" not in page


def test_blanks_alone_have_a_report(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Their pictures over time, and none side by side by level, of which the chart says why."""
    bags = scanned / Bag.FILE
    head, *lines = bags.read_text("utf-8").splitlines()
    bags.write_text("\n".join([f"{head},role", *(f"{line},blank" for line in lines)]) + "\n", "utf-8")
    assert main(["report", str(scanned)]) == 0
    assert (scanned / "report.html").read_text("utf-8").count("<img ") == 16
    assert main(["chart", str(scanned), "--kind", "by-level"]) == ExitCode.ANALYSIS
    assert "has no face to show, blanks left out" in capsys.readouterr().err


def test_html_in_the_plan_is_text(tmp_path: Path) -> None:
    """Codes, notes, suppliers' names: whatever a grower writes is shown as it was written."""
    evil = "</style><script>x</script>"
    bag = make_bag(f"B1{evil}", strain=f"PO-3{evil}", note=evil, heat_run=evil)
    folder = tmp_path / "hornbeam"
    write_trial(folder, make_trial(make_bag("B1", note=evil, heat_run=evil, shelf=evil)))
    assert isinstance(bag, Bag)
    assert main(["report", str(folder)]) == 0
    page = (folder / "report.html").read_text("utf-8")
    assert "<script" not in page
    assert page.count("&lt;/style&gt;&lt;script&gt;x&lt;/script&gt;") >= 3


def test_output_elsewhere_and_nowhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A given path is used, its folder must be there; a folder in the way is said."""
    folder = write_trial(tmp_path / "hornbeam", make_hornbeam()[0])
    assert main(["report", str(folder), "-o", str(tmp_path / "out.html")]) == 0
    assert (tmp_path / "out.html").read_bytes().startswith(b"<!doctype html>")
    assert not (folder / "report.html").exists()
    capsys.readouterr()
    assert main(["report", str(folder), "-o", str(tmp_path / "no" / "out.html")]) == ExitCode.TRIAL
    assert "there is no folder" in capsys.readouterr().err
    assert main(["report", str(folder), "-o", "/"]) == ExitCode.TRIAL
    assert "--output / is a folder.\n  Give the path of a file, like /report.html." in capsys.readouterr().err
    (folder / "report.html").mkdir()
    assert main(["report", str(folder)]) == ExitCode.LEDGER
    assert "the report can't be written" in capsys.readouterr().err


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("code", ["PO-3", "B", "1"])
def test_the_answer_in_short_is_there_whatever_strains_are_called(code: str, tmp_path: Path) -> None:
    """A sentence that begins like a strain's code is not one of that strain alone."""
    folder = write_trial(tmp_path / "hornbeam", *make_hornbeam())
    for path in (folder / "trial.toml", folder / "bags.csv"):
        path.write_text(path.read_text("utf-8").replace("PO-3", code), encoding="utf-8")
    assert main(["report", str(folder)]) == 0
    page = (folder / "report.html").read_text("utf-8")
    question = page.partition('<section id="question"')[2].partition("</section>")[0]
    assert "By day " in question
    assert f"<li>{code}, " not in question


def test_the_answer_in_short_leaves_out_how_it_was_worked_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the top what the levels gave; how their intervals are made stands with the yields."""
    monkeypatch.setattr(gather, "KINDS", (Kind.YIELD,))  # the others are drawn of the same scores below
    trial, ledger = make_hornbeam()
    grams = {"PO3-1": 300.0, "PO3-2": 350.0}
    rows = tuple(HarvestRow(at=at_day(30), bag=bag, flush=1, fresh_g=fresh) for bag, fresh in grams.items())
    folder = write_trial(tmp_path / "hornbeam", trial, replace(ledger, harvests=rows))
    assert main(["report", str(folder)]) == 0
    page = (folder / "report.html").read_text("utf-8")
    sections = dict(re.findall(r'<section id="([\w-]+)"(.*?)</section>', page, re.DOTALL))
    for name in ("question", "yields"):
        assert "PO-3, bran 4 %: 50 g more per bag spawned" in sections[name]
    assert "Jeffreys" in sections["yields"]
    assert "Jeffreys" not in sections["question"]
    assert page.count("<svg ") == 1


def test_a_trend_has_the_digits_that_a_single_percent_needs(tmp_path: Path) -> None:
    """A tenth of a day per 1 % is no 0.1 (0.0 to 0.1); what nothing bounds is open."""
    bags = [make_bag(f"L{level:g}-{i}", level=level) for level in (0.0, 4.0, 8.0) for i in range(5)]
    rows = [
        score(bag.bag, float(day), min(100.0, 8.0 * max(0.0, day - i % 5 / 10 + 0.2 * bag.supplement_pct)))
        for day in range(16)
        for i, bag in enumerate(bags)
    ]
    trial = make_trial(*bags, make_bag("H1", strain="PE-1"), make_bag("H2", strain="PE-1", level=0.0))
    ledger = Ledger(photos=tuple(photo(day) for day in range(16)), scores=tuple(rows))
    folder = write_trial(tmp_path / "hornbeam", trial, ledger)
    assert main(["report", str(folder)]) == 0
    page = (folder / "report.html").read_text("utf-8")
    trend = re.search(r"<td[^>]*>bran, per 1 %</td>(.*?)</tr>", page, re.DOTALL)
    assert trend is not None
    assert re.search(r">0\.\d\d \(0\.\d\d to 0\.\d\d\)<", trend[1])
    assert "no limit to no limit" not in page


def test_where_all_are_lost_half_never_come(tmp_path: Path) -> None:
    """The median lies nowhere, and neither does its interval; of 16 photos of a bag one isn't shown."""
    outline = ((10.0, 10.0), (90.0, 10.0), (90.0, 90.0), (10.0, 90.0))
    lost, alone = [f"B{i}" for i in range(5)], "C1"
    trial = make_trial(*(make_bag(bag, level=0.0) for bag in lost), make_bag(alone))
    ledger = Ledger(
        photos=tuple(photo(day) for day in range(16)),
        scores=tuple(score(bag, day, 5.0, outline=outline) for day in range(16) for bag in (*lost, alone)),
        verdicts=tuple(verdict(bag, 15.5, "contaminated") for bag in lost),
    )
    assert main(["report", str(write_trial(tmp_path / "hornbeam", trial, ledger))]) == 0
    page = (tmp_path / "hornbeam" / "report.html").read_text("utf-8")
    assert page.count("<td>never</td>") == 2 * len(Milestone)
    assert "to no limit" not in page  # nor is anything said to bound the median of a single bag
    assert "1 more photo is not shown." in page


def test_a_ledger_with_something_of_everything(tmp_path: Path) -> None:
    """The made-up trial: its loss and deviations are told, photos that were never kept named."""
    trial, ledger = make_hornbeam()
    outline = ((10.0, 10.0), (90.0, 10.0), (90.0, 90.0), (10.0, 90.0))
    rows = tuple(replace(row, outline=outline) for row in ledger.scores)
    folder = write_trial(tmp_path / "hornbeam", trial, replace(ledger, scores=rows))
    assert main(["report", str(folder)]) == 0
    page = (folder / "report.html").read_text("utf-8")
    assert "Discarded: PE1-3 on day 10.0." in page
    assert "everything here is interim" in page
    assert "d0.125.jpg" in page
    assert "lost, day 6.1 to 9.1" in page
