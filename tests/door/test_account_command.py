"""`coldshed account`, and that nothing is served to others before somebody has an account."""

from __future__ import annotations

import io
import re
import signal
import subprocess
import sysconfig
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from collector import settings as settings_file
from dashboard.cli import main
from dashboard.cli.check_settings import door_findings
from tests.browser.serving import free_port, until
from tests.dashboard.cli.test_commands import SETTINGS
from tests.door.house import PASSWORD, PIN

SCRIPT = Path(sysconfig.get_paths()["scripts"]) / "coldshed"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "coldshed.toml").write_text(SETTINGS, encoding="utf-8")
    return tmp_path


def account(monkeypatch: pytest.MonkeyPatch, shop: Path, *words: str, typed: str = "") -> int:
    monkeypatch.setattr("sys.stdin", io.StringIO(typed + "\n"))
    return main(["account", *words, "--settings", str(shop / "coldshed.toml")])


def serve_under(shop: Path, table: str) -> None:
    (shop / "coldshed.toml").write_text(SETTINGS + f"\n[serve]\n{table}\n", encoding="utf-8")


@pytest.mark.parametrize(
    "table", ['host = "0.0.0.0"', 'host = "::"', 'host = "192.0.2.7"', 'public_url = "http://shed.lan:8137"']
)
def test_nothing_is_served_to_others_before_somebody_has_an_account(
    shop: Path, capsys: pytest.CaptureFixture[str], table: str
) -> None:
    serve_under(shop, table)
    assert main(["serve", "--settings", str(shop / "coldshed.toml")]) == 1
    told = capsys.readouterr().err
    assert "coldshed account add NAME --role manage" in told
    assert table.partition('"')[2].rstrip('"') in told
    assert not (shop / "data" / "house.key").exists()
    found = list(door_findings(settings_file.load(shop / "coldshed.toml")))
    assert [item.level for item in found] == ["WRONG"]


@pytest.mark.parametrize("of", ["the shipped example", "settings that say nothing of it"])
def test_settings_as_they_come_are_for_this_computer_alone(of: str) -> None:
    shipped = Path(settings_file.__file__).with_name("example.toml").read_text(encoding="utf-8")
    text = shipped if of == "the shipped example" else SETTINGS
    told = settings_file.parse(text, Path("coldshed.toml")).serve
    assert (told.host, told.public_url) == ("127.0.0.1", None)


def test_accounts_are_made_changed_and_removed_and_all_of_it_is_told(
    shop: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert account(monkeypatch, shop, "add", "Kim", "--role", "work", typed=PASSWORD) == 1, (
        "the first one manages"
    )
    assert account(monkeypatch, shop, "add", "Kim", "--role", "manage", typed=PASSWORD) == 0
    assert account(monkeypatch, shop, "add", "kim", typed=PASSWORD) == 1
    assert account(monkeypatch, shop, "add", "Robin", typed="password1234") == 1
    assert account(monkeypatch, shop, "add", "Robin", typed=PASSWORD) == 0
    assert account(monkeypatch, shop, "pin", "Robin", typed=PIN) == 0
    assert account(monkeypatch, shop, "role", "Robin", "--role", "look") == 0
    assert account(monkeypatch, shop, "password", "Robin", typed="seven planks under rain") == 0
    assert account(monkeypatch, shop, "remove", "Kim") == 1
    capsys.readouterr()
    assert account(monkeypatch, shop, "token", "lamp", "--scope", "read") == 0
    token = capsys.readouterr().out.strip()
    assert token.startswith("coldshed-")
    assert account(monkeypatch, shop, "list") == 0
    told = capsys.readouterr().out
    assert "look    Robin, has a PIN" in told
    assert "token   lamp: read, taken, last used never" in told
    assert account(monkeypatch, shop, "revoke", "lamp") == 0
    assert account(monkeypatch, shop, "remove", "Robin") == 0
    assert account(monkeypatch, shop, "trail", "--csv", str(tmp_path / "trail.csv")) == 0
    lines = (tmp_path / "trail.csv").read_text(encoding="utf-8").splitlines()
    assert [line.split(",")[5] for line in lines[1:]] == [
        "account made", "account made", "PIN changed", "role changed", "password changed", "token made",
        "token revoked", "account removed",
    ]  # fmt: skip
    assert not [line for line in lines if token in line or PASSWORD in line or PIN in line]


def test_commands_reach_a_serve_that_asks_who_comes_and_others_do_not(shop: Path) -> None:
    port = free_port()
    serve_under(shop, f"port = {port}")

    def run(*words: str, typed: str = "") -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [SCRIPT, *words], cwd=shop, capture_output=True, text=True, timeout=120, check=False, input=typed
        )

    def status(path: str, **headers: str) -> int:
        request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", headers=headers)
        try:
            with urllib.request.urlopen(request, timeout=20) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code
        except OSError:
            return 0

    with subprocess.Popen([SCRIPT, "serve"], cwd=shop, stdout=subprocess.PIPE, text=True) as serving:
        try:
            until(lambda: status("/api/health") == 200, "serve answers", 60)
            assert serving.stdout is not None
            assert re.match(r"set-up code \w{4}-\w{4}, good once", serving.stdout.readline())
            assert status("/") == 200
            made = run("account", "add", "Kim", "--role", "manage", typed=PASSWORD + "\n")
            assert made.returncode == 0, made.stderr
            assert status("/") == 401
            added = run("panel", "add", "Lid", "--zone", "shed", "--surface", "L1", "--who", "Kim")
            assert added.returncode == 0, added.stderr
            assert "logged by serve" in added.stdout
            (shop / "data" / "house.key").write_text("x" * 43)
            assert run("panel", "add", "Rib", "--zone", "shed", "--surface", "L1").returncode == 1
            assert status("/api/round", Authorization="Bearer " + "x" * 43) == 401
        finally:
            serving.send_signal(signal.SIGTERM)
            serving.wait(30)
    assert serving.returncode == 0
    assert not (shop / "data" / "house.key").exists()


def test_whatever_the_shell_says_nobody_else_may_change_what_is_made(shop: Path, tmp_path: Path) -> None:
    """ASVS 13.3.2: who may write to the folder puts accounts of their own in the place of ours."""
    words = [SCRIPT, "account", "add", "Kim", "--role", "manage", "--settings", shop / "coldshed.toml"]
    subprocess.run(
        words, input=PASSWORD + "\n", text=True, capture_output=True, timeout=60, check=True, umask=0
    )
    made = {path.name: path.stat().st_mode & 0o777 for path in [shop / "data", *(shop / "data").iterdir()]}
    assert made["accounts.db"] == 0o600
    assert {name: oct(mode) for name, mode in made.items() if mode & 0o022} == {}


def test_accounts_that_others_could_read_are_for_their_owner_alone_once_they_are_opened(
    monkeypatch: pytest.MonkeyPatch, shop: Path
) -> None:
    """As a copy that was put back may be."""
    assert account(monkeypatch, shop, "add", "Kim", "--role", "manage", typed=PASSWORD) == 0
    accounts = shop / "data" / "accounts.db"
    accounts.chmod(0o644)
    assert account(monkeypatch, shop, "role", "Kim", "--role", "manage") == 0
    assert accounts.stat().st_mode & 0o777 == 0o600
