"""What people see stands in dashboard/words or in the help files: no template and no script has words of its own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from dashboard import help_pages
from dashboard.words.glossary import GLOSSARY
from tests.dashboard.test_words import BANNED

ROOT = Path(__file__).parents[2] / "dashboard"
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
SCRIPTS = sorted((ROOT / "static").glob("*.js"))
SHOWN = re.compile(r"""\b(?:aria-label|alt|title|placeholder|label)=(["'])(.*?)\1""")
UNITS = {"°C", "°F", "px"}
"""What is the same in every tongue."""


def without_jinja(text: str) -> str:
    """Comments, statements and expressions cut out, and what is to be typed into a file as it stands."""
    text = re.sub(r"<(pre|code)[^>]*>.*?</\1>", "", text, flags=re.DOTALL)
    text = re.sub(r"{#.*?#}", "", text, flags=re.DOTALL)
    text = re.sub(r"{%.*?%}", "", text, flags=re.DOTALL)
    return re.sub(r"{{.*?}}", "", text, flags=re.DOTALL)


def words_of(template: str) -> list[str]:
    """Words between tags, and in attributes that are shown or read out."""
    plain = without_jinja(template)
    attributes = [found[1].replace("coldshed.toml", "") for found in SHOWN.findall(plain)]
    between = re.sub(r"<[^>]*>", " ", plain)
    return [
        word for word in re.findall(r"[A-Za-z°]{2,}", " ".join([between, *attributes])) if word not in UNITS
    ]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_template_has_words_of_its_own(path: Path) -> None:
    assert words_of(path.read_text(encoding="utf-8")) == []


def test_a_word_between_tags_or_in_a_label_would_be_found() -> None:
    assert words_of("<p class='x'>{{ t.a }} Hello</p>") == ["Hello"]
    assert words_of('<a aria-label="Go {{ x }}" href="/more/b">{% if "yes" %}{{ t.b }}{% endif %}</a>') == [
        "Go"
    ]
    assert words_of("{# a note #}<b>{{ 'inside' }}</b>") == []


def sentences_of(script: str) -> list[str]:
    """Strings of a script that read like something said: a capital, a blank and small letters, or an ellipsis."""
    bare = re.sub(r"(?<![:\"'`])//[^\n]*", "", script)
    strings = re.findall(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`', bare)
    texts = [re.sub(r"\${[^}]*}", "", one or other) for one, other in strings]
    return [text for text in texts if re.search(r"(^|\s)[A-Z][a-z]+ [a-z]+|[a-z]… *$|[a-z]{3,}[.?!]$", text)]


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_no_script_has_sentences_of_its_own(path: Path) -> None:
    assert sentences_of(path.read_text(encoding="utf-8")) == []


def test_a_sentence_in_a_script_would_be_found() -> None:
    assert sentences_of('show("Not sent: try again.")') == ["Not sent: try again."]
    assert sentences_of("label = `Worked out ${at}`") == ["Worked out "]
    assert sentences_of('// "Said here"\nfetch("/api/x", { headers: { "Content-Type": "a/b" } })') == []


@pytest.mark.parametrize("name", help_pages.names())
def test_no_banned_word_is_said_in_help(name: str) -> None:
    """Code and addresses are the program's, not ours to say."""
    text = help_pages.source(name).read_text(encoding="utf-8").lower()
    told = re.sub(r"```.*?```|^(?: {4}).*$|`[^`]*`|\]\([^)]*\)", " ", text, flags=re.DOTALL | re.MULTILINE)
    for word in BANNED:
        found = re.search(rf"(?<![a-z]){re.escape(word)}(?![a-z])", told)
        assert not found, f"{name}: {told[max(found.start() - 40, 0) : found.end() + 40]!r}"


def test_no_banned_word_is_said_in_the_glossary() -> None:
    for term in GLOSSARY:
        for word in BANNED:
            assert not re.search(
                rf"(?<![a-z]){re.escape(word)}(?![a-z])", f"{term.name} {term.says}".lower()
            ), term
