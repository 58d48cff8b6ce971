"""Baselines kept in the trial's `cache/`, so that a daily scan need not look at day 0 again."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path

import numpy as np

from colscan.app.batch.shelves import Looking
from colscan.app.put import keep_arrays, kept_arrays
from colscan.photo import PhotoRef
from colscan.score import METHOD
from colscan.score.model import Baseline, Fault, TakenOff
from colscan.trial.model import Bag

FILE = Path("cache") / "baselines.bin"
_FAULTS = {str(fault): fault for fault in Fault}
_ARRAYS = ("colour", "spread", "face")


def baselines_key(bags: Mapping[int, Bag], photos: Iterable[PhotoRef], how: Looking) -> str:
    """What baselines depend on, as a hash: method, shelf maps, bags, days 0, early photos and their times."""
    parts = [METHOD, how.made_of]
    parts += [f"{key} {bag.inoculated_at.isoformat()}" for key, bag in sorted(bags.items())]
    parts += sorted(f"{ref.sha256} {ref.taken_at.isoformat()}" for ref in photos)
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def load_baselines(folder: Path, made_of: str) -> dict[int, Baseline] | None:
    """The kept baselines, or None when there are none made of this; a damaged file counts as none."""
    kept = kept_arrays(folder / FILE)
    if kept is None or str(kept["made-of"]) != made_of:
        return None
    return {int(key): _unpack(kept, int(key)) for key in kept["keys"]}


def _unpack(kept: Mapping[str, np.ndarray], key: int) -> Baseline:
    taken_off = [float(share) for share in kept[f"{key}-taken-off"]]
    return Baseline(
        colour=kept[f"{key}-colour"],
        spread=kept[f"{key}-spread"],
        face=kept[f"{key}-face"],
        late=bool(kept[f"{key}-late"]),
        photos=tuple(str(photo) for photo in kept[f"{key}-photos"]),
        faults=tuple(_FAULTS[str(fault)] for fault in kept[f"{key}-faults"]),
        taken_off=TakenOff(coverage=taken_off[0], low=taken_off[1], high=taken_off[2]) if taken_off else None,
    )


def keep_baselines(folder: Path, made_of: str, baselines: Mapping[int, Baseline]) -> None:
    """Keep baselines for the next scan; where that can't be done the next scan makes them again."""
    keys = np.array(sorted(baselines), np.int64)
    arrays: dict[str, np.ndarray] = {"made-of": np.array(made_of), "keys": keys}
    for key, baseline in baselines.items():
        arrays |= {f"{key}-{name}": getattr(baseline, name) for name in _ARRAYS}
        then = baseline.taken_off
        arrays[f"{key}-faults"] = np.array([str(fault) for fault in baseline.faults], np.str_)
        arrays[f"{key}-taken-off"] = np.array([then.coverage, then.low, then.high] if then else [])
        arrays |= {f"{key}-late": np.array(baseline.late), f"{key}-photos": np.array(baseline.photos)}
    keep_arrays(folder / FILE, arrays)
