"""The recorded samples of firmware_notes are read with the settings of the shipped example.

What its pages show is read in tests/firmware_notes.
"""

from __future__ import annotations

from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import get_args

import pytest

from collector import settings
from collector.arrival import Arrival, Decoded
from collector.decode import decoder_for
from tests.house.test_registry import TOPICS, sampled

NOTES = Path(__file__).parents[3] / "firmware_notes"
PAGE = (NOTES / "README.md").read_text(encoding="utf-8")
EXAMPLE = settings.parse(
    files("collector").joinpath("example.toml").read_text(encoding="utf-8"), Path("example.toml")
)
BY_KIND = {source.decode.kind: source.decode for source in EXAMPLE.source}
KINDS = {member.model_fields["kind"].annotation: member for member in get_args(get_args(settings.Decode)[0])}
NOW = int(datetime(2026, 11, 26, 12, tzinfo=UTC).timestamp() * 1000)
OF = TOPICS | {"modbus_registers": "1/input/1/2"}


def decode(kind: str, payload: bytes) -> Decoded:
    return decoder_for(BY_KIND[kind]).decode(Arrival("x", payload, NOW, topic=OF.get(kind, "")))


def payloads(kind: str) -> list[bytes]:
    return [arrival.payload for arrival in sampled(kind)]


def test_every_kind_has_a_decoder_an_example_a_sample_and_a_place_on_the_page() -> None:
    kinds = {get_args(annotation)[0] for annotation in KINDS}
    assert kinds == set(BY_KIND)
    for kind in kinds:
        assert payloads(kind)
        assert f"`{kind}`" in PAGE


@pytest.mark.parametrize("kind", sorted(BY_KIND))
def test_each_sample_is_read_without_a_refusal(kind: str) -> None:
    for payload in payloads(kind):
        decoded = decode(kind, payload)
        assert decoded.refused == []
        assert decoded.samples
        for sample in decoded.samples:
            assert -40 < sample.value <= 100
            assert sample.at is None or sample.at <= NOW
