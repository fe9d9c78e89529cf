"""Row B62: settings that are wrong are refused with file, line and a hint, and a running night goes on without them."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from collector.last_good import good_copy, load_to_run
from collector.settings import SettingsError
from tests.collector.shops import probe, serial, shop_text
from tests.journeys.senders import Wire, usb
from tests.journeys.shop import opened, wait_until

GOOD = shop_text([serial("/dev/null"), probe("S1", "usb")])
FAULTS = {
    "unknown key": (GOOD.replace("interval_s", "intervall_s"), "did you mean 'interval_s'?"),
    "wrong type": (GOOD.replace("interval_s = 10", 'interval_s = "often"'), "valid number"),
    "duplicate probe": (GOOD + probe("S1", "usb"), "two probes are called 'S1'"),
    "unit missing": (GOOD.replace(', unit = "degC"', ""), "a number without its unit"),
    "half-written": (GOOD[: len(GOOD) // 2], "not TOML"),
    "empty": ("", "missing"),
    "not text": (GOOD.replace("invented", "inv\udcff"), "not UTF-8"),
}


@pytest.fixture
def settings(tmp_path: Path) -> Path:
    path = tmp_path / "coldshed.toml"
    path.write_text(GOOD, encoding="utf-8")
    return path


@pytest.mark.parametrize("fault", FAULTS)
def test_b62_a_person_gets_a_line_and_a_hint_and_a_supervisor_the_last_good_ones(
    fault: str, settings: Path, caplog: pytest.LogCaptureFixture
) -> None:
    good = load_to_run(settings, by_supervisor=True, keep=True)
    text, hint = FAULTS[fault]
    settings.write_bytes(text.encode("utf-8", errors="surrogateescape"))
    with pytest.raises(SettingsError) as refused:
        load_to_run(settings, by_supervisor=False, keep=True)
    assert hint in str(refused.value)
    assert str(refused.value).startswith(f"{settings}:")
    assert load_to_run(settings, by_supervisor=True, keep=True) == good
    assert hint in caplog.text
    assert str(good_copy(settings)) in caplog.text
    assert good_copy(settings).read_text(encoding="utf-8") == GOOD


def test_b62_without_a_good_copy_even_a_supervisor_is_refused(settings: Path) -> None:
    settings.write_text(GOOD[:40], encoding="utf-8")
    with pytest.raises(SettingsError, match="not TOML"):
        load_to_run(settings, by_supervisor=True, keep=True)


def test_b62_the_copy_follows_the_file_and_is_never_half_written(settings: Path) -> None:
    """Replaced by a rename, so that a power cut leaves the old copy or the new one."""
    load_to_run(settings, by_supervisor=False, keep=True)
    copy = good_copy(settings)
    before = copy.stat().st_ino
    load_to_run(settings, by_supervisor=False, keep=True)
    assert copy.stat().st_ino == before, "nothing new, nothing written"
    settings.write_text(GOOD.replace("10", "20"), encoding="utf-8")
    load_to_run(settings, by_supervisor=False, keep=True)
    assert copy.read_text(encoding="utf-8") == settings.read_text(encoding="utf-8")
    assert copy.stat().st_ino != before
    assert sorted(path.name for path in settings.parent.iterdir()) == ["coldshed.toml", "coldshed.toml.good"]


def test_b62_a_folder_that_cannot_be_written_only_costs_the_copy(
    settings: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A folder stands where the copy should: the process starts, and says what it lacks."""
    good_copy(settings).mkdir()
    assert load_to_run(settings, by_supervisor=True, keep=True).site == "invented"
    assert "no copy of the settings is kept" in caplog.text


def test_b62_a_file_saved_half_while_run_runs_does_not_end_the_night(tmp_path: Path) -> None:
    """The file is broken, then collect is killed: the next one goes on as before. Started by hand it is refused."""
    with Wire() as wire, opened(tmp_path, usb(wire.port)) as shop:
        run = shop.start("run")
        shop.ready()
        wait_until(lambda: bool(shop.stored("S1")), "the first readings")
        assert "WRONG" not in shop.do("check")
        text = shop.settings.read_text(encoding="utf-8")
        shop.settings.write_text(text[: len(text) // 2], encoding="utf-8")
        collect = run.children()["collect"]
        os.kill(collect, signal.SIGKILL)
        wait_until(lambda: run.children().get("collect", collect) != collect, "another collect")
        count = len(shop.stored("S1"))
        wait_until(lambda: len(shop.stored("S1")) > count + 2, "readings go on")
        assert "going on with the last good settings" in run.said()
        another = shop.start("collect")
        assert another.wait() == 1
        assert "not TOML" in another.said()
