"""The pictures in README and help are not older than the pages."""

from __future__ import annotations

import re
import struct
import zlib

import numpy as np

from dashboard import help_pages
from tests.browser.picture import HELP, LARGEST, MADE_FROM, PICTURES, ROOT, digest
from tests.browser.small_png import SIGNATURE, small_png


def test_the_pictures_were_made_from_what_the_pages_are_now() -> None:
    """After a change of templates, style, words or demo: run .ci/picture, look at them, commit them."""
    assert MADE_FROM.read_text(encoding="ascii").strip() == digest(), (
        "run .ci/picture and look at the pictures"
    )


def test_every_picture_is_there_small_and_shown_and_none_is_left_over() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = set(
        re.findall(
            r"/help/pictures/(\w+)\.png", "".join(help_pages.page(name).html for name in help_pages.names())
        )
    )
    assert {path.stem for path in HELP.glob("*.png")} == set(PICTURES) == shown
    assert "dashboard/help/round.png" in readme
    for name in PICTURES:
        png = (HELP / f"{name}.png").read_bytes()
        assert png.startswith(SIGNATURE)
        assert len(png) <= LARGEST, name


def test_a_picture_keeps_every_pixel_while_its_colours_fit() -> None:
    """A PNG made by hand with each filter of ISO/IEC 15948, 9.2: its palette gives the very same pixels back."""
    colours = np.random.default_rng(7).integers(0, 256, (40, 3), dtype=np.uint8)
    pixels = colours[np.random.default_rng(8).integers(0, 40, (5, 9))]
    made = small_png(filtered(pixels))
    palette, index = read_palette(made)
    assert (palette[index] == pixels).all()


def filtered(pixels: np.ndarray) -> bytes:
    """An RGB PNG whose rows use filters 0 to 4 in turn."""
    flat = pixels.reshape(len(pixels), -1).astype(int)
    zero = np.zeros(flat.shape[1], int)
    rows = b""
    for number, line in enumerate(flat):
        up = flat[number - 1] if number else zero
        left, corner = np.r_[0, 0, 0, line[:-3]], np.r_[0, 0, 0, up[:-3]]
        away = [abs(left + up - corner - guess) for guess in (left, up, corner)]
        paeth = np.where(
            (away[0] <= away[1]) & (away[0] <= away[2]), left, np.where(away[1] <= away[2], up, corner)
        )
        taken = [zero, left, up, (left + up) // 2, paeth][number % 5]
        rows += bytes([number % 5]) + ((line - taken) & 255).astype(np.uint8).tobytes()
    head = struct.pack(">IIBBBBB", pixels.shape[1], pixels.shape[0], 8, 2, 0, 0, 0)
    return SIGNATURE + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in ((b"IHDR", head), (b"IDAT", zlib.compress(rows)), (b"IEND", b""))
    )


def read_palette(png: bytes) -> tuple[np.ndarray, np.ndarray]:
    """Palette (n, 3) and index (height, width) of an indexed PNG without filters."""
    at, found = len(SIGNATURE), {}
    while at < len(png):
        (length,) = struct.unpack_from(">I", png, at)
        found[png[at + 4 : at + 8]] = png[at + 8 : at + 8 + length]
        at += 12 + length
    width, height = struct.unpack_from(">II", found[b"IHDR"])
    lines = np.frombuffer(zlib.decompress(found[b"IDAT"]), np.uint8).reshape(height, width + 1)
    return np.frombuffer(found[b"PLTE"], np.uint8).reshape(-1, 3), lines[:, 1:]
