"""Photo files and painted masks: any bytes under any of the names that photos have."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from pictures import rebuilt, valid_files

from colscan.errors import PhotoError
from colscan.photo import colour_error, load_rgb, read_ref
from colscan.photo.load import load_small
from colscan.photo.painted import read_paint
from colscan.trial.model import Limits

DICTIONARY = (
    "ftypheic",
    "IHDR",
    "IDAT",
    "iCCP",
    "eXIf",
    "acTL",
    "tRNS",
    "PLTE",
    "Exif\0\0",
    "ICC_PROFILE\0",
    "MPF\0",
)
_FACE = ((20.0, 20.0), (200.0, 20.0), (200.0, 200.0), (20.0, 200.0))


class Target:
    """Reads a file by each of the readers of pictures.

    Parameters
    ----------
    trial : Path
        A trial's folder.
    """

    def __init__(self, trial: Path) -> None:
        self._path = trial / "photos" / "IMG_0001.jpg"
        self._path.parent.mkdir(exist_ok=True)

    def seeds(self) -> Iterator[bytes]:
        """Files as cameras and painting programs write them."""
        yield from valid_files()

    def __call__(self, data: bytes) -> None:
        """Read it; a picture that can't be read is refused by each reader."""
        self._path.write_bytes(data)
        most = Limits().max_photo_megapixels
        readers: tuple[Callable[[], object], ...] = (
            lambda: read_ref(
                self._path,
                max_megapixels=most,
                zone=ZoneInfo("UTC"),
                not_before=datetime(2026, 3, 2, tzinfo=UTC),
            ),
            lambda: load_rgb(self._path, max_megapixels=most),
            lambda: colour_error(self._path, max_megapixels=most),
            lambda: load_small(self._path, least_px=240, max_megapixels=most),
            lambda: read_paint(self._path, _FACE, photo_size_px=(240, 256), max_megapixels=most),
        )
        for read in readers:
            try:
                read()
            except PhotoError as error:
                str(error)

    def mutate(self, data: bytes, rng: Random, mutate: Callable[[bytes], bytes]) -> bytes:
        """Change a part, or anything."""
        changed = rebuilt(data, rng, mutate) if rng.random() < 0.7 else None
        return mutate(data) if changed is None else changed
