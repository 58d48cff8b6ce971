"""By what a process measures: versions, and the last digits of its arithmetic.

Rows are the same bit for bit only where both are. Processors of another kind round otherwise in the last
digits (their libraries choose other loops), and so does a product of matrices shared by another number of
threads; over a photo that can move a score by some hundredths of a point.
"""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path

import numpy as np

import colscan
from colscan.app.demo import PHOTOS
from colscan.locate import locate_bags
from colscan.photo import load_rgb
from colscan.score import make_baseline, measure_views
from colscan.score.model import Evidence

_LIBRARIES = ("numpy", "scipy", "opencv-python-headless", "pillow", "pillow-heif")
_CODE = (".py", ".npz", ".json")
_PHOTO, _CORNER_PX = "hornbeam-d12.jpg", (640, 850)


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """By what a process measures.

    Parameters
    ----------
    versions : tuple of (str, str)
        What is installed, and its version.
    digits : str
        A hash of what it makes of a bundled photo, to the last digit.
    """

    versions: tuple[tuple[str, str], ...]
    digits: str


@cache
def own_means() -> Means:
    """By what this process measures; it takes about a second to find out, once."""
    return Means(versions=(*_versions(),), digits=_digits())


def tell_differences(there: Means, here: Means) -> str:
    """What differs in another process from this one, in words; empty where nothing does."""
    own = dict(here.versions)
    told = [f"{name} {found} (here {own[name]})" for name, found in there.versions if found != own[name]]
    if not told and there.digits != here.digits:
        told = ["the last digits of its numbers differ"]
    return ", ".join(told)


def _versions() -> Iterator[tuple[str, str]]:
    yield "Python", platform.python_version()
    yield "colscan", f"{colscan.__version__} ({_code_hash()[:8]})"
    for name in _LIBRARIES:
        yield name, version(name)


def _code_hash() -> str:
    """Of the code itself: copies of one version may differ while it is worked on."""
    package = Path(colscan.__file__).parent
    found = hashlib.sha256()
    for path in sorted(path for path in package.rglob("*") if path.suffix in _CODE):
        found.update(path.relative_to(package).as_posix().encode() + path.read_bytes())
    return found.hexdigest()


def _digits() -> str:
    """A hash of what a photo says of two bags; as their own baselines, so that all stages run."""
    height, width = _CORNER_PX
    rgb = load_rgb(PHOTOS / _PHOTO, max_megapixels=np.inf)[:height, :width]
    views = locate_bags(rgb, ()).views
    made = {view.key: make_baseline([view], photos=[_PHOTO], late=False) for view in views}
    return _hash(measure_views(views, {key: one for key, one in made.items() if one is not None}))


def _hash(evidence: Iterable[Evidence]) -> str:
    found = hashlib.sha256()
    for seen in evidence:
        for array in (seen.opacity, seen.face, seen.outline_px, seen.to_px):
            found.update(array.tobytes())
        found.update(repr((seen.coverage, seen.low, seen.high, seen.density, seen.unseen)).encode())
    return found.hexdigest()
