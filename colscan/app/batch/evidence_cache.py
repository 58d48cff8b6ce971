"""What photos said of their bags, kept in the trial's `cache/`: remembering needs a bag's earlier photos."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from colscan.app.batch.shelves import Looking
from colscan.app.put import keep_arrays, kept_arrays
from colscan.flags import Flag
from colscan.score import METHOD
from colscan.score.model import Baseline, Evidence, PatchSeen

FOLDER = Path("cache") / "evidence"
_NUMBERS = ("coverage", "low", "high", "density", "unseen", "mm_per_px", "smallest_spot_mm")
_FLAGS = {str(flag): flag for flag in Flag}
_ARRAYS = ("outline_px", "to_px")


@dataclass(frozen=True, slots=True, eq=False)
class KeptEvidence:
    """What a photo said of its bags, still packed."""

    packed: Mapping[str, NDArray[np.generic]]

    def of(self, key: int) -> Evidence | None:
        """What it said of one bag; None where that isn't kept."""
        return _unpack(self.packed, key) if key in self.packed["keys"] else None


def load_evidence(
    folder: Path, sha256: str, baselines: Mapping[int, Baseline], how: Looking
) -> KeptEvidence | None:
    """What a photo said, or None when that isn't kept for this method and these baselines.

    A damaged file counts as none.
    """
    packed = kept_arrays(_file(folder, sha256))
    if packed is None:
        return None
    keys = [int(known) for known in packed["keys"]]
    return KeptEvidence(packed) if str(packed["key"]) == _key(sha256, keys, baselines, how) else None


def keep_evidence(
    folder: Path, sha256: str, evidence: Sequence[Evidence], baselines: Mapping[int, Baseline], how: Looking
) -> bool:
    """Keep a photo's evidence; False where that can't be done."""
    keys = [seen.key for seen in evidence]
    arrays: dict[str, NDArray[np.generic]] = {
        "key": np.array(_key(sha256, keys, baselines, how)),
        "keys": np.array(keys, np.int64),
    }
    for seen in evidence:
        arrays |= {f"{seen.key}-{name}": array for name, array in _pack(seen).items()}
    # Not compressed: what is left when unseen places are left out hardly gets smaller.
    return keep_arrays(_file(folder, sha256), arrays)


def _file(folder: Path, sha256: str) -> Path:
    return folder / FOLDER / f"{sha256[:8]}.bin"


def _key(sha256: str, keys: Iterable[int], baselines: Mapping[int, Baseline], how: Looking) -> str:
    """What evidence depends on, as a hash: method, photo, shelf maps, the photos of its bags' baselines."""
    parts = [METHOD, sha256, how.made_of]
    for key in sorted(keys):
        baseline = baselines.get(key)
        parts.append(f"{key} {baseline.late} {' '.join(baseline.photos)}" if baseline else f"{key}")
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _pack(seen: Evidence) -> dict[str, NDArray[np.generic]]:
    numbers = [getattr(seen, name) for name in _NUMBERS]
    patches = [
        [p.area_mm2, p.area, *p.centre_px, *p.centre_mm, p.strength, len(p.outline_px)] for p in seen.patches
    ]
    outlines = [np.asarray(p.outline_px, np.float64) for p in seen.patches]
    shown = ~np.isnan(seen.opacity)
    return {
        "numbers": np.array([np.nan if value is None else value for value in numbers], np.float64),
        "shape": np.array(seen.opacity.shape),
        "masks": np.packbits([seen.face, shown]),
        "opacity": seen.opacity[shown],
        **{name: getattr(seen, name) for name in _ARRAYS},
        "kinds": np.array([p.kind for p in seen.patches], np.str_),
        "patches": np.array(patches, np.float64).reshape(len(patches), 8),
        "outlines": np.concatenate([np.zeros((0, 2)), *outlines]),
        "flags": np.array([str(flag) for flag in seen.flags], np.str_),
    }


def _unpack(kept: Mapping[str, NDArray[np.generic]], key: int) -> Evidence:
    values = [None if np.isnan(value) else float(value) for value in kept[f"{key}-numbers"].tolist()]
    height, width = kept[f"{key}-shape"].tolist()
    masks = np.unpackbits(kept[f"{key}-masks"], count=2 * height * width)  # type: ignore[arg-type]
    face, shown = masks.reshape(2, height, width).astype(bool)
    opacity = np.full((height, width), np.nan, np.float32)
    opacity[shown] = kept[f"{key}-opacity"]
    return Evidence(
        key=key,
        opacity=opacity,
        face=face,
        patches=_unpack_patches(kept, key),
        flags=tuple(_FLAGS[str(word)] for word in kept[f"{key}-flags"]),
        **dict(zip(_NUMBERS, values, strict=True)),  # type: ignore[arg-type]
        **{name: kept[f"{key}-{name}"] for name in _ARRAYS},  # type: ignore[arg-type]
    )


def _unpack_patches(kept: Mapping[str, NDArray[np.generic]], key: int) -> tuple[PatchSeen, ...]:
    rows = kept[f"{key}-patches"].tolist()
    outlines = np.split(kept[f"{key}-outlines"], np.cumsum([int(row[-1]) for row in rows])[:-1])
    return tuple(
        PatchSeen(
            kind=str(kind),
            area_mm2=area_mm2,
            area=area,
            centre_px=(x_px, y_px),
            centre_mm=(x_mm, y_mm),
            outline_px=np.asarray(outline, np.float64),
            strength=strength,
        )
        for kind, (area_mm2, area, x_px, y_px, x_mm, y_mm, strength, _), outline in zip(
            kept[f"{key}-kinds"], rows, outlines[: len(rows)], strict=True
        )
    )
