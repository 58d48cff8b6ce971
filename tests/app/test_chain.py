"""What a bag's next photo is remembered from: kept in the cache, or made again."""

import csv
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from demo_trial import begin_pair

from colscan.app.batch import baselines, jobs
from colscan.app.batch.baseline_cache import FILE as BASELINES
from colscan.app.batch.baseline_cache import keep_baselines, load_baselines
from colscan.app.batch.evidence_cache import FOLDER, keep_evidence, load_evidence
from colscan.app.batch.shelves import Looking
from colscan.app.cli.main import main
from colscan.flags import Flag
from colscan.locate import MappedShelf
from colscan.locate.model import Sighting
from colscan.photo.model import ImageRGB
from colscan.score.model import Baseline, Evidence, PatchSeen

Corners = Callable[[int], Path]
HOW = Looking(max_megapixels=100.0)


def scan(folder: Path, *photos: Path) -> None:
    """Scan photos in one process."""
    assert main(["scan", str(folder), "--jobs", "1", *map(str, photos)]) == 0


def rows(folder: Path, name: str = "scores.csv") -> list[dict[str, str]]:
    """The rows of a CSV file without the time they were written."""
    with (folder / name).open(newline="", encoding="utf-8") as file:
        return [{k: v for k, v in row.items() if k != "scanned_at"} for row in csv.DictReader(file)]


def test_deleting_the_cache_changes_no_number(scanned_pair: Path, corners: Corners, tmp_path: Path) -> None:
    """With the cache deleted, or damaged, the next photo's rows are the same: photos are measured again."""
    deleted, damaged = (
        Path(shutil.copytree(scanned_pair, tmp_path / name)) for name in ("deleted", "damaged")
    )
    shutil.rmtree(deleted / "cache")
    for path in (damaged / FOLDER).iterdir():
        path.write_bytes(path.read_bytes()[:1000])
    for folder in (scanned_pair, deleted, damaged):
        scan(folder, corners(6))
    for name in ("scores.csv", "suspects.csv"):
        assert rows(deleted, name) == rows(scanned_pair, name)
        assert rows(damaged, name) == rows(scanned_pair, name)
    kept = {folder: sorted(p.name for p in (folder / FOLDER).iterdir()) for folder in (scanned_pair, deleted)}
    assert len(kept[scanned_pair]) == 3
    assert kept[deleted] == kept[scanned_pair]


def test_a_first_photo_is_looked_at_once(
    pair: Path, corners: Corners, monkeypatch: pytest.MonkeyPatch
) -> None:
    """For baselines and to be measured; twice where its pixels may not be kept, and the rows are the same."""
    looked: list[Sighting] = []
    locate = jobs.locate_bags

    def counted(rgb: ImageRGB, shelves: tuple[MappedShelf, ...]) -> Sighting:
        looked.append(locate(rgb, shelves))
        return looked[-1]

    monkeypatch.setattr(jobs, "locate_bags", counted)
    scan(pair, corners(0), corners(3))
    assert len(looked) == 2
    monkeypatch.setattr(baselines, "MOST_KEPT_PX", 1000)
    cramped = begin_pair(pair.parent / "cramped")
    scan(cramped, corners(0), corners(3))
    assert len(looked) == 2 + 3
    assert rows(cramped) == rows(pair)


def test_any_order_in_one_scan_gives_the_same_rows(pair: Path, corners: Corners) -> None:
    """Three photos, in order and out of it."""
    shuffled = begin_pair(pair.parent / "shuffled")
    scan(pair, *(corners(day) for day in (0, 3, 6)))
    scan(shuffled, *(corners(day) for day in (6, 0, 3)))
    assert rows(shuffled) == rows(pair)


def test_memory_is_used_and_an_event_ends_it(scanned_pair: Path, corners: Corners, tmp_path: Path) -> None:
    """A photo after a shake is scored as the first of its segment, else by what was before as well."""
    shaken = Path(shutil.copytree(scanned_pair, tmp_path / "shaken"))
    event = ["event", str(shaken), "shaken", "--shelf", "cellar", "--at", "2026-03-06T12:00"]
    assert main(event) == 0
    for folder in (scanned_pair, shaken):
        scan(folder, corners(6))
    with_memory, without = (rows(folder)[-2:] for folder in (scanned_pair, shaken))
    assert {row["segment"] for row in without} == {"1"}
    assert all(
        row["coverage_pct"] != other["coverage_pct"] for row, other in zip(with_memory, without, strict=True)
    )


def test_a_lost_original_is_passed_over(scanned_pair: Path, corners: Corners) -> None:
    """With cache and originals gone the next photo is scored by itself."""
    shutil.rmtree(scanned_pair / FOLDER)
    shutil.rmtree(scanned_pair / "photos")
    scan(scanned_pair, corners(6))
    assert len(rows(scanned_pair)) == 6


@pytest.fixture
def evidence() -> Evidence:
    """What a photo said, with a patch, flags, and numbers that are missing."""
    patch = PatchSeen(
        kind="green",
        area_mm2=200.5,
        area=0.01,
        centre_px=(10.0, 20.5),
        centre_mm=(-3.0, 4.25),
        outline_px=np.array([[1.0, 2.0], [3.0, 4.0], [5.0, 7.0]]),
        strength=0.75,
    )
    return Evidence(
        key=7,
        coverage=0.125,
        low=None,
        high=0.25,
        density=0.1,
        unseen=0.2,
        opacity=np.array([[0.5, np.nan]], np.float32),
        face=np.array([[True, False]]),
        patches=(patch, patch),
        mm_per_px=0.9,
        outline_px=np.array([[0.0, 0.5], [1.0, 1.5], [2.0, 2.5]]),
        to_px=np.array([[1.5, 0.0, 20.0], [0.0, 1.5, 30.0]]),
        smallest_spot_mm=3.0,
        flags=(Flag.GLARE, Flag.NO_BASELINE),
    )


def test_evidence_comes_back_as_it_was(tmp_path: Path, evidence: Evidence) -> None:
    """Every field, bit by bit; another photo's or bag's is not it."""
    assert keep_evidence(tmp_path, "ab" * 32, [evidence], {}, HOW)
    kept = load_evidence(tmp_path, "ab" * 32, {}, HOW)
    assert kept is not None
    again = kept.of(7)
    assert again is not None
    for name in ("key", "coverage", "low", "high", "density", "unseen", "mm_per_px", "flags"):
        assert getattr(again, name) == getattr(evidence, name)
    for name in ("opacity", "face", "outline_px", "to_px"):
        assert np.array_equal(getattr(again, name), getattr(evidence, name), equal_nan=name == "opacity")
    assert len(again.patches) == 2
    for patch, was in zip(again.patches, evidence.patches, strict=True):
        assert (patch.kind, patch.area, patch.centre_mm) == (was.kind, was.area, was.centre_mm)
        assert np.array_equal(patch.outline_px, was.outline_px)
    assert kept.of(8) is None
    assert load_evidence(tmp_path, "ab" * 4 + "c" * 56, {}, HOW) is None


def test_evidence_without_patches_comes_back(tmp_path: Path, evidence: Evidence) -> None:
    """No patch, no flag."""
    bare = Evidence(
        **{name: getattr(evidence, name) for name in Evidence.__slots__ if name not in ("patches", "flags")},
        patches=(),
    )
    assert keep_evidence(tmp_path, "cd" * 32, [bare], {}, HOW)
    kept = load_evidence(tmp_path, "cd" * 32, {}, HOW)
    assert kept is not None
    again = kept.of(7)
    assert again is not None
    assert again.patches == ()
    assert again.flags == ()


def test_an_unwritable_cache_is_no_error(tmp_path: Path, evidence: Evidence) -> None:
    """A file where the cache should be: not kept, no exception."""
    (tmp_path / "cache").write_text("in the way")
    assert not keep_evidence(tmp_path, "ef" * 32, [evidence], {}, HOW)


@pytest.mark.parametrize("flipped", [0x01, 0x80, 0xFF])
def test_damage_anywhere_counts_as_none(tmp_path: Path, evidence: Evidence, flipped: int) -> None:
    """Any byte of the kept files changed, or the rest gone: what was kept, or nothing; never an error."""
    baseline = Baseline(
        colour=np.ones(3),
        spread=np.eye(3),
        face=np.zeros((1, 2, 3), np.float32),
        late=False,
        photos=("ab" * 32,),
    )
    keep_evidence(tmp_path, "ab" * 32, [evidence], {}, HOW)
    keep_baselines(tmp_path, "this", {7: baseline})
    evidence_file, baselines_file = next((tmp_path / FOLDER).iterdir()), tmp_path / BASELINES
    loads = ((evidence_file, lambda: load_evidence(tmp_path, "ab" * 32, {}, HOW)),
             (baselines_file, lambda: load_baselines(tmp_path, "this")))  # fmt: skip
    for path, load in loads:
        whole = path.read_bytes()
        lost = 0
        for at in range(0, len(whole), 7):
            path.write_bytes(whole[:at] + bytes([whole[at] ^ flipped]) + whole[at + 1 :])
            lost += load() is None
        path.write_bytes(whole[: len(whole) // 2])
        assert load() is None
        assert lost > 10
        path.write_bytes(whole)
        assert load() is not None
