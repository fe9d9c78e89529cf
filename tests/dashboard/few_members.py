"""Fewer members of the range, for tests that compare two answers."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache, partial

import pytest

from dashboard import coat_course
from model.calibration import card_members

FEW = 16


@pytest.fixture(scope="module", autouse=True)
def few_members() -> Iterator[None]:
    """Whether two answers are the same does not hang on how many members they have."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(coat_course, "card_members", partial(card_members, n=FEW))
        patch.setattr(coat_course, "_calibrated", lru_cache(maxsize=64)(coat_course._calibrated.__wrapped__))
        yield
