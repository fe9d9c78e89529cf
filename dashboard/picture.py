"""A picture that belongs to an entry of the logbook: what kind it is, by its own first bytes, and its digest."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

BEGINS: dict[str, tuple[tuple[int, bytes], ...]] = {
    "image/jpeg": ((0, b"\xff\xd8\xff"),),
    "image/png": ((0, b"\x89PNG\r\n\x1a\n"),),
    "image/webp": ((0, b"RIFF"), (8, b"WEBP")),
}
"""Where which bytes stand: ITU-T T.81 B.1.1.3, PNG (ISO/IEC 15948) 5.2, RFC 9649 2.4."""


class PictureError(ValueError):
    """The bytes are no picture that can be kept; the text says which can."""


@dataclass(frozen=True)
class Picture:
    """Its media type and its bytes."""

    type: str
    content: bytes

    @property
    def digest(self) -> str:
        """SHA-256 of the bytes, hexadecimal."""
        return hashlib.sha256(self.content).hexdigest()

    @classmethod
    def of(cls, content: bytes) -> Picture:
        """Raises PictureError unless the bytes begin as a JPEG, PNG or WebP picture does."""
        for kind, begins in BEGINS.items():
            if all(content[at : at + len(sign)] == sign for at, sign in begins):
                return cls(kind, content)
        raise PictureError("these bytes are no picture that can be kept: allowed are JPEG, PNG and WebP")
