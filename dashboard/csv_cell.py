"""Text in a CSV cell that a spreadsheet must not take for a formula."""

from __future__ import annotations

FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
"""What a formula may begin with (OWASP, "CSV Injection"), full-width forms among them."""


def harmless(text: str) -> str:
    """The text; with an apostrophe before it where it would begin a formula."""
    return f"'{text}" if text.lstrip(" ").startswith(FORMULA) else text
