"""Help: every page is shown, leads nowhere outside, and the trade's words lead to what they mean."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from dashboard import help_pages
from dashboard.glossary import anchor, linked, parts
from dashboard.words.glossary import GLOSSARY
from tests.dashboard.client import Client

PAGES = ("/help", *(f"/help/{name}" for name in help_pages.names()), "/help/glossary")


class Links(HTMLParser):
    """All addresses and ids of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.hrefs: list[str] = []
        self.pictures: list[str] = []
        self.ids: list[str] = []
        self.headings: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {key: value or "" for key, value in attrs}
        self.hrefs += [said["href"]] if tag == "a" else []
        self.pictures += [said["src"]] if tag == "img" else []
        self.ids += [said["id"]] if "id" in said else []
        self.headings += [tag] if re.fullmatch("h[1-6]", tag) else []


def test_every_link_and_picture_of_help_leads_to_something_in_the_shop(client: Client) -> None:
    answers = {path: client.get(path) for path in PAGES}
    for path in PAGES:
        page = Links(answers[path].text)
        assert page.headings.count("h1") == 1
        assert len(page.ids) == len(set(page.ids))
        for href in page.hrefs:
            target, _, part = href.partition("#")
            assert not target or target.startswith("/"), href
            target = target or path
            answer = (
                answers.setdefault(target, client.get(target)) if target not in answers else answers[target]
            )
            assert answer.status_code == 200, href
            assert not part or part in Links(answer.text).ids, href
        for picture in page.pictures:
            answer = client.get(picture)
            assert answer.status_code == 200, picture
            assert answer.headers["content-type"].startswith("image/"), picture


def test_the_pages_are_their_files_and_nothing_is_left_out(client: Client) -> None:
    for name in help_pages.names():
        shown = re.sub(r"<[^>]*>", " ", client.get(f"/help/{name}").text)
        words = set(re.findall(r"[A-Za-z]{4,}", shown))
        text = help_pages.source(name).read_text(encoding="utf-8")
        told = re.sub(r"\]\([^)]*\)|^```\w+$|^\[//\]: # .*$", "", text, flags=re.MULTILINE)
        told = re.sub(r"!\[[^]]*", "", told)
        assert set(re.findall(r"[A-Za-z]{4,}", told)) - words == set(), name


def test_html_in_a_help_file_is_shown_not_obeyed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        help_pages, "source", lambda name: _Text("# T\n\n<script>alert(1)</script> & blush\n")
    )
    made = help_pages.page.__wrapped__("job")
    assert "<script" not in made.html
    assert "&lt;script&gt;" in made.html


class _Text:
    def __init__(self, text: str) -> None:
        self._text = text

    def read_text(self, encoding: str) -> str:
        return self._text


def test_a_search_finds_words_and_sections_and_says_when_there_is_nothing(client: Client) -> None:
    found = [hit.href for hit in help_pages.find("SOLVENT blush")]
    assert "/help/glossary#wash" in found
    assert "/help/safety#fire" not in found
    assert "/help/safety#fire" in [hit.href for hit in help_pages.find("solvent")]
    assert client.get("/help?find=SOLVENT blush").text.count('class="found"') == len(found)
    assert "Nothing found for “zzz”" in client.get("/help?find=zzz").text
    assert "<b>x</b>" not in client.get("/help?find=%3Cb%3Ex%3C/b%3E").text


def test_unknown_pages_and_pictures_are_said_to_be_missing(client: Client) -> None:
    assert client.get("/help/nowhere").status_code == 404
    for name in ("nothing.png", "..%2f..%2fpyproject.toml", "card_guide.md"):
        assert client.get(f"/help/pictures/{name}").status_code == 404, name


def test_a_trade_word_is_linked_once_where_it_first_stands() -> None:
    made = linked("Blush & dew point: blush again, and the dew point.")
    assert made == (
        '<a class="term" href="/help/glossary#amine-blush">Blush</a> &amp; '
        '<a class="term" href="/help/glossary#dew-point">dew point</a>: blush again, and the dew point.'
    )
    assert "<a" not in linked("Angel, regelled, sandables")


def test_the_glossary_is_in_order_and_no_form_means_two_things() -> None:
    names = [term.name.lower() for term in GLOSSARY]
    assert names == sorted(names)
    assert len({anchor(name) for name in names}) == len(names)
    forms = [form.lower() for term in GLOSSARY for form in (term.name, *term.forms)]
    assert len(forms) == len(set(forms))
    for term in GLOSSARY:
        assert term.says.endswith(".")
        assert term.says.count(". ") <= 2, f"{term.name}: one or two sentences"


def test_a_panels_why_leads_to_the_glossary(client: Client) -> None:
    page = client.get("/panels/lid-4").text
    assert '<a class="term" href="/help/glossary#dew-point">dew point</a>' in page


def test_a_memory_card_is_not_taken_for_a_resins() -> None:
    found = list(parts("An SD card beside the card.", set()))
    assert [piece for piece, href in found if href] == ["card"]
    assert found[0] == ("An SD card beside the ", None)
