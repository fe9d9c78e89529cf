"""`coldshed tonight`: what the pages say, in a terminal, with serve running or not."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.settings import load
from dashboard.cli import main
from dashboard.cli import tonight as command
from dashboard.cli.check_settings import forecast_findings
from dashboard.words import CAUTIONS, LABELS
from tests.browser.fake_shop import ZONE
from tests.dashboard.client import Client
from tests.dashboard.night_shop import HOUR, NOW, open_night
from tests.dashboard.test_tonight import outdoors_csv


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """20:07 on a winter evening; people leave at 21:00."""
    folder = tmp_path_factory.mktemp("evening")
    (folder / "data").mkdir()
    open_night(folder / "data").close()
    path = folder / "coldshed.toml"
    path.write_text(f'site = "shed"\ntime_zone = "{ZONE}"\n[shop]\nleave_at = "21:00"\n', encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def at_seven_past_eight(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "house_clock", lambda settings: SteppedClock(NOW))


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    capsys.readouterr()
    assert main(["tonight", *words]) == 0
    return capsys.readouterr().out


def test_the_shop_says_its_night_and_what_to_do_before_leaving(
    settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = told(capsys, "--settings", str(settings))
    assert "Shed: coldest hour about" in out
    assert "Too cold tonight: it will stop curing at" in out
    assert "Not known: S3 silent since" in out
    assert LABELS["before_leave"] in out
    assert "[ ] Plug 7: Warm it while you are here." in out
    assert "[ ] Rib 1: Check its probe: tonight is not known." in out


def test_a_what_if_says_what_the_page_says(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = {"hold": "28", "from": "20:15", "to": "23:00"}
    words = [word for key, value in asked.items() for word in (f"--{key}", value)]
    out = told(capsys, "Deck 2", "--settings", str(settings), *words)
    shop = open_shop_again(settings)
    page = shop.get("/tonight/deck-2?" + "&".join(f"{key}={value}" for key, value in asked.items())).text
    lines = [line.strip() for line in out.split(LABELS["if_you_do_this"])[1].splitlines() if line.strip()]
    assert any(line.startswith("Sand at") for line in lines)
    assert CAUTIONS["heater"] in lines, "it would run after 21:00"
    for line in lines:
        assert line in page.replace("&#39;", "'"), line


def open_shop_again(settings: Path) -> Client:
    """The pages over the same files."""
    from dashboard.app import create_app
    from dashboard.cards import CardShelf
    from dashboard.logbook import Logbook
    from dashboard.watch_store import WatchReader

    data, shelf = settings.parent / "data", CardShelf(None)
    logbook = Logbook(data / "shop.db", shelf.names).open()
    return Client(
        create_app(
            WatchReader(data / "watch.db", logbook), logbook, list, shelf.names, SteppedClock(NOW), "shed", ZONE,
            readings=data / "readings.db", card=shelf.get, leave_minute=21 * 60,
        )
    )  # fmt: skip


def test_least_heat_and_nonsense(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = told(capsys, "deck-2", "--settings", str(settings), "--least", "--to", "08:00")
    assert "\n  Hold " in out
    assert main(["tonight", "deck-2", "--settings", str(settings), "--hold", "warm"]) == 1
    assert "Hold between" in capsys.readouterr().err
    assert main(["tonight", "--settings", str(settings), "--hold", "20"]) == 1
    assert "name it" in capsys.readouterr().err
    assert main(["tonight", "Ghost", "--settings", str(settings)]) == 1
    assert "there are: Lid 4" in capsys.readouterr().err


def test_before_anything_ran_it_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "coldshed.toml"
    path.write_text(f'site = "shed"\ntime_zone = "{ZONE}"\n', encoding="utf-8")
    assert LABELS["night_empty"] in told(capsys, "--settings", str(path))


def test_the_check_says_whether_the_forecast_file_can_be_used(tmp_path: Path) -> None:
    path = tmp_path / "coldshed.toml"
    path.write_text(f'site = "shed"\ntime_zone = "{ZONE}"\n[forecast]\nfile = "out.csv"\n', encoding="utf-8")
    (missing,) = forecast_findings(load(path), NOW)
    assert (missing.level, "out.csv: cannot be read" in missing.what) == ("note", True)
    outdoors_csv(tmp_path / "out.csv", NOW - HOUR)
    (fine,) = forecast_findings(load(path), NOW)
    assert (fine.level, "Weather forecast of 19:07" in fine.what) == ("ok", True)
