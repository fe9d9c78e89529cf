"""A screenshot as a PNG of at most 256 colours: pictures of flat pages lose nothing that an eye sees.

Chunks, filters and palettes as in PNG (ISO/IEC 15948), 5.3, 9.2 and 11.2.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
COLOURS = 256


def small_png(png: bytes) -> bytes:
    """The same picture, 8 bits a pixel. Takes 8-bit RGB or RGBA, not interlaced, as browsers write; else ValueError."""
    pixels = pixels_of(png)
    for lost in range(6):
        step = 1 << lost
        rounded = (pixels.astype(np.uint16) + step // 2) // step * step
        flat = np.minimum(rounded, 255).astype(np.uint8).reshape(-1, 3)
        palette, index = np.unique(flat, axis=0, return_inverse=True)
        if len(palette) <= COLOURS:
            return _written(palette, index.reshape(pixels.shape[:2]).astype(np.uint8))
    raise ValueError("more than 256 colours, however coarsely: this is a photograph, not a page")


def pixels_of(png: bytes) -> NDArray[np.uint8]:
    """Red, green, blue, (height, width, 3); transparency is dropped."""
    chunks = list(_chunks(png))
    width, height, depth, kind, _, _, interlaced = struct.unpack(">IIBBBBB", chunks[0][1])
    if depth != 8 or kind not in (2, 6) or interlaced:
        raise ValueError(f"8-bit RGB or RGBA without interlace is read, not depth {depth}, kind {kind}")
    size = 3 if kind == 2 else 4
    raw = np.frombuffer(zlib.decompress(b"".join(data for name, data in chunks if name == b"IDAT")), np.uint8)
    lines = raw.reshape(height, 1 + width * size)
    above = np.zeros(width * size, np.uint8)
    rows = np.empty((height, width * size), np.uint8)
    for number, line in enumerate(lines):
        above = rows[number] = _unfiltered(int(line[0]), line[1:], above, size)
    return rows.reshape(height, width, size)[:, :, :3]


def _unfiltered(how: int, line: NDArray[np.uint8], above: NDArray[np.uint8], size: int) -> NDArray[np.uint8]:
    if how == 0:
        return line
    if how == 2:
        return line + above
    made, up, found = line.astype(int).tolist(), above.astype(int).tolist(), [0] * len(line)
    for at, value in enumerate(made):
        left, corner = (found[at - size], up[at - size]) if at >= size else (0, 0)
        before = {1: left, 3: (left + up[at]) // 2, 4: _nearest(left, up[at], corner)}[how]
        found[at] = (value + before) & 255
    return np.array(found, np.uint8)


def _nearest(left: int, up: int, corner: int) -> int:
    """Paeth's predictor, 9.4 of the standard."""
    guess = left + up - corner
    return min((left, up, corner), key=lambda value: abs(guess - value))


def _chunks(png: bytes) -> Iterator[tuple[bytes, bytes]]:
    if not png.startswith(SIGNATURE):
        raise ValueError("no PNG")
    at = len(SIGNATURE)
    while at < len(png):
        (length,) = struct.unpack_from(">I", png, at)
        yield png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        at += 12 + length


def _written(palette: NDArray[np.uint8], index: NDArray[np.uint8]) -> bytes:
    height, width = index.shape
    lines = np.zeros((height, width + 1), np.uint8)  # each begins with filter 0, which is best for palettes
    lines[:, 1:] = index
    parts = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
        (b"PLTE", palette.tobytes()),
        (b"IDAT", zlib.compress(lines.tobytes(), 9)),
        (b"IEND", b""),
    )
    made = (
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in parts
    )
    return SIGNATURE + b"".join(made)
