"""The browser of tests/browser."""

from __future__ import annotations

from tests.browser.conftest import chromium, playwright

__all__ = ["chromium", "playwright"]
