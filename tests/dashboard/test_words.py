"""The text of the pages: every key can be said, and says it by the rules."""

from __future__ import annotations

import importlib
import pkgutil
import re
from collections.abc import Iterator
from string import Formatter
from zoneinfo import ZoneInfo

import pytest

from dashboard import words
from dashboard.display import View
from model.verdict import Flag, Kind, Say, State
from tests.browser.fake_shop import NOW

VALUES = {
    "by": NOW + 3_000_000,
    "from": NOW + 3_000_000,
    "at": NOW - 3_000_000,
    "C": 12.3,
    "K": 0.8,
    "h": 3.3,
    "g": 350,
    "gm2": 300,
    "mm": 2.4,
    "pc": 85,
}
BANNED = (
    "±",
    "median",
    "confidence",
    "chance",
    "% likely",
    "n/a",
    "probability",
    "ready",
    "band",
    "quantile",
    "member",
    "stalled",
    "readings stopped",
    "green",
)


def texts_of(value: object) -> Iterator[str]:
    """All texts of a table of words, however deep they stand."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from texts_of(inner)
    elif isinstance(value, (tuple, list)):
        for inner in value:
            yield from texts_of(inner)


MODULES = [
    importlib.import_module(f"dashboard.words.{found.name}") for found in pkgutil.iter_modules(words.__path__)
]
ALL_TEXTS = sorted(
    {
        text
        for module in MODULES
        for name, value in vars(module).items()
        if not name.startswith("__") and isinstance(value, dict)
        for text in texts_of(value)
    }
)
"""Also words of areas that nobody has listed anywhere."""


def example(key: str) -> Say:
    """A Say of `key` with a plausible value for each that it takes."""
    values = {}
    for name in words.takes(key):
        suffix = name.rpartition("_")[2] if "_" in name else ""
        values[name] = VALUES.get(suffix, words.CHOICES.get(name, ("S1",))[0])
    return Say(key, values)


@pytest.mark.parametrize("unit", ["degC", "degF"])
@pytest.mark.parametrize("key", sorted(words.KEYS))
def test_every_key_can_be_said_in_both_units(key: str, unit: str) -> None:
    text = View(ZoneInfo("Europe/Oslo"), unit, NOW).sentence(example(key))
    assert text
    assert "{" not in text
    assert text[0] == text[0].upper()


@pytest.mark.parametrize("key", sorted(words.HEADLINES))
def test_a_headline_has_at_most_twelve_words_and_no_full_stop(key: str) -> None:
    text = View(ZoneInfo("Europe/Oslo"), "degC", NOW).sentence(example(key))
    assert len(re.split(r"[ \u00a0]", text)) <= 12
    assert not text.endswith(".")


@pytest.mark.parametrize(
    "key", sorted(words.WHYS.keys() - {"why_too_old"} | words.NEXTS.keys() | words.CAUTIONS.keys())
)
def test_a_sentence_ends_with_a_full_stop(key: str) -> None:
    assert {**words.KEYS, **words.CAUTIONS}[key].endswith(".")


def test_no_banned_word_is_said_anywhere() -> None:
    assert {*words.KEYS.values(), *words.LABELS.values(), *words.RECORD.values()} <= set(ALL_TEXTS)
    for text in ALL_TEXTS:
        for word in BANNED:
            assert not re.search(
                rf"(?<![a-z]){re.escape(word)}(?![a-z])", re.sub(r"{.*?}", "", text.lower())
            ), (word, text)


def test_not_known_is_no_instruction_and_nothing_else_starts_like_it() -> None:
    for key, text in words.HEADLINES.items():
        assert text.startswith("Not known") == text.startswith("Not known: "), key


@pytest.mark.parametrize("key", sorted(words.KEYS))
def test_a_value_that_is_missing_is_an_error(key: str) -> None:
    said = example(key)
    for name in words.takes(key):
        fewer = Say(key, {other: value for other, value in said.values.items() if other != name})
        with pytest.raises(KeyError):
            View(ZoneInfo("UTC"), "degC", NOW).sentence(fewer)


def test_a_word_outside_its_choices_is_an_error() -> None:
    with pytest.raises(KeyError, match="falling, steady, rising"):
        View(ZoneInfo("UTC"), "degC", NOW).sentence(Say("why_panel", {"panel_C": 1.0, "trend": "plunging"}))


def test_every_state_and_kind_of_the_model_has_its_word() -> None:
    assert {kind.value for kind in Kind} <= words.LABELS.keys()
    unsaid = {State.NOT_KNOWN, State.CLOSED, State.SCRAPPED}
    assert {state.value for state in State if state not in unsaid} | {Flag.STOPPED_BY_COLD.value} == set(
        words.CHOICES["was"]
    )


def test_labels_take_only_what_pages_give_them() -> None:
    for text in words.LABELS.values():
        for _, name, _, _ in Formatter().parse(text):
            assert name is None or name.isalpha()


def test_no_word_of_one_area_hides_another_areas() -> None:
    assert sum(len(part) for part in words.PARTS) == len(words.LABELS)
