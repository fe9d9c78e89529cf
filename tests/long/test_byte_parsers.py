"""The same readers with many more bytes."""

from __future__ import annotations

import pytest

from tests.fuzz.targets import TARGETS
from tests.fuzz.test_byte_parsers import feed


@pytest.mark.parametrize("name", TARGETS)
def test_no_bytes_break_it_in_twenty_thousand_tries(name: str) -> None:
    feed(name, 20_000)
