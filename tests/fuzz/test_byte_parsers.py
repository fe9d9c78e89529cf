"""No bytes that anybody sends or leaves in a file break a reader: FAULTS section B, rows 1 to 5, 15, 18, 30, 62."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.settings import Decode
from collector.source_tables import tables_of
from tests.fuzz.ours import OURS
from tests.fuzz.targets import ROOT, TARGETS

EXAMPLES = 100
MAKES_VALUES = {
    "loads",
    "from_json",
    "model_validate_json",
    "from_bytes",
    "fromhex",
    "reader",
    "unpack",
    "read_bytes",
    "recv",
    "decode",
    "body",
    "b64decode",
    "SimpleCookie",
    "json.load",
    "tomllib.load",
    "DictReader",
    "unpack_from",
    "iter_unpack",
    "frombuffer",
    "decompress",
    "ZipFile",
    "fromstring",
    "read_text",
    "readline",
    "multi_items",
    "getlist",
    "parse_qsl",
}
"""Names of calls that make values of bytes, of a file's text, or of an address; some only by what they belong to."""
PIECES = st.sampled_from(
    [
        b"\0",
        b"\n",
        b'"',
        b",",
        b"[",
        b"{",
        b"}",
        b"]",
        b"nan",
        b"1e999",
        b"-",
        b"\xff",
        b"\xef\xbb\xbf",
        b"=",
        b"*",
        b"0" * 40,
    ]
) | st.binary(max_size=3)


def calls(path: Path) -> Iterator[str]:
    """The names of all that a module calls, without what stands before the dot and with it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func)
            yield from (name, name.rpartition(".")[2])


def readers() -> set[str]:
    """Every module of the product that makes values of bytes."""
    return {
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for package in ("collector", "model", "dashboard")
        for path in (ROOT / package).rglob("*.py")
        if MAKES_VALUES & set(calls(path))
    }


def test_every_reader_of_bytes_is_a_target_or_reads_what_we_wrote() -> None:
    fed = {module for target in TARGETS.values() for module in target.reads}
    assert not readers() - fed - set(OURS), "give each a target in targets.py, or a reason in ours.py"
    assert not set(OURS) - readers(), "these read no bytes any more"
    assert not set(OURS) & fed


def test_every_way_to_decode_is_a_target() -> None:
    assert set(tables_of(Decode)) <= set(TARGETS), "give the new kind a target in targets.py"


@st.composite
def spoilt(draw: st.DrawFn, seed: bytes) -> bytes:
    """Good input with a few pieces put in, taken out or doubled."""
    data = seed
    for _ in range(draw(st.integers(0, 4))):
        start = draw(st.integers(0, len(data)))
        end = draw(st.integers(start, min(len(data), start + 8)))
        data = data[:start] + draw(PIECES | st.just(data[start:end] * 2)) + data[end:]
    return data


def bytes_for(seeds: tuple[bytes, ...]) -> st.SearchStrategy[bytes]:
    return st.binary(max_size=300) | st.one_of([spoilt(seed) for seed in seeds])


def feed(name: str, examples: int) -> None:
    """Feeds one target; what it raises is the failure, with the bytes that did it."""
    target = TARGETS[name]

    @settings(max_examples=examples, database=None)
    @given(bytes_for(target.seeds))
    def fed(data: bytes) -> None:
        target.feed(data)

    fed()


@pytest.mark.parametrize("name", TARGETS)
def test_no_bytes_break_it(name: str) -> None:
    for seed in TARGETS[name].seeds:
        TARGETS[name].feed(seed)
    feed(name, EXAMPLES)


@pytest.mark.parametrize("name", TARGETS)
@pytest.mark.parametrize("piece", [b"[", b'{"a":', b"9", b"\xff", b",", b"\n"])
def test_a_body_of_one_thing_alone_does_not_break_it(name: str, piece: bytes) -> None:
    """Deep nesting, a number of many digits, and rows of nothing."""
    for head in (b"", *TARGETS[name].seeds):
        TARGETS[name].feed(head[: len(head) // 2] + piece * (20_000 // len(piece)))
