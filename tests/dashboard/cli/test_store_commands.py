"""`backup`, `restore` and `check store`, run as a person runs them."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.clock import SteppedClock, SystemClock
from collector.forward.state import ForwardState, progress
from collector.store.writer import Writer
from dashboard.door.door import Door
from dashboard.door.visitor import Role
from tests.dashboard.cli.test_commands import SETTINGS, coldshed, night
from tests.door.house import BOSS, PASSWORD


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "coldshed.toml").write_text(SETTINGS, encoding="utf-8")
    coldshed(tmp_path, "import", night(tmp_path), "--source", "logger")
    coldshed(tmp_path, "panel", "add", "Lid 4", "--zone", "shed", "--surface", "L1")
    return tmp_path


def test_a_shop_is_backed_up_lost_and_restored(shop: Path) -> None:
    made = coldshed(shop, "backup", "copy")
    assert made.returncode == 0, made.stderr
    assert "is whole" in made.stdout
    again = coldshed(shop, "backup", "copy")
    assert (again.returncode, "exists already" in again.stderr) == (1, True)
    (shop / "data" / "readings.db").write_bytes(b"lost")
    (shop / "data" / "shop.db").unlink()
    back = coldshed(shop, "restore", "copy")
    assert back.returncode == 0, back.stderr
    assert "what was there before lies in" in back.stdout
    assert coldshed(shop, "export", "--probe", "L1").stdout.count("L1,temperature") == 192
    assert coldshed(shop, "panel", "list").stdout.startswith("lid-4")


def test_no_backup_holds_an_account_a_token_or_a_key(shop: Path) -> None:
    """ASVS 13.3.2, 14.2.4: it lies on other disks, and who was sent away since would come in by an old copy."""
    door = Door(shop / "data", SystemClock()).open()
    door.accounts.add("Kim", Role.MANAGE, PASSWORD, BOSS, "")
    token = door.tokens.make("lamp", ["read"], BOSS, "")
    (shop / "broker-password").write_text("of the broker", encoding="utf-8")
    secrets = [
        (shop / "data" / "house.key").read_text(encoding="utf-8"),
        token,
        "$argon2",
        "of the broker",
        "lamp",
    ]
    made = coldshed(shop, "backup", "copy")
    door.close()
    assert made.returncode == 0, made.stderr
    assert "accounts stay here" in made.stdout
    copied = {path.name: path.read_bytes() for path in (shop / "copy").rglob("*") if path.is_file()}
    assert {"readings.db", "shop.db"} <= set(copied)
    assert not [name for name in copied if name.startswith(("accounts", "house"))]
    assert not [(name, one) for name, content in copied.items() for one in secrets if one.encode() in content]


def test_after_a_restore_all_is_sent_on_once_more_and_it_does_not_begin_while_forward_runs(
    shop: Path,
) -> None:
    """What the batches' numbers meant to the server is over: forward.db lies aside with what was replaced."""
    coldshed(shop, "backup", "copy")
    state = ForwardState.open(shop / "data" / "forward.db")
    state.acknowledged = state.safe = 99
    state.save()
    refused = coldshed(shop, "restore", "copy")
    assert "forward runs already: end coldshed first, nothing was changed" in refused.stderr
    state.close()
    assert coldshed(shop, "restore", "copy").returncode == 0
    assert progress(shop / "data").acknowledged == 0
    (aside,) = (shop / "data").glob("before-restore-*")
    assert progress(aside).acknowledged == 99


def test_a_restore_waits_for_nobody_while_collect_runs(shop: Path) -> None:
    coldshed(shop, "backup", "copy")
    writer = Writer.open(shop / "data" / "readings.db", SteppedClock(0))
    refused = coldshed(shop, "restore", "copy")
    writer.close()
    assert refused.returncode == 1
    assert "collect runs already: end coldshed first, nothing was changed" in refused.stderr


def test_check_store_tells_whole_files_from_damaged_ones_and_from_those_that_lost_their_end(
    shop: Path,
) -> None:
    whole = coldshed(shop, "check", "store")
    assert whole.returncode == 0, whole.stdout
    assert "readings.db: its structure is whole" in whole.stdout
    (shop / "data" / "forward.cursor").write_text("99\n")
    short = coldshed(shop, "check", "store")
    assert short.returncode == 1
    assert "to 99, which forward has seen, are lost" in short.stdout
    path = shop / "data" / "readings.db"
    content = bytearray(path.read_bytes())
    content[4096:12288] = b"\xff" * 8192
    path.write_bytes(content)
    damaged = coldshed(shop, "check", "store", path)
    assert damaged.returncode == 1
    assert "WRONG" in damaged.stdout
    assert "restore a backup" in damaged.stdout
    nothing = coldshed(shop, "check", "store", "no-such-file")
    assert "there is no such file or backup" in nothing.stderr


def test_check_store_proves_a_backup(shop: Path) -> None:
    coldshed(shop, "backup", "copy")
    assert "every byte is what was backed up" in coldshed(shop, "check", "store", "copy").stdout
    with (shop / "copy" / "shop.db").open("ab") as file:
        file.write(b"x")
    broken = coldshed(shop, "check", "store", "copy")
    assert broken.returncode == 1
    assert "shop.db is not what was backed up" in broken.stdout
