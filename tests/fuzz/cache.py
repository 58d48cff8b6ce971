"""What a trial keeps in its cache: evidence, baselines, glances, the mark of a whole ledger."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import numpy as np

from colscan.app.batch import baseline_cache, copies, evidence_cache
from colscan.app.batch.shelves import Looking
from colscan.flags import Flag
from colscan.ledger import append
from colscan.ledger.columns import PhotoRow
from colscan.ledger.marks import MARK_FILE
from colscan.photo.alike import SIDE, Glance
from colscan.score.model import Baseline, Evidence, Fault, PatchSeen, TakenOff

DICTIONARY = (
    "PK\3\4",
    "PK\1\2",
    "PK\5\6",
    ".npy",
    "\x93NUMPY",
    "'descr'",
    "'<f8'",
    "'fortran_order'",
    "'shape'",
    "|O",
)
_SHA, _MADE_OF, _HOW = "ab" * 32, "made of this", Looking(max_megapixels=1)
_AT = datetime(2026, 3, 2, tzinfo=UTC)
_ROW = PhotoRow(
    photo="a.jpg", photo_sha256=_SHA, taken_at=_AT, taken_at_from="option", width_px=300, height_px=300,
    bags_found=1, method="test-1", scanned_at=_AT,
)  # fmt: skip


class Target:
    """Reads one of the files; the first byte says which.

    Parameters
    ----------
    trial : Path
        A trial's folder.
    """

    def __init__(self, trial: Path) -> None:
        self._trial = trial
        patch = PatchSeen(
            kind="green", area_mm2=12.0, area=0.1, centre_px=(3.0, 4.0), centre_mm=(1.0, 1.0),
            outline_px=np.array([[0.0, 0], [9, 0], [9, 9]]), strength=0.8,
        )  # fmt: skip
        evidence = Evidence(
            key=3, coverage=0.2, low=0.1, high=0.3, density=None, unseen=0.1, mm_per_px=0.5,
            opacity=np.zeros((4, 5), np.float32), face=np.ones((4, 5), bool), patches=(patch,),
            outline_px=np.zeros((4, 2)), to_px=np.zeros((2, 3)), smallest_spot_mm=3.0, flags=(Flag.GLARE,),
        )  # fmt: skip
        baseline = Baseline(
            colour=np.ones(3), spread=np.eye(3), face=np.zeros((4, 5, 3), np.float32), late=True,
            photos=(_SHA,), taken_off=TakenOff(coverage=0.1, low=0.0, high=0.2), faults=tuple(Fault)[:1],
        )  # fmt: skip
        evidence_cache.keep_evidence(trial, _SHA, [evidence], {}, _HOW)
        baseline_cache.keep_baselines(trial, _MADE_OF, {3: baseline})
        copies._keep(trial, _SHA, Glance(cells=np.zeros((SIDE, SIDE, 3), np.uint8), shape=1.5))
        append._heal(trial)
        self._paths = (
            evidence_cache._file(trial, _SHA), trial / baseline_cache.FILE, copies._file(trial, _SHA),
            trial / MARK_FILE,
        )  # fmt: skip

    def seeds(self) -> Iterator[bytes]:
        """Each file as it was kept."""
        for number, path in enumerate(self._paths):
            yield bytes([number]) + path.read_bytes()

    def __call__(self, data: bytes) -> None:
        """Put it in place and load it: it is what was kept, or nothing."""
        self._paths[(data[:1] or b"\0")[0] % len(self._paths)].write_bytes(data[1:])
        kept = evidence_cache.load_evidence(self._trial, _SHA, {}, _HOW)
        if kept is not None:
            kept.of(3)
        baseline_cache.load_baselines(self._trial, _MADE_OF)
        copies._load(self._trial, _SHA)
        append._heal(self._trial)

    def mutate(self, data: bytes, rng: Random, mutate: Callable[[bytes], bytes]) -> bytes:
        """Change any byte, or a text inside."""
        if rng.random() < 0.5:
            return data[:1] + mutate(data[1:])
        at = rng.randrange(1, len(data) + 1)
        return data[:at] + rng.choice(DICTIONARY).encode("latin-1") + data[at + rng.randrange(9) :]
