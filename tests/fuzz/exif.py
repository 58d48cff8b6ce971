"""What a photo says of itself: EXIF of any content, under any name."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from nasty import TEXTS, TIMES, decode, encode, spoil
from pictures import plain, saved, segment

from colscan.app.batch.place import Said, place_photo
from colscan.errors import PhotoError
from colscan.photo import load_rgb
from colscan.trial.model import Bag, Trial

DICTIONARY = (
    "2026:03:04 10:05:00",
    "+05:00",
    "-05:00",
    "MM\0*",
    "II*\0",
    "Exif",
    "IMG_20260304_100500",
    "PXL_",
)
_ZONES = ("America/New_York", "UTC", "Asia/Kathmandu", "Pacific/Kiritimati")
_POINTERS = (0x8769, 0x8825, 0xA005)
_TAGS = (
    0x0112, 0x010F, 0x0110, 0x9003, 0x9004, 0x9011, 0x9012, 0x927C, 0x9209, 0xA401, 0xA406, 0xA434, 0x0132,
    *_POINTERS,
)  # fmt: skip
_STAMPS = (
    "2026:03:04 10:05:00",
    "2026:03:08 02:30:00",
    "0001:01:01 00:00:00",
    "9999:12:31 23:59:59",
    "0000:00:00",
)
_OFFSETS = ("-05:00", "+14:00", "Z", "+23:59", "-23:59:59.999999", "+24:00", "")


class Target:
    """Places a photo in time and turns it upright; an input is its name, a NUL, and its EXIF block.

    Parameters
    ----------
    trial : Path
        A trial's folder.
    """

    def __init__(self, trial: Path) -> None:
        self._path = trial / "photos" / "IMG_0001.jpg"
        self._path.parent.mkdir(exist_ok=True)
        self._picture = saved(plain(), "JPEG", quality=30)

    def seeds(self) -> Iterator[bytes]:
        """Blocks of phones and cameras, and names that carry a time."""
        for order in "<>":
            fields = [
                (0x0112, 6),
                (0x010F, "Acorn"),
                (0x9003, _STAMPS[0]),
                (0x9011, _OFFSETS[0]),
                (0xA401, 3),
            ]
            yield b"IMG_1.jpg\0" + block(order, fields)
        note = struct.pack("<H20x6H", 0xF101, 1, 2, 10, 4, 3, 2026)
        yield b"RCNX0001.JPG\0" + block("<", [(0x927C, note), (0xA406, 3), (0x9209, 1)])
        for name in (
            "IMG_20260304_100500.jpg",
            "PXL_20260304_100500123.jpg",
            "Photo 2026-03-04 at 10.05.00 AM.heic",
        ):
            yield name.encode() + b"\0"

    def __call__(self, data: bytes) -> None:
        """Read it in several zones."""
        name, _, exif = data.partition(b"\0")
        said = b"\xe1Exif\0\0" + exif
        self._path.write_bytes(self._picture[:2] + segment(said) + self._picture[2:])
        first = datetime(2026, 3, 2, tzinfo=UTC)
        for zone in (ZoneInfo(_ZONES[len(data) % len(_ZONES)]), ZoneInfo(_ZONES[0])):
            bag = Bag(bag="B01", strain="PO-3", supplement="none", supplement_pct=0, inoculated_at=first)
            trial = Trial(name="hornbeam", time_zone=str(zone), bags=(bag,))
            try:
                ref = place_photo(self._path, trial, Said(name=decode(name) or "x", taken_at=None))
                ref.taken_at.astimezone(UTC), ref.taken_at.astimezone(zone)
            except PhotoError as error:
                str(error)
        load_rgb(self._path, max_megapixels=1)

    def mutate(self, data: bytes, rng: Random, mutate: Callable[[bytes], bytes]) -> bytes:
        """Make another block or name, or change a byte."""
        name, nul, exif = data.partition(b"\0")
        how = rng.random()
        if how < 0.4:
            return name + b"\0" + block(rng.choice("<>"), [field(rng) for _ in range(rng.randint(0, 8))])
        if how < 0.5:
            return encode(spoil(decode(name), rng)) + nul + exif
        return name + nul + mutate(exif) if how < 0.8 else mutate(data)


Value = int | str | bytes


def field(rng: Random) -> tuple[int, Value]:
    """A tag that we read, or any, with a value of one kind or another."""
    tag = rng.choice(_TAGS) if rng.random() < 0.9 else rng.randrange(65536)
    if tag in (0x9003, 0x9004) and rng.random() < 0.8:
        return tag, rng.choice(_STAMPS)
    if tag in (0x9011, 0x9012) and rng.random() < 0.8:
        return tag, rng.choice(_OFFSETS)
    return tag, rng.choice(
        (rng.randrange(9), rng.randrange(65536), rng.choice((*TIMES, *TEXTS)), rng.randbytes(34))
    )


def block(order: str, fields: list[tuple[int, Value]]) -> bytes:
    """A TIFF block: the first fields in its first directory, Exif's own in the second, values behind."""
    own = [(tag, value) for tag, value in fields if tag > 0x9000 and tag not in _POINTERS]
    first = [(tag, value) for tag, value in fields if (tag, value) not in own]
    start = 8 + 6 + 12 * (len(first) + 1)
    values_at = start + 6 + 12 * len(own)
    heads, tails = b"", b""
    for entries in ([*first, (0x8769, start)], own):
        lines = b""
        for tag, value in entries:
            kind, count, raw = _packed(order, value)
            if len(raw) > 4:
                raw, tails = struct.pack(f"{order}I", values_at + len(tails)), tails + raw
            lines += struct.pack(f"{order}HHI", tag, kind, count) + raw.ljust(4, b"\0")
        heads += struct.pack(f"{order}H", len(entries)) + lines + bytes(4)
    mark = b"II*\0" if order == "<" else b"MM\0*"
    return mark + struct.pack(f"{order}I", 8) + heads + tails


def _packed(order: str, value: Value) -> tuple[int, int, bytes]:
    """The kind of a value, how many, and its bytes (TIFF 6.0)."""
    if isinstance(value, int):
        return (
            (3, 1, struct.pack(f"{order}H", value))
            if value < 65536
            else (4, 1, struct.pack(f"{order}I", value))
        )
    raw = encode(value) + b"\0" if isinstance(value, str) else value
    return (2 if isinstance(value, str) else 7), len(raw), raw
