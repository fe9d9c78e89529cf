"""The picture in README is not older than the page."""

from __future__ import annotations

from tests.browser.picture import MADE_FROM, PICTURE, ROOT, digest


def test_the_picture_was_made_from_what_the_page_is_now() -> None:
    """After a change of templates, style, words or demo: run .ci/picture, look at it, commit it."""
    assert MADE_FROM.read_text(encoding="ascii").strip() == digest(), (
        "run .ci/picture and look at the picture"
    )
    assert PICTURE.read_bytes().startswith(b"\x89PNG")
    assert str(PICTURE.relative_to(ROOT)) in (ROOT / "README.md").read_text(encoding="utf-8")
