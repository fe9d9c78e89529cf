"""`coldshed alarm` and `coldshed notify --test`: what the page does, from a terminal, with serve running or not."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.settings import load, parse
from dashboard.cli import alarms as command
from dashboard.cli import main
from dashboard.cli.check_notices import notice_findings
from dashboard.logbook import LogbookReader
from dashboard.notice_store import Attempt, NoticeStore
from tests.browser.fake_shop import MINUTE, NOW, ZONE, open_shop, too_cold
from tests.browser.serving import Served, free_port
from tests.dashboard.post_box import post_box
from tests.dashboard.test_alarm_pages import pot

COLD = too_cold().id


@pytest.fixture(autouse=True)
def at_ten_past_six(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "house_clock", lambda settings: SteppedClock(NOW))


@pytest.fixture
def settings(tmp_path: Path) -> Path:
    (tmp_path / "data").mkdir()
    shop = open_shop(tmp_path / "data")
    shop.save(alarms=(pot(),))
    shop.close()
    path = tmp_path / "coldshed.toml"
    path.write_text(f'site = "shed"\ntime_zone = "{ZONE}"\n', encoding="utf-8")
    return path


def alarm(settings: Path, *words: str) -> int:
    return main(["alarm", *words, "--settings", str(settings)])


def test_alarms_are_listed_by_state_and_the_exit_code_says_that_one_waits(
    settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert alarm(settings, "list") == 1
    out = capsys.readouterr().out
    assert out.startswith("Now\n  Pour Rib 1 out before 06:15; not seen yet, since 06:10, still on\n")
    assert f"    {COLD}\n" in out
    assert alarm(settings, "seen", COLD, "--who", "Kim") == 0
    assert alarm(settings, "seen", pot().id) == 0
    capsys.readouterr()
    assert alarm(settings, "list") == 0
    assert "Seen, still on" in capsys.readouterr().out


def test_quiet_and_off_are_entries_of_the_log(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    logbook = LogbookReader(settings.parent / "data" / "shop.db")
    assert alarm(settings, "quiet", COLD, "--minutes", "45") == 0
    assert logbook.events()[-1].body == {"alarm": COLD, "until": NOW + 45 * MINUTE, "reason": ""}
    assert alarm(settings, "loud", COLD) == 0
    assert alarm(settings, "off", COLD, "--reason", "heated tomorrow") == 0
    assert logbook.events()[-1].body == {"kind": "too cold", "of": "plug-7", "reason": "heated tomorrow"}
    assert alarm(settings, "on", COLD) == 0
    assert alarm(settings, "quiet", pot().id) == 1
    assert "a pot is never quiet" in capsys.readouterr().err
    assert alarm(settings, "seen", "sirens") == 1
    assert "no alarm is called 'sirens'" in capsys.readouterr().err


def test_while_serve_runs_it_is_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "data").mkdir()
    shop = open_shop(tmp_path / "data", port=free_port())
    served = Served(shop.app, shop.port)
    path = tmp_path / "coldshed.toml"
    path.write_text(f'site = "shed"\ntime_zone = "{ZONE}"\n[serve]\nport = {shop.port}\n', encoding="utf-8")
    for what, kind in (("quiet", "alarm shelved"), ("loud", "alarm unshelved"), ("off", "out of service"),
                       ("on", "in service"), ("seen", "alarm seen")):  # fmt: skip
        assert alarm(path, what, COLD) == 0, capsys.readouterr().err
        assert shop.logbook.events()[-1].kind == kind
    assert "logged by serve: Quiet until 06:40" in capsys.readouterr().out
    served.stop()
    shop.close()


def test_a_test_says_who_was_reached_and_who_was_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "coldshed.toml"
    with post_box() as box:
        (tmp_path / "kim").write_text(box.url, encoding="utf-8")
        path.write_text(
            f'site = "shed"\ntime_zone = "{ZONE}"\n[[notices.to]]\nname = "Kim"\nurl_file = "kim"\n'
            '[[notices.to]]\nname = "lamp"\nurl_env = "COLDSHED_NO_SUCH_LAMP"\n',
            encoding="utf-8",
        )
        assert main(["notify", "--test", "--settings", str(path)]) == 1
        out = capsys.readouterr().out
        assert out.splitlines()[0] == "Kim: told"
        assert "no address in the environment variable COLDSHED_NO_SUCH_LAMP" in out
        assert box.titles == ["Test: this notice reached you"]
    path.write_text(f'site = "shed"\ntime_zone = "{ZONE}"\n', encoding="utf-8")
    assert main(["notify", "--settings", str(path)]) == 1
    assert "no [notices] table" in capsys.readouterr().err


def test_check_tells_of_addresses_that_cannot_be_used_and_of_notices_that_did_not_arrive(
    tmp_path: Path,
) -> None:
    path = tmp_path / "coldshed.toml"
    text = f'site = "shed"\ntime_zone = "{ZONE}"\n[[notices.to]]\nname = "Kim"\nurl_file = "kim"\n'
    path.write_text(text, encoding="utf-8")
    (tmp_path / "data").mkdir()
    (tmp_path / "kim").write_text("telepathy://s3cr3t", encoding="utf-8")
    (tmp_path / "kim").chmod(0o600)
    store = NoticeStore(tmp_path / "data" / "notices.db")
    store.trying(Attempt("Kim", 7, NOW + 3 * MINUTE, "address 1 answers 500"))
    found = "\n".join(item.line() for item in notice_findings(load(path), NOW))
    assert "WRONG  notices to Kim: address 1 of Kim is none that the Apprise library knows" in found
    assert (
        "WRONG  notices to Kim: 7 tries in vain: address 1 answers 500: it is tried again in 3 min" in found
    )
    assert "s3cr3t" not in found
    (tmp_path / "kim").write_text("json://127.0.0.1:9/", encoding="utf-8")
    store.trying(Attempt("Kim"))
    store.close()
    found = "\n".join(item.line() for item in notice_findings(load(path), NOW))
    assert "WRONG" not in found
    assert list(notice_findings(parse('site = "shed"\ntime_zone = "UTC"\n', path), NOW)) == []


def test_settings_say_where_a_table_of_notices_is_wrong(tmp_path: Path) -> None:
    path = tmp_path / "coldshed.toml"
    head = f'site = "shed"\ntime_zone = "{ZONE}"\n'
    for table, said in (
        ('[[notices.to]]\nname = "Kim"\n', "either url_file or url_env"),
        ('[notices]\nto = []\n', "at least 1 item"),
        ('[[notices.to]]\nname = "Kim"\nurl_env = "A"\n[[notices.to]]\nname = "Kim"\nurl_env = "B"\n', "two are"),
        ('[[notices.to]]\nname = "Kim"\nurl = "json://x"\n', "unknown key"),
    ):  # fmt: skip
        with pytest.raises(ValueError, match=said):
            parse(head + table, path)
