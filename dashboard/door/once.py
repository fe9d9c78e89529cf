"""The set-up code: printed where serve was started, good once, for making the first account in a browser."""

from __future__ import annotations

import hmac
import secrets

LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""None that is taken for another."""


class OnceCode:
    """A code of 40 bits; guessing it is slowed down by whoever asks for it."""

    def __init__(self) -> None:
        self.text = "-".join("".join(secrets.choice(LETTERS) for _ in range(4)) for _ in range(2))

    def is_it(self, said: str) -> bool:
        """Blanks, dashes and capitals do not matter."""
        return hmac.compare_digest(_bare(said).encode(), _bare(self.text).encode())


def _bare(text: str) -> str:
    return "".join(text.lower().replace("-", "").split())[:64]
