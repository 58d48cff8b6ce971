"""PNG files of any header, made byte by byte."""

import struct
import zlib


def png(width: int, height: int, *, bit_depth: int = 8, data: bytes = b"") -> bytes:
    """The bytes of a colour PNG with any header and data."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, bit_depth, 2, 0, 0, 0)
    chunks = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(data)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunks
