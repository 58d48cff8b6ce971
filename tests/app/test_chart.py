"""`colscan chart`: its kinds, the files, where they go, and what happens when they can't be written."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from hornbeam import make_hornbeam, write_trial

from colscan.app.cli import chart as command
from colscan.app.cli.main import main
from colscan.errors import ExitCode
from colscan.ledger import Ledger


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The made-up trial on disk, from the folder above it."""
    monkeypatch.chdir(tmp_path)
    write_trial(tmp_path / "hornbeam", *make_hornbeam())
    return Path("hornbeam")


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Charts of a few bytes, where the picture doesn't matter."""
    files = SimpleNamespace(png=b"png", svg=b"svg")
    monkeypatch.setattr("colscan.present.chart.draw_chart", lambda *_, **__: files)


def test_png_and_svg_in_the_trials_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Paths on stdout, the message on stderr; a second run writes the same bytes; nothing else is left."""
    before = {path.name for path in folder.iterdir()}
    assert main(["chart", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines() == ["hornbeam/chart.png", "hornbeam/chart.svg"]
    assert err == "The chart is in hornbeam/chart.png and hornbeam/chart.svg\n"
    first = [(folder / name).read_bytes() for name in ("chart.png", "chart.svg")]
    assert first[0].startswith(b"\x89PNG")
    assert b"<svg" in first[1]
    assert main(["chart", str(folder)]) == 0
    assert [(folder / name).read_bytes() for name in ("chart.png", "chart.svg")] == first
    assert {path.name for path in folder.iterdir()} - before == {"chart.png", "chart.svg"}


def test_letters_that_the_font_lacks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """They are said in a line of ours; the library's own warnings are kept away (here they would fail)."""
    monkeypatch.chdir(tmp_path)
    trial, ledger = make_hornbeam()
    one = replace(trial, bags=trial.bags[:1])
    scores = tuple(row for row in ledger.scores if row.bag == one.bags[0].bag)
    folder = write_trial(tmp_path / "hornbeam", one, Ledger(photos=ledger.photos, scores=scores))
    for name in ("trial.toml", "bags.csv"):
        text = (folder / name).read_text(encoding="utf-8")
        (folder / name).write_text(text.replace("PO-3", "平-3"), encoding="utf-8")
    for word in ("chart", "report"):
        assert main([word, str(folder)]) == 0
        assert "font lacks 平: hollow squares stand for them." in capsys.readouterr().err


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("given", ["out/curves", "out/curves.png", "out/curves.SVG"])
def test_output_elsewhere(given: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A path with or without suffix; dots that are no suffix stay."""
    Path("out").mkdir()
    assert main(["chart", str(folder), "-o", given]) == 0
    assert capsys.readouterr().out.splitlines() == ["out/curves.png", "out/curves.svg"]
    assert Path("out/curves.svg").read_bytes() == b"svg"
    assert main(["chart", str(folder), "-o", "out/day.12"]) == 0
    assert Path("out/day.12.png").read_bytes() == b"png"
    assert not (folder / "chart.png").exists()


def test_output_into_no_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Option misuse: exit 2."""
    assert main(["chart", str(folder), "-o", "nowhere/curves"]) == ExitCode.TRIAL
    assert "there is no folder nowhere" in capsys.readouterr().err


@pytest.mark.parametrize("given", [".", "..", "/", "hornbeam"])
def test_output_that_is_a_folder(given: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, and how to write it; nothing is drawn beside it."""
    assert main(["chart", str(folder), "-o", given]) == ExitCode.TRIAL
    err = capsys.readouterr().err
    assert f"--output {given} is a folder.\n  Give the path of a file, like {Path(given) / 'chart'}." in err
    assert [path.name for path in Path().iterdir()] == ["hornbeam"]


def test_a_trial_without_scores(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 6 and what to do first; also when no bag could be measured. No file."""
    monkeypatch.chdir(tmp_path)
    trial, ledger = make_hornbeam()
    write_trial(tmp_path / "hornbeam", trial)
    unmeasured = tuple(replace(row, coverage_pct=None) for row in ledger.scores)
    write_trial(tmp_path / "foggy", trial, replace(ledger, scores=unmeasured))
    for name in ("hornbeam", "foggy"):
        assert main(["chart", name]) == ExitCode.ANALYSIS
        out, err = capsys.readouterr()
        assert out == ""
        assert err == (
            "colscan: The trial hornbeam has no score to draw.\n"
            f"  Scan its photos first: colscan scan {name} PHOTO...\n"
        )
        assert not list(Path(name).glob("*chart*"))


@pytest.mark.usefixtures("quick")
def test_a_full_disk_leaves_the_old_chart(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 4, the old file whole, no part of the new one (a disk without space is simulated)."""
    (folder / "chart.png").write_bytes(b"old")

    real = os.write

    def fail(descriptor: int, data: bytes) -> int:
        real(descriptor, data[:1])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "write", fail)
    assert main(["chart", str(folder)]) == ExitCode.LEDGER
    assert "hornbeam/chart: the chart can't be written (No space left on device)." in capsys.readouterr().err
    assert (folder / "chart.png").read_bytes() == b"old"
    assert not list(folder.glob(".*"))


@pytest.mark.usefixtures("quick")
def test_write_chart_returns_its_paths(folder: Path) -> None:
    """What other commands call."""
    assert command.write_chart(folder) == (folder / "chart.png", folder / "chart.svg")


@pytest.mark.parametrize("kind", ["white", "full", "risk"])
def test_other_kinds_have_their_own_files(
    kind: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Named after the kind; a second run writes the same bytes; the curves are left alone."""
    assert main(["chart", str(folder), "--kind", kind]) == 0
    paths = [folder / f"chart-{kind}.png", folder / f"chart-{kind}.svg"]
    assert capsys.readouterr().out.splitlines() == [str(path) for path in paths]
    first = [path.read_bytes() for path in paths]
    assert first[0].startswith(b"\x89PNG")
    assert main(["chart", str(folder), "-k", kind]) == 0
    assert [path.read_bytes() for path in paths] == first
    assert not (folder / "chart.png").exists()


def test_yield_needs_a_harvest(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 6 and what to do without one; with one a chart."""
    assert main(["chart", str(folder), "--kind", "yield"]) == ExitCode.ANALYSIS
    assert "colscan harvest hornbeam BAG FLUSH GRAMS" in capsys.readouterr().err
    assert main(["harvest", str(folder), "PO3-1", "1", "410", "--at", "2026-03-20T10:00"]) == 0
    assert main(["chart", str(folder), "--kind", "yield"]) == 0
    assert (folder / "chart-yield.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("kind", ["faces", "by-level"])
def test_faces_need_photos(kind: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A ledger without a face in it: exit 6, no file."""
    assert main(["chart", str(folder), "--kind", kind]) == ExitCode.ANALYSIS
    assert "has no face to show" in capsys.readouterr().err
    assert not list(folder.glob("chart*"))


def test_faces_from_photos(scanned_pair: Path) -> None:
    """Both tables; --day asks for a day."""
    assert main(["chart", str(scanned_pair), "--kind", "faces"]) == 0
    assert main(["chart", str(scanned_pair), "--kind", "by-level"]) == 0
    latest = (scanned_pair / "chart-by-level.png").read_bytes()
    assert main(["chart", str(scanned_pair), "--kind", "by-level", "--day", "0"]) == 0
    assert (scanned_pair / "chart-by-level.png").read_bytes() != latest
    assert b"<image" in (scanned_pair / "chart-faces.svg").read_bytes()


def test_a_day_belongs_to_the_faces_by_level(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Option misuse: exit 2, also of a kind that there isn't."""
    assert main(["chart", str(folder), "--day", "3"]) == ExitCode.TRIAL
    assert "ask for --kind by-level" in capsys.readouterr().err
    assert main(["chart", str(folder), "--kind", "pie"]) == ExitCode.TRIAL
    assert main(["chart", str(folder), "--kind", "by-level", "--day", "-1"]) == ExitCode.TRIAL
