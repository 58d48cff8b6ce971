"""Crops of suspect patches from a scanned trial."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from colscan.app.batch.originals import find_original
from colscan.app.patches import FOLDER, LEAST_MM, MARGIN_MM, MOST_PX, MOST_VIEWS, left_out, patch_views
from colscan.errors import TrialError
from colscan.ledger import Ledger, read_ledger
from colscan.ledger.columns import SuspectRow
from colscan.trial import load_trial

CENTRE = (0.25, 0.5)
"""Where the patch is made up on B05, in shares of its face's box."""


def _ledger(folder: Path, *, half_px: float = 10.0) -> Ledger:
    """The scanned ledger with a square patch on B05 in the photo of day 3."""
    ledger = read_ledger(folder)
    score = [row for row in ledger.scores if row.bag == "B05"][-1]
    face = np.array(score.outline)
    x, y = face.min(axis=0) + CENTRE * np.ptp(face, axis=0)
    corners = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    suspect = SuspectRow(
        photo=score.photo,
        photo_sha256=score.photo_sha256,
        taken_at=score.taken_at,
        bag="B05",
        patch="p1",
        kind="green",
        area_mm2=150.0,
        area_pct=0.5,
        x_px=x,
        y_px=y,
        x_mm=0.0,
        y_mm=0.0,
        outline=tuple((x + half_px * i, y + half_px * j) for i, j in corners),
        strength=0.9,
        method=score.method,
    )
    return replace(ledger, suspects=(suspect,))


def _pixels(jpeg: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(jpeg)) as image:
        return np.asarray(image.convert("RGB"))


def test_newest_first_with_the_outline_where_it_was_found(scanned: Path) -> None:
    """The outline lies in the middle of the crop, which shows the declared millimetres."""
    new, old = patch_views(scanned, load_trial(scanned), _ledger(scanned), "B05", "p1")
    assert (round(new.day), round(old.day)) == (3, 0)
    assert (new.area_mm2, old.area_mm2, old.outline) == (150.0, None, ())
    assert new.mm_per_px is not None
    across_mm = max(LEAST_MM, 20 * new.mm_per_px + 2 * MARGIN_MM)
    assert new.width_px * new.mm_per_px == pytest.approx(across_mm, abs=new.mm_per_px)
    corners = np.array(new.outline)
    assert np.ptp(corners, axis=0) == pytest.approx([20, 20])
    middle = (new.width_px - 1) / 2, (new.height_px - 1) / 2
    assert corners.mean(axis=0) == pytest.approx(middle, abs=1.01)


def test_a_crop_is_the_photo_itself(scanned: Path) -> None:
    """At full resolution: its pixels are those of the photo at that place but for JPEG's rounding."""
    ledger = _ledger(scanned)
    view = patch_views(scanned, load_trial(scanned), ledger, "B05", "p1")[0]
    path = find_original(scanned, ledger.photos[-1])
    assert path is not None
    with Image.open(path) as image:
        photo = np.asarray(image.convert("RGB")).astype(int)
    x0, y0 = np.round(np.array(ledger.suspects[0].outline[0]) - view.outline[0]).astype(int)
    same = photo[y0 : y0 + view.height_px, x0 : x0 + view.width_px]
    assert np.abs(_pixels(view.jpeg) - same).mean() < 3


def test_where_it_was_not_found_the_place_is_carried_by_the_face(scanned: Path) -> None:
    """The middle of the older crop lies at the same share of the older outline's box."""
    ledger = _ledger(scanned)
    old = patch_views(scanned, load_trial(scanned), ledger, "B05", "p1")[1]
    score = next(row for row in ledger.scores if row.bag == "B05")
    face = np.array(score.outline)
    x, y = np.round(face.min(axis=0) + CENTRE * np.ptp(face, axis=0)).astype(int)
    path = find_original(scanned, ledger.photos[0])
    assert path is not None
    with Image.open(path) as image:
        photo = np.asarray(image.convert("RGB")).astype(float)
    near = [
        np.abs(photo[y0 : y0 + old.height_px, x0 : x0 + old.width_px] - _pixels(old.jpeg)).mean()
        for y0 in range(y - old.height_px // 2 - 1, y - old.height_px // 2 + 2)
        for x0 in range(x - old.width_px // 2 - 1, x - old.width_px // 2 + 2)
    ]
    assert min(near) < 3


def test_a_large_patch_is_shown_whole_and_not_too_large(scanned: Path) -> None:
    """A crop wider than the page shows is made smaller, and the outline with it."""
    ledger = _ledger(scanned, half_px=330)
    view = patch_views(scanned, load_trial(scanned), ledger, "B05", "p1")[0]
    assert max(view.width_px, view.height_px) == MOST_PX
    assert _pixels(view.jpeg).shape[:2] == (view.height_px, view.width_px)
    assert np.ptp(np.array(view.outline), axis=0).max() < 660


def test_at_the_edge_of_the_photo_the_crop_is_moved_inside(scanned: Path) -> None:
    """It keeps its size; the outline stays on the patch."""
    ledger = _ledger(scanned)
    moved = replace(ledger.suspects[0], outline=((0.0, 0.0), (9.0, 0.0), (9.0, 9.0)))
    view = patch_views(scanned, load_trial(scanned), replace(ledger, suspects=(moved,)), "B05", "p1")[0]
    assert view.mm_per_px is not None
    assert view.width_px == view.height_px == round(LEAST_MM / view.mm_per_px)
    assert view.outline == ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))


def test_the_cache_may_be_gone_or_damaged(scanned: Path) -> None:
    """The second look comes from the cache; damaged crops are made anew, and the same."""
    trial, ledger = load_trial(scanned), _ledger(scanned)
    first = patch_views(scanned, trial, ledger, "B05", "p1")
    kept = sorted((scanned / FOLDER).iterdir())
    assert len(kept) == 2
    stamps = [path.stat().st_mtime_ns for path in kept]
    assert patch_views(scanned, trial, ledger, "B05", "p1") == first
    assert [path.stat().st_mtime_ns for path in kept] == stamps
    kept[0].write_bytes(kept[0].read_bytes()[:-40])
    kept[1].write_bytes(b"")
    assert patch_views(scanned, trial, ledger, "B05", "p1") == first
    for path in kept:
        path.unlink()
    (scanned / FOLDER).rmdir()
    (scanned / FOLDER).write_text("no folder")
    assert patch_views(scanned, trial, ledger, "B05", "p1") == first


def test_photos_that_are_gone_or_damaged_are_left_out_and_named(scanned: Path) -> None:
    """The other view is there all the same."""
    trial, ledger = load_trial(scanned), _ledger(scanned)
    old, new = sorted((scanned / "photos").iterdir())
    old.unlink()
    views = patch_views(scanned, trial, ledger, "B05", "p1")
    assert [round(view.day) for view in views] == [3]
    assert left_out(ledger, "B05", "p1", views=views) == (ledger.photos[0].photo,)
    (scanned / FOLDER).rename(scanned / "cache" / "elsewhere")
    new.write_bytes(b"no photo")
    views = patch_views(scanned, trial, ledger, "B05", "p1")
    assert views == ()
    assert left_out(ledger, "B05", "p1", views=views) == tuple(p.photo for p in reversed(ledger.photos))


def test_a_bag_that_was_turned_shows_another_side(scanned: Path) -> None:
    """Photos from before it was turned have no such place."""
    ledger = _ledger(scanned)
    scores = tuple(
        replace(row, segment=1) if row.photo_sha256 == ledger.photos[-1].photo_sha256 else row
        for row in ledger.scores
    )
    turned = replace(ledger, scores=scores)
    views = patch_views(scanned, load_trial(scanned), turned, "B05", "p1")
    assert [round(view.day) for view in views] == [3]
    assert left_out(turned, "B05", "p1", views=views) == ()


def test_of_many_photos_some_are_chosen(scanned: Path) -> None:
    """The newest, the first with the patch and the last before it are among them."""
    ledger = _ledger(scanned)
    (photo, _), suspect = ledger.photos, ledger.suspects[0]
    score = next(row for row in ledger.scores if row.bag == "B05")
    names = [f"{index:064x}" for index in range(30)]
    times = [photo.taken_at + timedelta(days=index) for index in range(30)]
    many = replace(
        ledger,
        photos=tuple(
            replace(photo, photo=sha[-2:], photo_sha256=sha, taken_at=at)
            for sha, at in zip(names, times, strict=True)
        ),
        scores=tuple(
            replace(score, photo_sha256=sha, taken_at=at) for sha, at in zip(names, times, strict=True)
        ),
        suspects=tuple(replace(suspect, photo_sha256=names[i], taken_at=times[i]) for i in range(17, 30)),
    )
    asked = [int(name, 16) for name in left_out(many, "B05", "p1", views=())]
    assert asked == sorted(asked, reverse=True)
    assert len(asked) == MOST_VIEWS
    assert {29, 17, 16, 0} <= set(asked)


def test_unknown_names_are_refused(scanned: Path) -> None:
    """Both say what isn't there."""
    trial, ledger = load_trial(scanned), _ledger(scanned)
    with pytest.raises(TrialError, match="no bag 'B99'"):
        patch_views(scanned, trial, ledger, "B99", "p1")
    with pytest.raises(TrialError, match="no patch 'p9'"):
        patch_views(scanned, trial, ledger, "B05", "p9")
