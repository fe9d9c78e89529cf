"""Finds the trade's words in a sentence, so that they lead to what they mean."""

from __future__ import annotations

import re
from collections.abc import Iterator

from markupsafe import Markup

from dashboard.words.glossary import GLOSSARY, Term

PAGE = "/help/glossary"


def anchor(name: str) -> str:
    """ "dew-point margin" as the end of an address."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")


def _forms() -> dict[str, Term]:
    terms = (term for term in GLOSSARY if not term.plain)
    return {form.lower(): term for term in terms for form in (term.name, *term.forms)}


_FORMS = _forms()
_ANY = re.compile(
    r"(?<![\w-])(?<!SD )("  # an SD card is no resin card
    + "|".join(re.escape(form) for form in sorted(_FORMS, key=len, reverse=True))
    + r")(?![\w-])",
    re.IGNORECASE,
)


def parts(text: str, seen: set[str]) -> Iterator[tuple[str, str | None]]:
    """The text in pieces, each with the address of what it means, or None. Each word once: `seen` is added to."""
    end = 0
    for found in _ANY.finditer(text):
        term = _FORMS[found[0].lower()]
        if term.name in seen:
            continue
        seen.add(term.name)
        if found.start() > end:
            yield text[end : found.start()], None
        yield found[0], f"{PAGE}#{anchor(term.name)}"
        end = found.end()
    if end < len(text):
        yield text[end:], None


def linked(text: str) -> Markup:
    """A sentence of a page with its trade words linked; all else is escaped."""
    return Markup("").join(
        Markup('<a class="term" href="{}">{}</a>').format(href, piece) if href else piece
        for piece, href in parts(text, set())
    )
