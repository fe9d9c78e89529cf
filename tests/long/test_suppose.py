"""What-ifs in many invented sheds: heat that opens and shuts nothing later, caps that hold."""

from __future__ import annotations

import pytest

from tests.dashboard.test_suppose import holds_for


@pytest.mark.parametrize("seed", range(100, 200))
def test_in_any_shed_heat_keeps_its_word(seed: int) -> None:
    holds_for(seed)
