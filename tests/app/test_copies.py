"""Copies are sought where files leave open whether they hold one picture."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from colscan.app.batch import copies
from colscan.photo import PhotoRef
from colscan.photo.alike import SIDE, Glance


def photo(folder: Path, name: str, *, hour: int, source: str) -> PhotoRef:
    """A photo of which only its name, bytes and time matter."""
    (folder / name).write_bytes(name.encode())
    at = datetime(2026, 3, 2, hour, tzinfo=UTC)
    return PhotoRef(
        path=folder / name, name=name, sha256=name, taken_at=at, taken_at_from=source, camera=None
    )


def test_only_what_may_be_a_copy_is_looked_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two dates by the camera are two photos, undecoded; a picture without date is held against both."""
    seen: list[str] = []

    def glance_at(path: Path, *, max_megapixels: float) -> Glance:
        seen.append(path.name)
        return Glance(cells=np.full((SIDE, SIDE, 3), 90, np.uint8), shape=1.5)

    monkeypatch.setattr(copies, "glance_at", glance_at)
    dated = [photo(tmp_path, f"{hour}.jpg", hour=hour, source="exif-offset") for hour in (8, 9)]
    assert copies.find_copies(tmp_path, dated, [], max_megapixels=50, keep=False) == {}
    assert seen == []
    bare = photo(tmp_path, "sent.jpg", hour=9, source="file-name")
    found = copies.find_copies(tmp_path, [*dated, bare], [], max_megapixels=50, keep=False)
    assert list(found) == ["sent.jpg"]
    assert set(seen) >= {"sent.jpg"}
    assert len(seen) == len(set(seen))
