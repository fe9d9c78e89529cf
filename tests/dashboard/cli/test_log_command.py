"""`coldshed log`, run as a person runs it: what was done is taken down, listed, taken back and told at another time."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.logbook import LogbookReader
from dashboard.panel import Panel
from tests.dashboard.cli.test_commands import SETTINGS, coldshed, yesterday_evening

PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(64))
"""The signature of ISO/IEC 15948 5.2; nobody looks at the rest."""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "coldshed.toml").write_text(SETTINGS, encoding="utf-8")
    done(tmp_path, "panel", "add", "Lid 4", "--surface", "L1")
    return tmp_path


def done(folder: Path, *words: str | Path) -> str:
    result = coldshed(folder, *words)
    assert result.returncode == 0, result.stderr
    return result.stdout


def lid(folder: Path) -> Panel:
    return LogbookReader(folder / "data" / "shop.db").panels()["lid-4"]


def test_a_planned_coat_is_mixed_weighed_and_put_on_hold(shop: Path) -> None:
    done(shop, "log", "plan", "Lid 4", "seal:invented-25min", "laminate:invented-25min")
    done(shop, "log", "coat", "Lid 4", "--resin-lot", "R7", "--bottles", "21")
    done(shop, "log", "weights", "Lid 4", "--resin", "300", "--hardener", "100", "--stirred")
    done(shop, "log", "hold", "Lid 4", "--reason", "which hardener was it?")
    panel = lid(shop)
    coat = panel.newest
    assert coat is not None
    assert (coat.kind, coat.card, coat.resin_lot) == ("seal", "invented-25min", "R7")
    assert (coat.pots[0].mass_g, coat.pots[0].stirred, coat.pots[0].bottles_C) == (400.0, True, 21.0)
    assert panel.hold is not None
    refused = coldshed(shop, "log", "hold", "Lid 4", "--reason", "again")
    assert refused.returncode == 1
    assert "on hold already" in refused.stderr


def test_an_entry_is_listed_taken_back_and_another_told_at_its_right_time(shop: Path) -> None:
    done(shop, "log", "coat", "Lid 4", "--card", "invented-25min")
    done(shop, "log", "note", "Lid 4", "windy")
    note, mixed = (line.split()[0] for line in done(shop, "log", "list", "Lid 4").splitlines()[:2])
    done(shop, "log", "back", "Lid 4", note, "--reason", "Wrong panel")
    evening, utc = yesterday_evening()
    done(shop, "log", "retime", "Lid 4", mixed, "--to", evening, "--reason", "Wrong time")
    told = done(shop, "log", "list", "Lid 4")
    assert "by command: Wrong panel" in told
    assert "time changed" in told
    newest = lid(shop).newest
    assert newest is not None
    assert newest.mixed_at == round(utc.timestamp() * 1000), "18:20 in Oslo is not 18:20 UTC"


def test_a_picture_is_kept_with_its_entry_and_what_is_none_is_refused(shop: Path) -> None:
    (shop / "lid.png").write_bytes(PNG)
    (shop / "lid.txt").write_text("a picture of a lid")
    done(shop, "log", "photo", "Lid 4", shop / "lid.png")
    book = LogbookReader(shop / "data" / "shop.db")
    kept = book.picture(str(book.events()[-1].body["digest"]))
    assert kept is not None
    assert (kept.type, kept.content) == ("image/png", PNG)
    refused = coldshed(shop, "log", "photo", "Lid 4", shop / "lid.txt")
    assert refused.returncode == 1
    assert "JPEG, PNG and WebP" in refused.stderr


def test_a_panel_nobody_has_is_named_with_those_there_are(shop: Path) -> None:
    result = coldshed(shop, "log", "sanded", "Lid 9")
    assert result.returncode == 1
    assert "Lid 4" in result.stderr
