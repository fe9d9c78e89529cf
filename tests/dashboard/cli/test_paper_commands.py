"""`coldshed round` and `coldshed labels`, over real files and without serve."""

from __future__ import annotations

import subprocess
import sysconfig
from pathlib import Path

import pytest

from collector.clock import SteppedClock
from tests.browser.fake_shop import MINUTE, answer, open_shop, recoat, register

SCRIPT = Path(sysconfig.get_paths()["scripts"]) / "coldshed"


def coldshed(folder: Path, *words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [SCRIPT, *words], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """Settings, and two panels in two zones with answers good as of the machine's own time."""
    (tmp_path / "data").mkdir()
    now = _now()
    shop = open_shop(tmp_path / "data", SteppedClock(now), filled=False)
    for name, zone in (("Lid 4", "shed"), ("Hull 1", "hall")):
        panel = register(shop, name, 2, zone)
        shop.save(answer(panel, name, recoat(now + 50 * MINUTE, now + 70 * MINUTE), now))
    shop.close()
    settings(tmp_path, "")
    return tmp_path


def _now() -> int:
    from collector.steady_clock import SteadyClock, this_machine

    return SteadyClock(this_machine()).now()


def settings(folder: Path, serve: str) -> None:
    text = f'site = "Invented shed"\ntime_zone = "Europe/Oslo"\n[serve]\nport = 8137\n{serve}'
    (folder / "coldshed.toml").write_text(text, encoding="utf-8")


def test_the_round_is_told_panel_by_panel_and_by_zone(house: Path) -> None:
    told = coldshed(house, "round")
    assert told.returncode == 0, told.stderr
    assert "2 of 2 known" in told.stdout
    assert "Lid 4 · 2 coats (shed)\n  Recoat before " in told.stdout
    assert "Good until " in told.stdout
    hall = coldshed(house, "round", "--zone", "hall")
    assert "Hull 1" in hall.stdout
    assert "Lid 4" not in hall.stdout
    wrong = coldshed(house, "round", "--zone", "attic")
    assert (wrong.returncode, wrong.stdout) == (1, "")
    assert "zones: hall, shed" in wrong.stderr


def test_the_sheet_is_one_file_with_everything_in_it(house: Path) -> None:
    told = coldshed(house, "round", "--html", "round.html")
    assert told.returncode == 0, told.stderr
    text = (house / "round.html").read_text(encoding="utf-8")
    assert text.count('class="box"') == 2
    assert "@page" in text
    for outward in ("<script", "<link", "href=", "src="):
        assert outward not in text


def test_before_anything_ran_the_round_is_empty_and_says_so(tmp_path: Path) -> None:
    settings(tmp_path, "")
    told = coldshed(tmp_path, "round")
    assert told.returncode == 0, told.stderr
    assert "No readings. 0 of 0 known." in told.stdout


def test_labels_need_an_address_that_a_phone_can_open(house: Path) -> None:
    for serve, why in (("", "no address"), ('public_url = "http://127.0.0.1:8137"', "to itself")):
        settings(house, serve)
        told = coldshed(house, "labels", "--html", "labels.html")
        assert told.returncode == 1
        assert why in told.stderr
        assert "public_url" in told.stderr
        assert not (house / "labels.html").exists()
        assert told.stdout.count("(no address)") == 2, "the letters are told all the same"


def test_labels_of_the_panels_named_are_written_in_their_order(house: Path) -> None:
    settings(house, 'public_url = "http://shed.lan:8137"')
    told = coldshed(house, "labels", "lid-4", "Hull 1", "--html", "labels.html")
    assert told.returncode == 0, told.stderr
    codes = [line.split()[0] for line in told.stdout.splitlines()[:2]]
    text = (house / "labels.html").read_text(encoding="utf-8")
    assert text.count('class="qr"') == 2
    assert text.index(codes[0]) < text.index(codes[1])
    assert f"http://shed.lan:8137/p/{codes[0]}" in told.stdout
    wrong = coldshed(house, "labels", "Boat")
    assert wrong.returncode == 1
    assert "there are: Lid 4, Hull 1" in wrong.stderr


def test_an_address_with_a_path_is_refused_with_file_line_and_key(house: Path) -> None:
    settings(house, 'public_url = "http://shed.lan:8137/pages"')
    told = coldshed(house, "check", "settings")
    assert told.returncode == 1
    assert "coldshed.toml:5" in told.stdout + told.stderr
    assert "write 'http://shed.lan:8137'" in told.stdout + told.stderr


def test_check_names_an_address_that_leads_a_phone_to_itself(house: Path) -> None:
    settings(house, 'public_url = "http://localhost:8137"')
    told = coldshed(house, "check", "settings")
    assert "leads a phone to itself" in told.stdout
    settings(house, 'public_url = "http://shed.lan:8137"')
    assert "leads a phone" not in coldshed(house, "check", "settings").stdout
