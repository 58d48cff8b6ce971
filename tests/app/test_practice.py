"""`colscan practice`: the tool reads a printed and photographed practice sheet within 3 points."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
import pytest
from photographed import photograph, practice_pages

from colscan.app import practice
from colscan.app.cli.main import main
from colscan.errors import ExitCode
from colscan.present.practice import practice_faces

READ_PRACTICE = practice.read_practice


@cache
def jpegs(paper: str, seed: int) -> list[bytes]:
    """Photos of both pages of faces."""
    return [photograph(page, 10 * seed + number) for number, page in enumerate(practice_pages(paper)[:2])]


def photos(folder: Path, paper: str, seed: int) -> list[str]:
    """Files with them."""
    paths = [folder / f"page{number}.jpg" for number in (1, 2)]
    for path, jpeg in zip(paths, jpegs(paper, seed), strict=True):
        path.write_bytes(jpeg)
    return [str(path) for path in paths]


@cache
def reading(jpeg: bytes) -> tuple[practice.FaceRead, ...]:
    """What is read of a photo."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "page.jpg"
        path.write_bytes(jpeg)
        return READ_PRACTICE(path)


@pytest.fixture
def read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each photo is read once for all tests: its faces take seconds."""
    monkeypatch.setattr(practice, "read_practice", lambda path: reading(path.read_bytes()))


@pytest.mark.usefixtures("read_once")
@pytest.mark.parametrize(("paper", "seed"), [("letter", 2), ("a4", 3)])
def test_each_face_is_read(paper: str, seed: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All 21 faces of both pages, each within 3 points of what is drawn and inside its interval."""
    assert main(["practice", *photos(tmp_path, paper, seed), "--format", "json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert [(row["number"], row["drawn_pct"], row["colonies"]) for row in rows] == [
        (face.number, face.coverage_pct, face.colonies) for face in practice_faces()
    ]
    for row in rows:
        assert row["read_pct"] == pytest.approx(row["drawn_pct"], abs=3.0), row
        assert row["low_pct"] <= row["drawn_pct"] <= row["high_pct"], row
        assert row["difference_points"] == pytest.approx(row["read_pct"] - row["drawn_pct"], abs=0.1)
        assert (row["suspects"], row["flags"]) == (0, "")


@pytest.mark.usefixtures("read_once")
def test_example_and_summary(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The example of the help, as a table; on stderr what the differences come to."""
    photos(tmp_path, "a4", 3)
    monkeypatch.chdir(tmp_path)
    assert main(["practice", "page1.jpg", "page2.jpg"]) == 0
    out, err = capsys.readouterr()
    assert len(out.splitlines()) == 2 + 21
    assert err.startswith("21 faces: mean absolute difference ")
    assert "bias +" in err


def test_no_sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A photo without one, or no photo at all: 3, nothing printed, what to do."""
    path = tmp_path / "table.png"
    cv2.imwrite(str(path), np.full((600, 800, 3), (60, 70, 80), np.uint8))
    for name in (str(path), str(tmp_path / "missing.jpg")):
        assert main(["practice", name]) == ExitCode.PHOTO
        assert capsys.readouterr().out == ""


def test_pale_places_of_another_colour_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A printer that makes the pale parts green: suspect patches, which are said to be no coverage."""
    page = practice_pages("a4")[0].copy()
    page[(abs(page.astype(int) - (131, 130, 126)) < 4).all(-1)] = (105, 140, 85)
    (tmp_path / "green.jpg").write_bytes(photograph(page, 5))
    assert main(["practice", str(tmp_path / "green.jpg"), "--format", "json"]) == 0
    out, err = capsys.readouterr()
    assert any(row["suspects"] for row in json.loads(out)["rows"])
    assert "suspect patches" in err
