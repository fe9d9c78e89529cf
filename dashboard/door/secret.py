"""Passwords, PINs and random secrets: how they are chosen, kept and compared.

Passwords and PINs are kept as Argon2id (RFC 9106) with m = 19 MiB, t = 2, p = 1: the OWASP Password Storage Cheat
Sheet's first choice, which a computer of 512 MB can afford one at a time. Sessions and tokens are 256 random bits:
there is nothing to guess, so a plain SHA-256 is kept of them.
"""

from __future__ import annotations

import hashlib
import secrets
import threading
import unicodedata
from collections.abc import Iterable
from itertools import pairwise

from dashboard.door.visitor import DoorError

SHORTEST, LONGEST = 12, 128
PIN_DIGITS = (6, 12)
LEAST_SCORE = 3
"""zxcvbn's: safely unguessable for somebody who has to ask this door, 10^8 guesses and more."""
LOOKED_AT = 72
"""So many characters zxcvbn looks at; a longer password is long enough by itself."""
_one_at_a_time = threading.Lock()
"""19 MiB each: two at once may be more than a small computer has left."""


def _hasher() -> object:
    from argon2 import PasswordHasher

    return PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)


def hashed(text: str) -> str:
    """As it is kept: "$argon2id$v=19$m=19456,t=2,p=1$...". Takes some 30 ms."""
    with _one_at_a_time:
        return str(_hasher().hash(_normal(text)))  # type: ignore[attr-defined]


def matches(kept: str | None, text: str) -> bool:
    """Whether `text` is what was kept. Takes as long if nothing was kept: nobody learns whether a name exists."""
    from argon2.exceptions import InvalidHashError, VerifyMismatchError

    with _one_at_a_time:
        try:
            _hasher().verify(kept or _nobodys(), _normal(text))  # type: ignore[attr-defined]
        except (VerifyMismatchError, InvalidHashError):
            return False
    return kept is not None


_made: list[str] = []


def _nobodys() -> str:
    """A hash that nothing matches, made once."""
    if not _made:
        _made.append(str(_hasher().hash(secrets.token_hex(32))))  # type: ignore[attr-defined]
    return _made[0]


def good_password(text: str, about: Iterable[str] = ()) -> str:
    """The password. Raises DoorError if it is too short, too long or guessable; `about`: names it must not rest on.

    No rule about kinds of characters, nothing is cut off (OWASP ASVS 5.0.0, 6.2.1, 6.2.4, 6.2.5, 6.2.8, 6.2.11).
    """
    if len(text) < SHORTEST:
        raise DoorError(
            f"a password needs {SHORTEST} characters or more: four words that do not belong together"
        )
    if len(text) > LONGEST:
        raise DoorError(f"a password has at most {LONGEST} characters")
    from zxcvbn import zxcvbn

    if zxcvbn(text[:LOOKED_AT], user_inputs=[*about, "coldshed"])["score"] < LEAST_SCORE:
        raise DoorError("this password is easily guessed: take four words that do not belong together")
    return text


def good_pin(text: str) -> str:
    """The PIN. Raises DoorError if it is none, or one that is tried first."""
    low, high = PIN_DIGITS
    if not (text.isascii() and text.isdigit() and low <= len(text) <= high):
        raise DoorError(f"a PIN has {low} to {high} digits")
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(text)}
    if steps <= {0, 1} or steps <= {0, 9} or len(set(text)) < 3:
        raise DoorError("this PIN is tried first: take one without a run or a repeat")
    return text


def new_secret() -> str:
    """256 random bits as text."""
    return secrets.token_urlsafe(32)


def new_id() -> str:
    """A public name for a session or a token: says nothing of its secret."""
    return secrets.token_hex(6)


def digest(secret: str) -> bytes:
    """What is kept of a session's or a token's secret."""
    return hashlib.sha256(secret.encode()).digest()


def _normal(text: str) -> bytes:
    """One form for what keyboards may send in several."""
    return unicodedata.normalize("NFC", text).encode()
