"""Picture files taken apart and put together again, with checksums and lengths that hold."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterator
from random import Random

import numpy as np
import pillow_heif
from PIL import Image, ImageCms

pillow_heif.register_heif_opener()
_PNG = b"\x89PNG\r\n\x1a\n"
_SIDE = 240, 256


def plain(mode: str = "RGB") -> Image.Image:
    """A picture of the least size that is taken, in two colours."""
    rgb = np.zeros((*_SIDE[::-1], 3), np.uint8)
    rgb[:128, :, 0], rgb[:, 120:, 1:] = 255, 255
    return Image.fromarray(rgb).convert(mode)


def saved(image: Image.Image, kind: str, **how: object) -> bytes:
    """The bytes of a picture's file."""
    file = io.BytesIO()
    image.save(file, kind, **how)
    return file.getvalue()


def valid_files() -> Iterator[bytes]:
    """Small files of each kind that is read, and of some that aren't."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    exif = Image.Exif()
    exif[0x0112] = 6
    for mode in ("RGB", "L", "CMYK"):
        yield saved(plain(mode), "JPEG", quality=30)
    yield saved(plain(), "JPEG", quality=30, progressive=True, icc_profile=profile, exif=exif)
    for mode in ("RGB", "RGBA", "P", "1", "I;16", "LA"):
        yield saved(plain("L").convert(mode), "PNG")
    yield saved(plain(), "PNG", icc_profile=profile, exif=exif)
    yield saved(plain(), "HEIF", quality=20)
    yield saved(plain(), "HEIF", quality=20, exif=exif.tobytes(), icc_profile=profile)
    yield saved(plain(), "PNG", save_all=True, append_images=[plain("RGB").rotate(90)])
    yield saved(plain(), "GIF")
    yield saved(plain(), "WEBP")
    # As large as one may be, in a file of a few kB.
    yield header_png(9_900, 10_000, depth=1, colour=0, rows=10_000)
    yield header_png(240, 400_000, depth=1, colour=0, rows=2_000)


def header_png(width: int, height: int, *, depth: int, colour: int, rows: int) -> bytes:
    """A PNG that says how large it is, and holds so many black rows."""
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour]
    body = zlib.compress(bytes((width * depth * channels + 7) // 8 + 1) * rows, 9)
    return _PNG + b"".join(map(chunk, (b"IHDR" + head, b"IDAT" + body, b"IEND")))


def chunk(named: bytes) -> bytes:
    """A chunk of a PNG of its name and content, with length and checksum."""
    return struct.pack(">I", max(0, len(named) - 4)) + named + struct.pack(">I", zlib.crc32(named))


def png_chunks(raw: bytes) -> list[bytes]:
    """The chunks of a PNG, each name and content."""
    found, at = [], len(_PNG)
    while at + 8 <= len(raw):
        (length,) = struct.unpack_from(">I", raw, at)
        found.append(raw[at + 4 : at + 8 + length])
        at += 12 + length
    return found


def jpeg_segments(raw: bytes) -> list[bytes]:
    """The segments of a JPEG up to its picture, each its marker and content, and last the picture."""
    found, at = [], 2
    while raw[at : at + 1] == b"\xff" and raw[at + 1 : at + 2] not in (b"\xda", b""):
        length = int.from_bytes(raw[at + 2 : at + 4], "big")
        found.append(raw[at + 1 : at + 2] + raw[at + 4 : at + 2 + length])
        at += 2 + max(2, length)
    return [*found, raw[at:]]


def segment(marked: bytes) -> bytes:
    """A segment of a JPEG of its marker and content, with its length."""
    return b"\xff" + marked[:1] + struct.pack(">H", min(0xFFFF, len(marked) + 1)) + marked[1:]


def rebuilt(raw: bytes, rng: Random, spoil: object) -> bytes | None:
    """A PNG or JPEG with one part changed, gone, doubled or moved; None for other files."""
    assert callable(spoil)
    if raw.startswith(_PNG):
        return _PNG + b"".join(map(chunk, _shuffled(png_chunks(raw), rng, spoil)))
    if raw.startswith(b"\xff\xd8"):
        *parts, picture = jpeg_segments(raw)
        return b"\xff\xd8" + b"".join(map(segment, _shuffled(parts, rng, spoil))) + picture
    return None


def _shuffled(parts: list[bytes], rng: Random, spoil: object) -> list[bytes]:
    assert callable(spoil)
    if not parts:
        return parts
    at, to = rng.randrange(len(parts)), rng.randrange(len(parts))
    how = rng.randrange(6)
    if how == 0:
        del parts[at]
    elif how == 1:
        parts.insert(to, parts[at])
    elif how == 2:
        parts.insert(to, parts.pop(at))
    else:
        parts[at] = parts[at][:4] + spoil(parts[at][4:]) if how < 5 else spoil(parts[at])
    return parts
