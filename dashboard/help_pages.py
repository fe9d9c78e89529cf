"""The pages of Help: the Markdown files of dashboard/help and firmware_notes, turned into HTML when first asked for.

They hold no HTML and no address of another machine. Of each page the trade's words are linked where they first occur.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.resources
import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources.abc import Traversable

from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token
from markdown_it.utils import EnvType, OptionsDict
from markupsafe import Markup

from dashboard.glossary import anchor, parts
from dashboard.words.glossary import GLOSSARY

SHOP, PROBES = "dashboard", "firmware_notes"
_FILES = {
    "job": (SHOP, "help/job.md"),
    "answers": (SHOP, "help/answers.md"),
    "safety": (SHOP, "help/safety.md"),
    "placement": (PROBES, "placement.md"),
    "card-guide": (SHOP, "help/card_guide.md"),
    "forecast-file": (SHOP, "help/forecast_file.md"),
    "witness-tiles": (SHOP, "help/witness_tiles.md"),
    "backup": (SHOP, "help/backup.md"),
    "door": (SHOP, "help/door.md"),
    "wiring": (PROBES, "wiring.md"),
    "firmware": (PROBES, "firmware.md"),
    "payloads": (PROBES, "README.md"),
    "broker": (PROBES, "broker.md"),
    "verdicts": (PROBES, "verdicts.md"),
    "install": (PROBES, "systemd/install.md"),
    "servers": (SHOP, "help/servers.md"),
    "benchmarks": (SHOP, "help/benchmarks.md"),
    "many-halls": (SHOP, "help/many_halls.md"),
}
"""By its address where each page stands, in the order of the contents."""
FOR_BUILDERS = (
    "wiring", "firmware", "payloads", "broker", "verdicts", "install", "servers", "benchmarks", "many-halls"
)  # fmt: skip
"""Pages for whoever builds probes and sets up the shop computer."""


@dataclass(frozen=True)
class Section:
    """What stands under one heading; `anchor` is its place on the page, `text` its words without any marks."""

    anchor: str
    title: str
    level: int
    text: str


@dataclass(frozen=True)
class HelpPage:
    """One page, ready to show."""

    name: str
    title: str
    html: Markup
    sections: tuple[Section, ...]


@dataclass(frozen=True)
class Hit:
    """Where a search found its words: the address, the headings, and the words around."""

    href: str
    title: str
    section: str
    text: str


def names() -> tuple[str, ...]:
    """All pages in the order of the contents."""
    return tuple(_FILES)


def addresses() -> list[str]:
    """All of help that a device keeps: contents, pages, glossary and pictures."""
    pictures = (file.name for folder in _picture_folders() for file in folder.iterdir())
    shown = sorted(name for name in pictures if name.endswith((".png", ".svg")))
    pages = ["/help", "/help/glossary", *(f"/help/{name}" for name in names())]
    return pages + [f"/help/pictures/{name}" for name in shown]


def digest() -> str:
    """SHA-256 of all that the pages are made of, hexadecimal."""
    total = hashlib.sha256(repr(GLOSSARY).encode())
    for name in names():
        total.update(source(name).read_bytes())
    for folder in _picture_folders():
        for file in sorted(folder.iterdir(), key=lambda one: one.name):
            total.update(file.read_bytes() if file.name.endswith((".png", ".svg")) else b"")
    return total.hexdigest()


def _picture_folders() -> tuple[Traversable, ...]:
    return importlib.resources.files(SHOP) / "help", importlib.resources.files(PROBES)


def source(name: str) -> Traversable:
    """The file of a page. Raises KeyError for a page that does not exist."""
    package, path = _FILES[name]
    return importlib.resources.files(package).joinpath(*path.split("/"))


def picture(name: str) -> bytes | None:
    """A picture of the pages by its file's name, PNG or SVG; None if there is none of that name."""
    if not re.fullmatch(r"[a-z0-9_]+\.(png|svg)", name):
        return None
    for folder in _picture_folders():
        if (file := folder / name).is_file():
            return file.read_bytes()
    return None


@functools.cache
def page(name: str) -> HelpPage:
    """One page. Raises KeyError for a page that does not exist."""
    text = source(name).read_text(encoding="utf-8")
    reader = MarkdownIt("commonmark", {"html": False}, renderer_cls=_Renderer).enable("table")
    tokens = reader.parse(text)
    sections = _sections(tokens)
    for token in tokens:
        for child in token.children or []:
            _lead_inside(child)
    _link_terms(tokens)
    html = reader.renderer.render(tokens[3:], reader.options, {})
    return HelpPage(name, sections[0].title, Markup(html), sections)


def find(asked: str) -> list[Hit]:
    """Sections and words of the glossary in which all words asked for stand, pages in their order; nothing for none."""
    wanted = asked.lower().split()
    if not wanted:
        return []
    hits = [
        Hit(f"/help/{name}#{section.anchor}", page(name).title, section.title, _around(section.text, wanted))
        for name in names()
        for section in page(name).sections
        if all(word in f"{section.title} {section.text}".lower() for word in wanted)
    ]
    terms = [
        Hit(f"/help/glossary#{anchor(term.name)}", "", term.name, term.says)
        for term in GLOSSARY
        if all(word in f"{term.name} {' '.join(term.forms)} {term.says}".lower() for word in wanted)
    ]
    return terms + hits


def _around(text: str, wanted: Sequence[str], width: int = 80) -> str:
    at = max(text.lower().find(wanted[0]), 0)
    begin = text.rfind(" ", 0, max(at - width, 0)) + 1
    cut = text[begin : at + width]
    end = cut if at + width >= len(text) else cut.rpartition(" ")[0] + " …"
    return ("… " if begin else "") + end


def _sections(tokens: Sequence[Token]) -> tuple[Section, ...]:
    """Headings with what stands under them; gives each heading its id. Raises ValueError without a title on top."""
    if not tokens or tokens[0].tag != "h1":
        raise ValueError("a help page begins with its title, '# …'")
    found: list[tuple[Token, str, list[str]]] = []
    taken: set[str] = set()
    for index, token in enumerate(tokens):
        if token.type == "heading_open":
            title = _plain(tokens[index + 1])
            ident = anchor(title)
            while ident in taken:
                ident += "-2"
            taken.add(ident)
            token.attrSet("id", ident)
            found.append((token, title, []))
        elif token.type in ("inline", "fence", "code_block") and tokens[index - 1].type != "heading_open":
            found[-1][2].append(_plain(token))
    return tuple(
        Section(str(token.attrGet("id")), title, int(token.tag[1]), " ".join(texts))
        for token, title, texts in found
    )


def _plain(token: Token) -> str:
    if token.children is None:
        return " ".join(token.content.split())
    pieces = (" " if child.type in ("softbreak", "hardbreak") else child.content for child in token.children)
    return "".join(pieces)


def _lead_inside(token: Token) -> None:
    """A link or a picture of a file beside this one leads to its page or its picture."""
    if token.type == "link_open":
        path, _, part = str(token.attrGet("href")).partition("#")
        by_file = {file.rpartition("/")[2]: name for name, (_, file) in _FILES.items()}
        if path.rpartition("/")[2] in by_file:
            token.attrSet("href", f"/help/{by_file[path.rpartition('/')[2]]}" + (f"#{part}" if part else ""))
    elif token.type == "image":
        token.attrSet("src", f"/help/pictures/{str(token.attrGet('src')).rpartition('/')[2]}")


def _link_terms(tokens: Sequence[Token]) -> None:
    seen: set[str] = set()
    for before, token in itertools.pairwise(tokens):
        if token.type == "inline" and token.children and before.type != "heading_open":
            depth, made = 0, []
            for child in token.children:
                depth += child.nesting if child.tag in ("a", "strong") else 0  # bold: the name of a button
                made += _with_terms(child, seen) if child.type == "text" and not depth else [child]
            token.children = made


def _with_terms(text: Token, seen: set[str]) -> list[Token]:
    made = []
    for piece, href in parts(text.content, seen):
        word = Token("text", "", 0, content=piece)
        if href:
            link = Token("link_open", "a", 1, attrs={"class": "term", "href": href})
            made += [link, word, Token("link_close", "a", -1)]
        else:
            made.append(word)
    return made


class _Renderer(RendererHTML):
    """As the library draws it, but a table or a block too wide for a phone scrolls by itself, also by keyboard."""

    def table_open(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        heads = [token for token in tokens[idx : idx + 6] if token.type == "inline"]
        label = Markup.escape(_plain(heads[0]) if heads else "")
        return f'<div class="scroll" role="group" tabindex="0" aria-label="{label}">\n<table>\n'

    def table_close(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        return "</table>\n</div>\n"

    def fence(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        return _block(tokens[idx].content)

    def code_block(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        return _block(tokens[idx].content)


def _block(text: str) -> str:
    return f'<pre class="scroll" tabindex="0"><code>{Markup.escape(text)}</code></pre>\n'
