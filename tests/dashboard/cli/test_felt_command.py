"""`coldshed panel felt`, `sure` and `hardness`: the same answer as the pages give, with serve and without."""

from __future__ import annotations

import subprocess
import sysconfig
from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.steady_clock import SteadyClock, this_machine
from dashboard.entry import coat_event, register_event
from tests.browser.fake_shop import HOUR, FakeShop, open_shop, warm_night
from tests.browser.serving import Served, free_port
from tests.dashboard.client import new_id

SCRIPT = Path(sysconfig.get_paths()["scripts"]) / "coldshed"


def coldshed(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [SCRIPT, "panel", *words], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )


def house(folder: Path) -> FakeShop:
    """One coat of ten hours in a warm room, up to the machine's own time; its shop is left open."""
    (folder / "data").mkdir()
    now, port = SteadyClock(this_machine()).now(), free_port()
    shop = open_shop(
        folder / "data", SteppedClock(now), port, filled=False, heard=True, sent=lambda _: warm_night(now),
    )  # fmt: skip
    at = now - 10 * HOUR
    shop.logbook.append(register_event(new_id(), at, "Kim", "Rib 1", "shed", "S1", "A1", "wood", {}))
    shop.logbook.append(coat_event(new_id(), at, now, "Kim", "rib-1", "invented-25min", at))
    probes = "".join(
        f'[[probe]]\nid = "{name}"\nsource = "usb"\nzone = "shed"\nplace = "{place}"\ninterval_s = 30\n'
        for name, place in (("S1", "surface"), ("A1", "air"))
    )
    (folder / "coldshed.toml").write_text(
        f'site = "s"\ntime_zone = "UTC"\n[serve]\nport = {port}\n[[source]]\nid = "usb"\nkind = "serial"\n'
        'port = "/dev/none"\nbaud = 9600\n[source.decode]\nkind = "text_line"\n'
        'field = [{ key = "T", quantity = "temperature", unit = "degC" }]\n' + probes,
        encoding="utf-8",
    )
    return shop


@pytest.mark.parametrize("served", [False, True], ids=["without serve", "with serve"])
def test_a_test_is_answered_and_an_unlikely_one_confirmed(tmp_path: Path, served: bool) -> None:
    shop = house(tmp_path)
    if served:
        server = Served(shop.app, shop.port)
    else:
        shop.close()
    told = coldshed(tmp_path, "felt", "Rib 1", "--found", "soft rubber")
    assert told.returncode == 0, told.stderr
    assert " later; range now " in told.stdout
    asked = coldshed(tmp_path, "felt", "Rib 1", "--found", "wet")
    assert "Sure? Then: coldshed panel sure NAME" in asked.stdout
    sure = coldshed(tmp_path, "sure", "Rib 1")
    assert sure.returncode == 0, sure.stderr
    again = coldshed(tmp_path, "sure", "Rib 1")
    assert again.returncode == 1
    assert "waits to be confirmed" in again.stderr
    hard = coldshed(tmp_path, "hardness", "Rib 1", "--value", "71", "--on", "tile", "--warm", "20.5")
    assert hard.returncode == 0, hard.stderr
    missing = coldshed(tmp_path, "hardness", "Rib 1", "--value", "71")
    assert "needs --value and --warm" in missing.stderr
    if served:
        (coat,) = shop.logbook.panels()["rib-1"].coats
        assert [test.sure for test in coat.thumb_tests] == [True, True]
        assert [(test.value, test.on, test.at_C) for test in coat.hardness] == [(71.0, "tile", 20.5)]
        server.stop()
        shop.close()
