"""`colscan agree`: table, CSV, JSON, plot, masks; what it says without anything to hold against."""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

from colscan.app.cli.main import main
from colscan.app.masks import read_masks
from colscan.ledger import read_ledger
from colscan.trial import load_trial


def _paint(folder: Path, bag: str, row_of: int, colour: tuple[int, int, int]) -> Path:
    """A mask of the bag's face in a photo, painted whole in one colour."""
    ledger = read_ledger(folder)
    photo = ledger.photos[row_of]
    (score,) = (r for r in ledger.scores if (r.photo_sha256, r.bag) == (photo.photo_sha256, bag))
    image = Image.new("RGBA", (photo.width_px, photo.height_px))
    ImageDraw.Draw(image).polygon([tuple(corner) for corner in score.outline], fill=(*colour, 255))
    path = folder / "masks" / f"{photo.photo_sha256[:8]}-{bag}.png"
    path.parent.mkdir(exist_ok=True)
    image.save(path)
    return path


def test_table_sentences_and_plot(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The table on stdout, sentences on stderr, the plot in the trial's folder."""
    assert main(["agree", str(scanned)]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines()[3].startswith("blind estimates")
    assert "On these bags read a single score as good to about" in err
    assert (scanned / "agree.png").stat().st_size > 10_000
    assert "<svg" in (scanned / "agree.svg").read_text(encoding="utf-8")


def test_rows_for_programs(scanned: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CSV and JSON have the whole, the middle and each band, and the same numbers."""
    assert main(["agree", str(scanned), "--format", "csv", "-o", str(tmp_path / "own.png")]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert rows[0]["band"] == "all"
    assert int(rows[0]["pairs"]) == 16
    assert sum(int(row["pairs"]) for row in rows if row["band"] == "band") == 16
    assert (tmp_path / "own.svg").exists()
    assert not (scanned / "agree.png").exists()
    assert main(["agree", str(scanned), "--format", "json"]) == 0
    first = json.loads(capsys.readouterr().out)["rows"][0]
    assert float(rows[0]["bias_points"]) == first["bias_points"]


def test_masks_are_held_apart(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A face painted white all over is 100 %; its row stands below the estimates'."""
    _paint(scanned, "B01", 1, (255, 255, 255))
    _paint(scanned, "B02", 1, (0, 0, 0))
    masks = read_masks(scanned, load_trial(scanned), read_ledger(scanned))
    shares = {one.bag: one.coverage for one in masks.painted}
    assert shares == {"B01": pytest.approx(1.0, abs=0.01), "B02": 0.0}  # brushes differ along the outline
    assert masks.errors == ()
    assert main(["agree", str(scanned), "--format", "csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert next(row["pairs"] for row in rows if row["held_against"] == "painted masks") == "2"


def test_a_mask_is_known_however_the_disk_writes_its_letters(scanned: Path) -> None:
    """Some file systems part ü into u and two dots; the tables keep it whole."""
    for name in ("bags.csv", "scores.csv", "suspects.csv"):
        text = (scanned / name).read_text(encoding="utf-8")
        (scanned / name).write_text(text.replace("B01", "B\u00fc1"), encoding="utf-8")
    mask = _paint(scanned, "B\u00fc1", 1, (255, 255, 255))
    mask.rename(mask.with_name(unicodedata.normalize("NFD", mask.name)))
    masks = read_masks(scanned, load_trial(scanned), read_ledger(scanned))
    assert [one.bag for one in masks.painted] == ["B\u00fc1"]


def test_masks_that_say_nothing_are_named(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No such photo, no such bag, no mask: each is left out with what to do; the others count."""
    good = _paint(scanned, "B01", 1, (255, 255, 255))
    begin = good.name[:8]
    good.rename(good.with_name(f"{begin}-B99.png"))
    _paint(scanned, "B02", 1, (120, 120, 120))
    (scanned / "masks" / "00000000-B01.png").write_bytes(good.with_name(f"{begin}-B99.png").read_bytes())
    assert main(["agree", str(scanned)]) == 0
    err = capsys.readouterr().err
    assert "Left out: 00000000-B01.png: there is no score that it belongs to" in err
    assert f"Left out: {begin}-B99.png: there is no score" in err
    assert f"Left out: {begin}-B02.png: is no mask" in err


def test_nothing_to_hold_against(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """6, and how to begin."""
    (scanned / "estimates.csv").unlink()
    assert main(["agree", str(scanned)]) == 6
    assert "estimates.csv" in capsys.readouterr().err
    assert not (scanned / "agree.png").exists()


def test_a_folder_that_is_not_there(scanned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """2, as for a chart, before anything is worked out; one in the plot's place likewise."""
    assert main(["agree", str(scanned), "-o", str(scanned / "none" / "x")]) == 2
    assert "there is no folder" in capsys.readouterr().err
    assert main(["agree", str(scanned), "-o", str(scanned)]) == 2
    out, err = capsys.readouterr()
    assert (out, f"like {scanned / 'agree'}." in err) == ("", True)
