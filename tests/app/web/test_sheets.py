"""The sheets to print from the page: the bytes of `colscan cards`, under a name that any system takes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pypdfium2
import pytest
from flask.testing import FlaskClient
from hornbeam import make_bag, make_trial, write_trial
from pages import PORT, browser
from werkzeug.test import TestResponse

from colscan.app.cli.main import main
from colscan.app.web import sheets
from colscan.app.web.site import Standing
from colscan.present import card_sheets, mixing_sheet, practice, shelf_plan


def get(folder: Path, path: str) -> TestResponse:
    """What a page answers."""
    page: FlaskClient = browser(folder)
    return page.get(path, headers={"Host": f"127.0.0.1:{PORT}"})


def text_of(data: bytes) -> str:
    """All text of a PDF."""
    return " ".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(data))


@pytest.fixture(autouse=True)
def _drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Draw no sheet twice: that the same plan gives the same bytes other tests hold."""
    for module, name in (
        (card_sheets, "draw_card_sheets"), (mixing_sheet, "draw_mixing_sheet"), (practice, "draw_practice"),
        (shelf_plan, "draw_shelf_plan"),
    ):  # fmt: skip
        monkeypatch.setattr(module, name, once(getattr(module, name)))


def once(draw: Callable[..., bytes]) -> Callable[..., bytes]:
    """The same, that remembers what it drew of what."""
    drawn: list[tuple[object, bytes]] = []

    def remembered(*asked: object, **how: object) -> bytes:
        for one, pdf in drawn:
            if one == (asked, how):
                return pdf
        drawn.append(((asked, how), draw(*asked, **how)))
        return drawn[-1][1]

    return remembered


@pytest.mark.parametrize(
    ("address", "options", "name", "tells"),
    [
        ("cards.pdf?paper=a4&blind=no", ["--paper", "a4"], "hornbeam-cards.pdf", True),
        ("cards.pdf?paper=letter&blind=yes", ["--blind"], "hornbeam-cards-blind.pdf", False),
        ("cards.pdf", [], "hornbeam-cards.pdf", True),
        ("mixing.pdf?paper=a4", ["--mixing", "--paper", "a4"], "hornbeam-mixing.pdf", True),
        ("shelf-plan.pdf?blind=yes", ["--shelf-plan", "--blind"], "hornbeam-shelf-plan-blind.pdf", False),
        ("practice.pdf?paper=letter", ["--practice"], "hornbeam-practice.pdf", False),
    ],
)
def test_sheets_are_those_of_the_command(
    address: str, options: list[str], name: str, tells: bool, trial: Path, tmp_path: Path
) -> None:
    """Byte for byte, as a file to save; nothing is written into the trial; blind ones tell no strain."""
    before = sorted(trial.rglob("*"))
    answer = get(trial, f"/{address}")
    assert answer.status_code == 200
    assert answer.mimetype == "application/pdf"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="{name}"'
    assert sorted(trial.rglob("*")) == before
    assert main(["cards", str(trial), *options, "-o", str(tmp_path / "own.pdf")]) == 0
    assert answer.data.startswith(b"%PDF")
    assert answer.data == (tmp_path / "own.pdf").read_bytes()
    text = text_of(answer.data)
    assert ("B01" in text) is ("practice" not in name)
    assert ("PO-3" in text) is tells


def test_a_trial_that_is_judged_blind(trial: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cards are blind unless it is said otherwise; no others are offered; the mixing sheet is warned of."""
    monkeypatch.setattr(Standing, "blind", property(lambda here: True))
    assert "PO-3" not in text_of(get(trial, "/cards.pdf").data)
    assert "PO-3" in text_of(get(trial, "/cards.pdf?blind=no").data)
    told = get(trial, "/begun").text
    assert "blind=no" not in told
    assert "keep it from who judges the bags" in told


@pytest.mark.parametrize("query", ["paper=../../etc/passwd", "paper=A4", "blind=maybe", "paper=%00"])
def test_other_words_are_refused(query: str, trial: Path) -> None:
    """Each parameter has its words; what else is asked for is refused with them."""
    answer = get(trial, f"/cards.pdf?{query}")
    assert answer.status_code == 400
    assert "They are: " in answer.text


@pytest.mark.parametrize("path", ["/other.pdf", "/..%2fcards.pdf", "/cards.pdf/x", "/trial.toml"])
def test_no_other_file(path: str, trial: Path) -> None:
    """Four sheets, and no path."""
    assert get(trial, path).status_code == 404


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ('Hêtre "à" l\'étage\r\nX-Evil: 1', "Hetre-a-l-etage-X-Evil-1"),
        ("../../etc/passwd", "etc-passwd"),
        ("平", "trial"),
        ("a" * 70, "a" * 60),
    ],
)
def test_names_of_files(name: str, plain: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Plain letters only: no quote, line break or path of a trial's name gets into the header."""
    monkeypatch.setattr(sheets, "draw_sheet", lambda *_, **__: b"%PDF")
    folder = tmp_path / "one"
    write_trial(folder, make_trial(make_bag("B01", tag=1)))
    text = (folder / "trial.toml").read_text(encoding="utf-8").splitlines()
    quoted = name.replace('"', '\\"').replace("\r", "\\r").replace("\n", "\\n")
    named = [f'name = "{quoted}"' if line.startswith("name =") else line for line in text]
    (folder / "trial.toml").write_text("\n".join(named), encoding="utf-8")
    answer = get(folder, "/cards.pdf")
    assert answer.headers["Content-Disposition"] == f'attachment; filename="{plain}-cards.pdf"'
    assert "X-Evil" not in answer.headers
