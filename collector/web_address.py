"""The address of pages as a person writes it down: a scheme, a host, perhaps a port, and nothing more."""

from __future__ import annotations

import re
from urllib.parse import urlsplit


def web_address(text: str) -> str:
    """The same address in small letters, without a slash at its end.

    Raises ValueError, in words, for anything that is more or less than scheme, host and port (RFC 3986, 3.2).
    """
    try:
        parts = urlsplit(text.strip())
        port = parts.port
    except ValueError as error:
        raise ValueError(f"{text!r} is no address: {error}") from error
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise ValueError(f'{text!r}: write it as "http://shed.lan:8137" or "https://shed.example"')
    host = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
    plain = f"{parts.scheme}://{host}" + ("" if port is None else f":{port}")
    extra = parts.path not in ("", "/") or parts.query or parts.fragment or parts.username is not None
    if extra or any(letter.isspace() or letter in "\"'<>\\" for letter in host):
        raise ValueError(f"{text!r} has more than scheme, host and port: write {plain!r}")
    return plain


def without_login(url: str) -> str:
    """The address without a name or password in it."""
    parts = urlsplit(url)
    return parts._replace(netloc=parts.netloc.rpartition("@")[2], query="", fragment="").geturl()


def way_to(location: str | None) -> str:
    """Where an answer points to (RFC 9110, 10.2.2), as it may be shown: "elsewhere" if it names no address."""
    try:
        return without_login(location or "")[:200] or "elsewhere"
    except ValueError:
        return "elsewhere"


def in_words(error: Exception) -> str:
    """What a library says of a request that failed, without the objects that it names, which tell nobody anything."""
    return re.sub(r"<[^<>]* object at 0x[0-9a-f]+>:? ?|\w+\(host=[^)]*\): ?", "", str(error))
