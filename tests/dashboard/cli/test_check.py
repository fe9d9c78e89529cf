"""`coldshed check`: each fault is planted, found, and answered with what to do; what is right is not complained of."""

from __future__ import annotations

import fcntl
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo

import apsw
import pytest

from collector.clock import SteppedClock
from collector.last_good import good_copy
from collector.reading import Quality, Quantity, Reading, Suspicion
from collector.settings import Probe, parse
from collector.store.reader import HeardName, Reader, Tally
from collector.store.readings_schema import READINGS
from collector.store.schema import StoreError
from collector.store.writer import Writer
from dashboard import alive
from dashboard.cards import CardShelf
from dashboard.cli import check_house, check_probes, check_settings, checks
from dashboard.cli.findings import Finding, ago, wrong
from dashboard.devices import ProbeLog, PutRight
from dashboard.panel import Coat, Panel
from tests.collector.shops import probe, serial, shop, shop_text
from tests.services import free_port, wait_until

NOW = 1_795_730_000_000
HOUR_MS = 3_600_000


def found(findings: Iterator[Finding] | list[Finding], level: str) -> str:
    """The lines of that level; every one but those that are fine says what to do."""
    listed = list(findings)
    assert all(item.do for item in listed if item.level == "WRONG")
    return "\n".join(item.line() for item in listed if item.level == level)


def test_a_line_cannot_steer_the_terminal() -> None:
    assert wrong("name \x1b[2J\n", "do").line() == "WRONG  name ?[2J?: do"
    assert [ago(ms) for ms in (5_000, 600_000, 5 * HOUR_MS, 72 * HOUR_MS)] == [
        "5 s",
        "10 min",
        "5 h",
        "3 days",
    ]


def test_settings_that_changed_since_the_start_are_told_and_broken_ones_by_line(tmp_path: Path) -> None:
    path = tmp_path / "coldshed.toml"
    text = shop_text([serial("/dev/null"), probe("S1", "usb")])
    path.write_text(text, encoding="utf-8")
    settings, first = check_settings.settings_findings(path)
    assert settings is not None
    assert found(first, "WRONG") == found(first, "note") == ""
    good_copy(path).write_text(text.replace("10", "20"), encoding="utf-8")
    assert "start it again, so that it counts" in found(check_settings.settings_findings(path)[1], "note")
    path.write_text(text.replace("interval_s", "intervall_s"), encoding="utf-8")
    settings, broken = check_settings.settings_findings(path)
    assert settings is None
    line = text.splitlines().index("interval_s = 10") + 1
    assert f"coldshed.toml:{line}: probe.0.intervall_s" in found(broken, "WRONG")
    assert str(good_copy(path)) in found(broken, "note")


def test_a_source_that_no_probe_uses_is_told(tmp_path: Path) -> None:
    path = tmp_path / "coldshed.toml"
    path.write_text(shop_text([serial("/dev/null")]), encoding="utf-8")
    assert "source usb: no probe is heard there" in found(check_settings.settings_findings(path)[1], "note")


def test_a_secret_must_be_there_filled_and_ours_alone(tmp_path: Path) -> None:
    path = tmp_path / "password"
    assert "cannot be read (No such file" in found([check_settings.secret_finding("announce", path)], "WRONG")
    path.touch(0o600)
    assert "is empty" in found([check_settings.secret_finding("announce", path)], "WRONG")
    path.write_text("open sesame")
    assert found([check_settings.secret_finding("announce", path)], "ok")
    path.chmod(0o644)
    assert f"chmod 600 {path}" in found([check_settings.secret_finding("announce", path)], "note")
    text = '[announce]\nhost = "127.0.0.1"\nuser = "watch"\npassword_file = "nowhere"\n'
    assert "announce" in found(check_settings.secret_findings(shop(tmp_path, text)), "WRONG")


def test_a_card_with_an_error_and_a_coat_without_a_card_are_told(tmp_path: Path) -> None:
    """An open panel only: a closed one needs no answer any more."""
    (tmp_path / "mine.toml").write_text('id = "mine"\ntitel = "x"\n', encoding="utf-8")
    coat = Coat(number=1, card="gone", mixed_at=NOW, applied_at=NOW, kind="laminate", event="e1")
    lid = Panel("lid", "Lid", "shed", "S1", None, "wood", coats=(coat,))
    hull = Panel("hull", "Hull", "shed", "S1", None, "wood", coats=(coat,), closed=True)
    text = found(check_settings.card_findings(CardShelf(tmp_path), [lid, hull]), "WRONG")
    assert "mine.toml:2" in text
    assert "panel Lid: no card is called 'gone'" in text
    assert "Hull" not in text


def test_a_copied_card_that_kept_its_id_is_told(tmp_path: Path) -> None:
    """It counts in place of the shipped one, and the coats that were logged with that."""
    card = Path(str(files("model").joinpath("resin_cards/invented-25min.toml"))).read_text(encoding="utf-8")
    (tmp_path / "a.toml").write_text(card.replace('id = "invented-25min"', 'id = "mine"'), encoding="utf-8")
    assert found(check_settings.card_findings(CardShelf(tmp_path), []), "note") == ""
    (tmp_path / "b.toml").write_text(card, encoding="utf-8")
    text = found(check_settings.card_findings(CardShelf(tmp_path), []), "note")
    assert "b.toml: calls itself 'invented-25min', as another card does" in text


class Room:
    """What statvfs says."""

    f_frsize, f_flag, f_files = 4096, 0, 1_000_000
    f_bavail, f_favail = 10_000_000, 900_000


@pytest.mark.parametrize(
    ("what", "says"),
    [
        ({"f_bavail": 1000}, "4 MB free"),
        ({"f_favail": 3}, "only 3 more files fit"),
        ({"f_flag": os.ST_RDONLY}, "read-only"),
    ],
)
def test_a_disk_without_room_for_bytes_or_files_or_that_went_read_only(
    what: dict[str, int], says: str, tmp_path: Path
) -> None:
    room = type("Room", (Room,), what)
    assert says in found(check_house.folder_findings(tmp_path, room=lambda _: room()), "WRONG")
    assert found(check_house.folder_findings(tmp_path, room=lambda _: Room()), "WRONG") == ""


def test_a_file_system_that_does_not_count_files_is_not_full_of_them(tmp_path: Path) -> None:
    """f_files 0, as on some file systems that make them as needed, statvfs(3)."""
    room = type("Room", (Room,), {"f_files": 0, "f_favail": 0})
    assert found(check_house.folder_findings(tmp_path, room=lambda _: room()), "WRONG") == ""


def test_a_file_that_another_user_made_is_named(tmp_path: Path) -> None:
    """As after one start as root."""
    (tmp_path / "readings.db-wal").touch()
    may = lambda path, mode: path.name != "readings.db-wal"  # noqa: E731
    text = found(check_house.folder_findings(tmp_path, may=may, room=lambda _: Room()), "WRONG")
    assert "readings.db-wal: cannot be written" in text
    assert "chown" in text


def readings(path: Path) -> None:
    Writer.open(path, SteppedClock(NOW)).close()


def test_each_file_is_whole_missing_damaged_foreign_or_newer(tmp_path: Path) -> None:
    path = tmp_path / "readings.db"
    assert "collect has not started" in found(check_house.file_finding(path, READINGS), "note")
    readings(path)
    assert "whole" in found(check_house.file_finding(path, READINGS), "ok")
    sound = path.read_bytes()
    page = 4096 * 3
    path.write_bytes(sound[:page] + b"\xff" * 4096 + sound[page + 4096 :])
    assert "restore a backup" in found(check_house.file_finding(path, READINGS), "WRONG")
    path.write_bytes(b"not a store, " * 500)
    assert "restore a backup" in found(check_house.file_finding(path, READINGS), "WRONG")
    path.write_bytes(sound)
    connection = apsw.Connection(str(path))
    connection.pragma("user_version", 99)
    connection.close()
    assert "newer coldshed" in found(check_house.file_finding(path, READINGS), "WRONG")


def test_a_log_that_is_never_folded_in_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "readings.db"
    writer = Writer.open(path, SteppedClock(NOW))
    try:
        assert found(check_house.file_finding(path, READINGS), "WRONG") == ""
        monkeypatch.setattr(check_house, "MOST_WAL_BYTES", 1)
        assert "readings.db-wal" in found(check_house.file_finding(path, READINGS), "WRONG")
    finally:
        writer.close()


HOLD = """
import fcntl, sys
file = open(sys.argv[1], "w")
fcntl.flock(file, fcntl.LOCK_EX)
print("held", flush=True)
sys.stdin.read()
"""


def test_a_process_that_is_not_there_or_was_stopped_is_told(tmp_path: Path) -> None:
    """Known by the kernel's list of locks; looking does not take the lock from a process that starts now."""
    settings = shop(tmp_path)
    assert list(check_house.process_findings(settings)) == [], "nothing was ever started"
    readings(settings.readings_db)
    assert "collect does not run" in found(check_house.process_findings(settings), "WRONG")
    lock = settings.readings_db.with_name("readings.db.lock")
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(lock)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        try:
            assert holder.stdout is not None
            holder.stdout.readline()
            assert alive.lock_holder(settings.readings_db) == holder.pid
            assert f"process {holder.pid}" in found(check_house.process_findings(settings), "ok")
            holder.send_signal(signal.SIGSTOP)
            wait_until(lambda: alive.state_of(holder.pid) == "T", "it is stopped")
            assert "has been stopped" in found(check_house.process_findings(settings), "WRONG")
        finally:
            holder.kill()
    with lock.open("w") as file:  # free again: the check itself never took it
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def test_the_clock_is_held_against_calendar_time_service_and_newest_reading() -> None:
    """1970 after a boot without network; an hour behind its own readings after a restored image."""
    say = check_house.clock_findings
    assert "before 2026" in found(say(86_400_000, True, None), "WRONG")
    assert "60 min behind the newest reading" in found(say(NOW, True, NOW + HOUR_MS), "WRONG")
    assert "no time service" in found(say(NOW, False, NOW), "note")
    assert found(say(NOW, True, NOW - HOUR_MS), "ok")
    assert check_house.kernel_says_synchronised() in (True, False)


class _Other(BaseHTTPRequestHandler):
    answer: dict[str, str] = {}  # noqa: RUF012  # set by the test

    def do_GET(self) -> None:
        body = json.dumps(self.answer).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        pass


@pytest.mark.parametrize(
    ("answer", "level", "says"),
    [
        ({"serve": "running", "watch": "running"}, "ok", "answers"),
        ({"serve": "running", "watch": "silent"}, "WRONG", "watch has worked nothing out"),
        ({"other": "program"}, "WRONG", "something else is there"),
    ],
)
def test_the_pages_answer_and_say_how_watch_does(
    answer: dict[str, str], level: str, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_Other, "answer", answer)
    with HTTPServer(("127.0.0.1", 0), _Other) as server:
        thread = threading.Thread(target=server.handle_request)
        thread.start()
        settings = shop(tmp_path, f"[serve]\nport = {server.server_port}\n")
        assert says in found(check_house.page_findings(settings, serve_runs=False), level)
        thread.join(20)


def test_pages_that_do_not_answer_are_wrong_only_if_serve_runs(tmp_path: Path) -> None:
    settings = shop(tmp_path, f"[serve]\nport = {free_port()}\n")
    assert "'coldshed run' starts it" in found(check_house.page_findings(settings, serve_runs=False), "note")
    assert "though serve runs" in found(check_house.page_findings(settings, serve_runs=True), "WRONG")


def test_what_waits_to_be_sent_on_is_counted(tmp_path: Path) -> None:
    """A server that is away loses nothing; a cursor that is not ours stops it."""
    port = free_port()
    settings = shop(tmp_path, f'[forward]\nurl = "http://127.0.0.1:{port}"\nbucket = "b"\n')
    settings.data_folder.mkdir()
    assert "7 batches wait" in found(check_house.forward_findings(settings, 7), "note")
    cursor = settings.data_folder / "forward.cursor"
    cursor.write_text("5\n")
    with socket.create_server(("127.0.0.1", port)):
        assert "2 batches wait" in found(check_house.forward_findings(settings, 7), "ok")
    cursor.write_text("five")
    assert "delete it to send all again" in found(check_house.forward_findings(settings, 7), "WRONG")
    assert list(check_house.forward_findings(shop(tmp_path), 7)) == []


S1 = Probe(id="S1", source="usb", zone="shed", place="surface", interval_s=10)
TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY


def reading(age_ms: int = 0, quantity: Quantity = TEMPERATURE, quality: Quality = Quality.GOOD) -> Reading:
    return Reading("S1", quantity, 12.5, NOW - age_ms, NOW - age_ms, quality)


@pytest.mark.parametrize(
    ("newest", "says"),
    [
        ([], "never heard"),
        ([reading(31_000)], "last heard 31 s ago, silent after 30 s"),
        ([reading(quality=Quality.STUCK)], "temperature 12.5 is not believed (the same number too long)"),
        ([reading(quality=Quality.DISCONNECTED)], "its sensor has come off"),
        ([reading(), reading(HOUR_MS, HUMIDITY)], "its relative_humidity last came 60 min ago"),
    ],
)
def test_a_probe_is_silent_never_heard_or_suspicious(newest: list[Reading], says: str) -> None:
    assert says in found(check_probes.probe_findings(S1, newest, NOW), "WRONG")


@pytest.mark.parametrize("quality", [Quality.GOOD, Quality.SATURATED, Quality.LATE])
def test_a_probe_that_was_just_heard_is_fine(quality: Quality) -> None:
    """Wet or late is not wrong."""
    assert found(check_probes.probe_findings(S1, [reading(29_000, quality=quality)], NOW), "ok")


def test_what_stands_against_a_probe_is_told_until_somebody_has_seen_to_it() -> None:
    """Tape off is wrong, a slow drift a note; what was put right, or has ended, is told no more."""
    begun = NOW - HOUR_MS
    tape = Suspicion("S1", "tape_off", begun, None, begun, NOW - 600_000, {"near_K": 0.4})
    drift = Suspicion("S2", "drift", begun, None, begun, NOW - 600_000, {"day_K": 0.5, "other": "S3"})
    over = Suspicion("S3", "tape_off", begun, NOW - 600_000, begun, NOW - 600_000, {"near_K": 0.4})

    def told(level: str, logs: dict[str, ProbeLog]) -> str:
        findings = check_probes.doubt_findings([tape, drift, over], logs, ZoneInfo("Europe/Oslo"), NOW)
        return found(findings, level)

    assert told("WRONG", {}).startswith("WRONG  probe S1: May have come off")
    assert "probe S2: Drifts" in told("note", {})
    assert "S3:" not in told("WRONG", {})
    seen = {"S1": ProbeLog("S1", (), {}, {}, (PutRight(NOW, fixed=True),))}
    assert told("WRONG", seen) == ""


def test_names_nobody_claims_are_shown_with_the_table_to_add_and_the_likely_misspelling() -> None:
    heard = [
        HeardName("usb", "s1", TEMPERATURE, 12.5, NOW - 1000),
        HeardName("usb", "s1", HUMIDITY, 80.0, NOW - 1000),
        HeardName("usb", "S1", TEMPERATURE, 12.5, NOW - 1000),
        HeardName("usb", "old", TEMPERATURE, 12.5, NOW - 48 * HOUR_MS),
    ]
    text = found(check_probes.unclaimed_findings(heard, {("usb", "S1"): "S1"}, {}, NOW), "note")
    assert text.count("\n") == 0, "one line for one name, none for what is claimed or long gone"
    assert 'source = "usb" and name = "s1"' in text
    assert "the settings call 'S1'?" in text


def test_what_was_refused_of_late_comes_with_advice_for_its_reason() -> None:
    tallies = [
        Tally("usb", "garbage", 7, "bytes that are not ASCII", NOW),
        Tally("broker", "stale", 3, "x: an old message without a time of its own", NOW),
        Tally("usb", "checksum", 9, "old", NOW - 48 * HOUR_MS),
    ]
    text = found(check_probes.refused_findings(tallies, NOW), "note")
    assert "refused 7 x garbage" in text
    assert "check baud" in text
    assert "its own time" in text
    assert "checksum" not in text


def test_a_read_that_is_cut_off_is_told_and_not_swallowed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was found before it stands; the rest is not passed over in silence."""

    def cut_off(self: Reader) -> list[HeardName]:
        raise StoreError("reading took longer than 1 s")

    settings = parse(shop_text([serial("/dev/null"), probe("S1", "usb")]), tmp_path / "coldshed.toml")
    readings(settings.readings_db)
    monkeypatch.setattr(Reader, "heard", cut_off)
    text = found(checks._readings(settings, NOW), "WRONG")
    assert "probe S1: never heard" in text
    assert "reading took longer than 1 s" in text
