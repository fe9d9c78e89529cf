"""What a builder reads is what the program does: payloads, settings, commands, limits and links on every page."""

from __future__ import annotations

import re
import tomllib
import xml.etree.ElementTree as ElementTree
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from collector import settings
from collector.app import HANGS_S as SOURCE_HANGS_S
from collector.arrival import Arrival
from collector.decode import decoder_for
from collector.decode.senml import MAX_RECORDS
from collector.decode.text_line import MAX_LINE
from collector.recording import parse_line
from collector.supervise import HANGS_S
from dashboard.cli import parser
from tests.house.test_registry import TOPICS

NOTES = Path(__file__).parents[2] / "firmware_notes"
PAGES = {str(path.relative_to(NOTES)): path.read_text(encoding="utf-8") for path in NOTES.rglob("*.md")}
EXAMPLE = settings.parse(
    files("collector").joinpath("example.toml").read_text(encoding="utf-8"), Path("example.toml")
)
DECODE: dict[str, Any] = {source.decode.kind: source.decode for source in reversed(EXAMPLE.source)}
RECEIVED = 1_795_730_000_000
"""After the times on the pages."""
BLOCKS = [
    (page, kind, body)
    for page, text in PAGES.items()
    for kind, body in re.findall(r"^```(\w*)\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
]
HEAD = 'site = "invented"\ntime_zone = "Europe/Oslo"\n'


def test_every_block_says_what_it_is() -> None:
    """So that none escapes the tests below; a payload must not hide in an indented block either."""
    assert {kind for _, kind, _ in BLOCKS} <= DECODE.keys() | {"toml", "sh", "conf"}
    assert {kind for _, kind, _ in BLOCKS} >= {"text_line", "senml", "json_map", "logger_csv"}
    for page, text in PAGES.items():
        outside = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)
        assert not re.search(r"^(    |\t)(\S+ \w+=|[\[{]|\$)", outside, re.MULTILINE), page


def sent(kind: str, body: str) -> list[Arrival]:
    """A block as its source would hand it on: line by line, a recording's arrivals, or one file or message."""
    if kind == "modbus_registers":
        return [arrival for line in body.splitlines() if (arrival := parse_line(line.encode()))]
    parts = body.splitlines() if kind in ("text_line", "nmea_xdr") else [body]
    return [Arrival(kind, part.encode(), RECEIVED, TOPICS.get(kind, "")) for part in parts]


@pytest.mark.parametrize(("page", "kind", "body"), [block for block in BLOCKS if block[1] in DECODE])
def test_each_payload_is_read_with_the_settings_of_the_shipped_example(
    page: str, kind: str, body: str
) -> None:
    decoder = decoder_for(DECODE[kind])
    arrivals = sent(kind, body)
    assert arrivals
    for arrival in arrivals:
        decoded = decoder.decode(arrival)
        # One reading may be missing from a payload: that is counted, and the others stand.
        assert {refusal.kind for refusal in decoded.refused} <= {"missing field"}, (page, arrival.payload)
        assert decoded.samples, (page, arrival.payload)
        assert all(-40 < sample.value <= 100 for sample in decoded.samples)


@pytest.mark.parametrize(
    ("kind", "body"), [(kind, body) for _, kind, body in BLOCKS if kind in DECODE.keys() - {"logger_csv"}]
)
def test_no_payload_that_is_cut_short_is_taken_for_a_whole_one(kind: str, body: str) -> None:
    """At every byte; a line of text only if its checksum is asked for, as the page says."""
    decode = DECODE[kind]
    if kind == "text_line":
        decode = decode.model_copy(update={"checksum": True})
    decoder = decoder_for(decode)
    for arrival in sent(kind, body):
        whole = {(sample.name, sample.value) for sample in decoder.decode(arrival).samples}
        last = len(arrival.payload.rstrip())
        for end in range(last):
            found = decoder.decode(arrival._replace(payload=arrival.payload[:end])).samples
            assert {(sample.name, sample.value) for sample in found} <= whole, arrival.payload[:end]
            assert kind == "w1_slave" or not found, arrival.payload[:end]


@pytest.mark.parametrize(("page", "body"), [(page, body) for page, kind, body in BLOCKS if kind == "toml"])
def test_each_table_of_settings_is_one_that_the_program_takes(page: str, body: str) -> None:
    """A decode table alone is that of the shipped example."""
    raw = tomllib.loads(body)
    if isinstance(raw["source"], dict):
        decode: Any = TypeAdapter(settings.Decode).validate_python(raw["source"]["decode"])
        assert decode in [source.decode for source in EXAMPLE.source]
    else:
        assert settings.parse(HEAD + body, Path("coldshed.toml")).source


def test_each_command_that_is_named_is_one_that_there_is() -> None:
    commands = next(
        action.choices for action in parser()._actions if action.dest == "command" and action.choices
    )
    named = {word for text in PAGES.values() for word in re.findall(r"`coldshed ([a-z]+)", text)}
    assert named
    assert named <= set(commands)


def test_each_link_and_drawing_is_there() -> None:
    for page, text in PAGES.items():
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert (NOTES / page).parent.joinpath(target).is_file(), (page, target)
    index = PAGES["README.md"]
    assert all(page == "README.md" or f"({page})" in index for page in PAGES), "a page nobody finds"


@pytest.mark.parametrize("path", sorted(NOTES.glob("*.svg")), ids=lambda path: path.name)
def test_each_drawing_is_one_file_with_words_for_those_who_cannot_see_it(path: Path) -> None:
    root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
    space = "{http://www.w3.org/2000/svg}"
    assert root.find(f"{space}title") is not None
    assert len((root.find(f"{space}desc").text or "").split()) > 20  # type: ignore[union-attr]
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    for element in root.iter():
        assert "href" not in "".join(element.attrib), "it must stand alone"
        if element.tag == f"{space}text":
            assert 0 <= float(element.attrib["x"]) < width
            assert 0 < float(element.attrib["y"]) < height
            size = float(element.attrib.get("font-size", 14))
            assert float(element.attrib["x"]) + 0.62 * size * len(element.text or "") < width + 40, (
                element.text
            )


@pytest.mark.parametrize(
    ("page", "says"),
    [
        ("README.md", f"{MAX_RECORDS:,} records"),
        ("firmware.md", f"At most {MAX_LINE} bytes"),
        ("firmware.md", "before 2000"),
        ("systemd/install.md", f"within {HANGS_S:.0f} s"),
    ],
)
def test_each_limit_is_the_programs(page: str, says: str) -> None:
    assert says in PAGES[page]
    assert SOURCE_HANGS_S >= HANGS_S
